package queries

import (
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"scanledger/queries/sampling"
)

// TestSampleNamesAreReadBack: a name holds all that a draw was asked for.
func TestSampleNamesAreReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rule := sampling.Rule{RiskShare: rapid.Float64Range(0, 0.999).Draw(t, "risk")}
		switch rapid.IntRange(0, 2).Draw(t, "way") {
		case 0:
			rule.Size = rapid.IntRange(1, 1e9).Draw(t, "size")
		case 1:
			rule.Detect, rule.Confidence = rapid.Float64Range(1e-9, 0.999).Draw(t, "detect"), rapid.Float64Range(1e-9, 0.999).Draw(t, "confidence")
		case 2:
			rule.Level = rapid.SampledFrom([]string{"S-1", "S-2", "S-3", "S-4", "I", "II", "III"}).Draw(t, "level")
			rule.AQL = rapid.SampledFrom([]float64{0.65, 1, 4, 10}).Draw(t, "aql")
		}
		if rapid.Bool().Draw(t, "bounded") {
			openings := rapid.IntRange(0, 1000).Draw(t, "openings")
			rule.Openings = &openings
		}
		seed := rapid.Uint64().Draw(t, "seed")
		if err := rule.Check(); err != nil {
			t.Fatal(err)
		}
		month, gotRule, gotSeed, err := ParseSampleName(SampleName("2026-03", rule, seed))
		if err != nil || month != "2026-03" || gotSeed != seed || !reflect.DeepEqual(gotRule, rule) {
			t.Errorf("%s %+v %d (%v), want %+v %d", month, gotRule, gotSeed, err, rule, seed)
		}
	})
	for _, name := range []string{"", "2026-03", "2026-03-size-3-risk-0-seed-", "2026-03-size-3-risk-0-seed-99999999999999999999", "2026-03-size-99999999999999999999-risk-0-seed-1",
		"2026-03-size-3-risk-0.1.2-seed-1", "2026-03-plan-IV-aql-4-risk-0-seed-1"} {
		if _, _, _, err := ParseSampleName(name); err == nil {
			t.Errorf("%q was read", name)
		}
	}
}
