package dashboards

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"scanledger/queries"
)

// TestEveryHeadingRuleIsTested: each function that words a heading is named in a test, so that none claims unwatched what
// its figure does not show.
func TestEveryHeadingRuleIsTested(t *testing.T) {
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	var tests strings.Builder
	var rules []string
	for _, file := range files {
		raw, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if strings.HasSuffix(file, "_test.go") {
			tests.Write(raw)
			continue
		}
		parsed, err := parser.ParseFile(token.NewFileSet(), file, raw, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range parsed.Decls {
			if f, ok := d.(*ast.FuncDecl); ok && strings.HasSuffix(strings.ToLower(f.Name.Name), "heading") {
				rules = append(rules, f.Name.Name)
			}
		}
	}
	if len(rules) < 50 {
		t.Errorf("only %d heading rules found", len(rules))
	}
	for _, rule := range rules {
		if !regexp.MustCompile(`\b` + rule + `\b`).MatchString(tests.String()) {
			t.Errorf("%s is in no test", rule)
		}
	}
}

// TestSmallHeadings: rules of few cases, on thin, null and strong figures.
func TestSmallHeadings(t *testing.T) {
	limited := []queries.DriftRow{{TechnicianID: "T1", Limit: 4}}
	unlimited := []queries.DriftRow{{TechnicianID: "T1", Limit: queries.Unknown}}
	gain := func(enough, differs bool, own, peers queries.Figure) string {
		return gainUseHeading(queries.GainUseRow{Enough: enough, Differs: differs, MeanStep: own, PeersMeanStep: peers})
	}
	for _, c := range []struct{ got, want string }{
		{changedHeading(queries.DriftRow{TechnicianID: "T1", Direction: queries.Up, ChangedFrom: "2026-03"}), "T1 raises more false alarms than before since about Mar 2026"},
		{changedHeading(queries.DriftRow{TechnicianID: "T1", Direction: "down", ChangedFrom: "2026-03"}), "T1 raises fewer false alarms than before since about Mar 2026"},
		{curveHeading(0, 4), "There is not enough to fit a curve of hits by gain"}, {curveHeading(1, 4), "A curve of hits by gain can be fitted for 1 of 4"},
		{modelsHeading(0), "No unit model has readings at checked points"}, {modelsHeading(1), "All readings at checked points are from one unit model"},
		{modelsHeading(3), "Readings are from 3 unit models, whose gain steps mean different things"},
		{courseHeading("T1", unlimited), "T1: too few false alarms were to be expected to watch over time"}, {courseHeading("T1", nil), "T1: too few false alarms were to be expected to watch over time"},
		{courseHeading("T1", limited), "T1 has not changed against earlier months beyond what chance gives"},
		{gain(false, true, 0.9, 0.1), "Too few readings to compare the use of gain"}, {gain(true, false, 0.9, 0.1), "Gain is used as the others use it on the same materials, or nearly so"},
		{gain(true, true, 0.9, 0.1), "Gain is used higher than by the others on the same materials"}, {gain(true, true, 0.1, 0.9), "Gain is used lower than by the others on the same materials"},
		{restatedHeading(MonthIssue{Restates: "2026-08", Changes: make([]queries.FigureChange, 1)}), "Restated: 1 figure is another than in 2026-08"},
		{nextHeading(&queries.Book{}, nil, Business{}), "The figures say nothing yet"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

// TestCutText: a share that is held back is a count.
func TestCutText(t *testing.T) {
	r := queries.CutRow{PointVisits: 120, Active: 12, Rate: 0.1, Low: 0.05, High: 0.17, Enough: true, ActiveVerified: 9, Confirmed: 4, PPV: 0.44}
	if got, want := cutText(r), "120 points, 10% active (5.0% to 17%); 4 of 9 checked confirmed"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	r.Enough, r.PPVEnough, r.PPVLow, r.PPVHigh = false, true, 0.2, 0.7
	if got, want := cutText(r), "120 points, 12 active; 44% of 9 checked confirmed (20% to 70%)"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

// TestHostileCuts: what ids hold cannot end the data that a page carries.
func TestHostileCuts(t *testing.T) {
	evil := "</script><script>alert(1)</script>"
	month := "2026-08"
	b := &queries.Book{Cuts: []queries.CutRow{{By: "month", Month: &month}, {By: "technician", TechnicianID: &evil}}}
	data, err := cutData(b)
	if err != nil || strings.Contains(string(data), "</script>") {
		t.Errorf("%s, %v", data, err)
	}
}
