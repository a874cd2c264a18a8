package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"scanledger/ingest/demo"
	"scanledger/queries"
)

// TestDemoProtocolShowsWhatWasPlanted: copied readings, short holds and the lapsed accreditation stand out on
// the technician they were planted on, and nobody else stands out on anything. Who copies hold times too
// leaves readings closer together than they can be: that is the same fault, seen twice.
func TestDemoProtocolShowsWhatWasPlanted(t *testing.T) {
	raw, err := os.ReadFile(filepath.Join(theDemo(t), "out", "results", "protocol.json"))
	if err != nil {
		t.Fatal(err)
	}
	var result struct {
		Rows []struct {
			Check        string
			TechnicianID string `json:"technician_id"`
			Standing     string
		}
	}
	if err := json.Unmarshal(raw, &result); err != nil {
		t.Fatal(err)
	}
	checks := map[string]string{"copied_readings": "copied_levels", "short_holds": "short_hold", "lapsed_accreditation": "lapsed_accreditation"}
	var want, got []string
	for _, f := range demo.Planted() {
		if f.Analysis == "protocol" {
			want = append(want, checks[f.Name]+" "+f.Subject)
			if f.Name == "copied_readings" {
				want = append(want, "too_close "+f.Subject)
			}
		}
	}
	for _, r := range result.Rows {
		if r.Standing == queries.Act || r.Standing == queries.Watch {
			got = append(got, r.Check+" "+r.TechnicianID)
		}
	}
	slices.Sort(want)
	slices.Sort(got)
	if !slices.Equal(got, want) {
		t.Errorf("stand out: %q, planted: %q", got, want)
	}
}
