package dashboards

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"scanledger/ingest/store"
	"scanledger/queries"
	"scanledger/queries/sampling"
)

// auditSamples is one sample with most of its answers.
func auditSamples() []queries.AuditSampleRow {
	var out []queries.AuditSampleRow
	for _, name := range []string{queries.AllSamples, "2026-07-size-150-risk-0.3-seed-1"} {
		month := strings.TrimPrefix(name[:min(7, len(name))], queries.AllSamples)
		out = append(out,
			queries.AuditSampleRow{Sample: name, Month: month, Measure: queries.Disagreement, Frame: 1000, Drawn: 150, CameBack: 140, Undecided: 2, Outstanding: 8, Faults: 9,
				Rate: 0.05, Low: 0.02, High: 0.09, NEffective: 110, RateIfNone: 0.046, RateIfAll: 0.11, Total: queries.Unknown, Enough: true},
			queries.AuditSampleRow{Sample: name, Month: month, Measure: queries.Missed, Frame: 880, Drawn: 130, CameBack: 130, Faults: 4,
				Rate: 0.021, Low: 0.007, High: 0.049, NEffective: 100, RateIfNone: 0.021, RateIfAll: 0.021, Total: 18.4, Enough: true})
	}
	return out
}

// thinSamples leaves few answers.
func thinSamples(b *queries.Book) {
	for i := range b.AuditSample {
		r := &b.AuditSample[i]
		r.CameBack, r.Undecided, r.Faults, r.Enough, r.WhyNot = 20, 0, 1, false, "most drawn points have not come back"
		if r.Measure == queries.Missed {
			r.CameBack = 5
		}
		r.Outstanding = r.Drawn - r.CameBack
	}
}

// sampleOf draws from a small frame.
func sampleOf(t *testing.T, rule sampling.Rule) queries.Sample {
	t.Helper()
	var frame []store.FrameRow
	for i := range 60 {
		r := store.FrameRow{Sample: "s", Month: "2026-08", InspectionID: fmt.Sprintf("I%02d", i/6), SiteID: fmt.Sprintf("S%02d", i/6), PointID: fmt.Sprintf("P%d", i%6), Region: "north",
			TechnicianID: fmt.Sprintf("T%d", i/20), UnitID: "U1", Material: "brick", LocalDate: "2026-08-03", DueBy: "2026-10-02", Call: "clear", Score: 1, Verified: i == 3, Rechecked: i%7 == 0}
		if i%5 == 0 {
			r.Call, r.Score, r.Reasons = "active", 3, "active call in the top quarter of the unit's gain range (+2)"
		}
		frame = append(frame, r)
	}
	s, err := queries.DrawSample("2026-08", "2026-09-07", rule, 1, frame)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// TestSampleHeadings: each says what the sample holds.
func TestSampleHeadings(t *testing.T) {
	for name, c := range map[string]struct {
		rule                             sampling.Rule
		heading, shows, drawn, who, risk string
	}{
		"a size": {sampling.Rule{Size: 12, RiskShare: 0.25}, "12 of 60 calls are drawn to be checked again",
			"Without one fault, the random part would still leave room for faults at 25% of calls", "10 points to test again, 9 clear points to open",
			"Each of 3 technicians has at least one point drawn", "12 of 60 calls show a sign of risk"},
		"everything": {sampling.Rule{Size: 60}, "60 of 60 calls are drawn to be checked again",
			"Every call of the month is drawn: with all of them back, nothing is left open but the errors of the checks", "51 points to test again, 47 clear points to open",
			"Each of 3 technicians has at least one point drawn", "12 of 60 calls show a sign of risk"},
		"one": {sampling.Rule{Size: 1}, "1 of 60 calls is drawn to be checked again",
			"Without one fault, the random part would still leave room for faults at 93% of calls", "1 point to test again, 1 clear point to open",
			"2 technicians are without a drawn point: the sample is smaller than one each", "12 of 60 calls show a sign of risk"},
	} {
		s := sampleOf(t, c.rule)
		for _, pair := range [][2]string{{sampleHeading(s), c.heading}, {showsHeading(s), c.shows}, {drawnHeading(s), c.drawn}, {whoSection(s).Heading, c.who}, {riskSection(s).Heading, c.risk}} {
			if pair[0] != pair[1] {
				t.Errorf("%s:\ngot  %q\nwant %q", name, pair[0], pair[1])
			}
		}
	}
}

// TestSamplePages: golden pages; the list for those who test again tells neither call nor reason.
func TestSamplePages(t *testing.T) {
	dir := t.TempDir()
	if err := WriteSample(dir, sampleOf(t, sampling.Rule{Level: "II", AQL: 4, RiskShare: 0.3}), Business{Name: "House"}); err != nil {
		t.Fatal(err)
	}
	for _, p := range samplePages {
		raw, err := os.ReadFile(filepath.Join(dir, p.link.File))
		if err != nil {
			t.Fatal(err)
		}
		raw = said(raw)
		if bad := forbidden.FindString(string(raw)); bad != "" || strings.Contains(string(raw), "NaN") || strings.Contains(string(raw), "%!") {
			t.Errorf("%s: says %q, or holds an unformatted number", p.link.File, bad)
		}
		golden(t, "sample-"+p.link.File, raw)
	}
	blind, err := os.ReadFile(filepath.Join(dir, "rechecks.html"))
	if err != nil {
		t.Fatal(err)
	}
	if said := regexp.MustCompile(`(?is)<table.*</table>`).Find(blind); len(said) == 0 || regexp.MustCompile(`(?i)\b(active|clear|risk|gain)\b`).Match(said) {
		t.Error("the blind list tells a call or a reason")
	}
}
