package dashboards

import (
	"strings"
	"testing"

	"scanledger/queries"
)

// TestTechnicianHeadings: a technician's page claims what its figures show and nothing else.
func TestTechnicianHeadings(t *testing.T) {
	fewer := strong()
	fewer.Consistency[0].Ratio = 0.4
	for _, c := range []struct {
		name, id, want string
		book           *queries.Book
	}{
		{"strong", "T1", "T1: more false alarms than the outer limits allow", strong()},
		{"fewer", "T1", "T1: fewer false alarms than the outer limits allow", fewer},
		{"in line", "T2", "T2: within the outer limits on 1 measure", strong()},
		{"few cases", "T3", "T3: too few cases to compare with others", strong()},
		{"thin", "T1", "T1: too few cases to compare with others", thin()},
		{"level", "T1", "T1: within the outer limits on 1 measure", level()},
		{"unknown", "T9", "T9: too few cases to compare with others", strong()},
	} {
		if got := (worker{c.book, c.id}).heading(); got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
		}
	}
}

func TestTechnicianSections(t *testing.T) {
	b := &queries.Book{Floor: 30, Consistency: []queries.ConsistencyRow{{TechnicianID: "T1", Measure: "false_alarms", Enough: true, Standing: queries.InLine, Ratio: 1}}}
	w := worker{b, "T1"}
	for got, want := range map[string]string{
		w.gainUse().Heading:   "Too few readings to compare the use of gain",
		w.agreement().Heading: "No points of this technician were called twice",
		w.habits().Heading:    "No check had a chance to be breached",
		w.examples().Heading:  "No inspection is flagged",
	} {
		if got != want {
			t.Errorf("nothing: got %q, want %q", got, want)
		}
	}
	if len(w.course()) != 0 {
		t.Error("a course without months")
	}
	b.GainUse = []queries.GainUseRow{{TechnicianID: "T1", Readings: 900, Enough: true, Differs: true, MeanStep: 0.6, PeersMeanStep: 0.4}}
	b.Agreement = []queries.AgreementRow{{TechnicianID: "T1"}}
	b.Agreement[0].Pairs, b.Agreement[0].Agreement, b.Agreement[0].Kappa, b.Agreement[0].KappaLow, b.Agreement[0].KappaHigh = 80, 0.9, 0.7, 0.5, 0.9
	b.Protocol = []queries.ProtocolRow{{Check: "short_hold", TechnicianID: "T1", Chances: 100, Breaches: 60, Rate: 0.6, Low: 0.5, High: 0.7, Others: 0.02, Enough: true, Standing: queries.Act}}
	b.Inspections = []queries.InspectionRow{{InspectionID: "I1", TechnicianID: "T1"}, {InspectionID: "I2", TechnicianID: "T2"}}
	b.Drift = []queries.DriftRow{{TechnicianID: "T1", Month: "2026-07", Verified: 20, Observed: 4, Expected: 4, Limit: 5, Enough: true, Rate: 0.2, Low: 0.1, High: 0.4}}
	thinly := w.agreement().Heading
	b.Agreement[0].Enough = true
	for got, want := range map[string]string{
		w.gainUse().Heading:   "Gain is used higher than by the others on the same materials",
		thinly:                "Too little was called twice to say how far others agree: 80 points",
		w.agreement().Heading: "Others called the same point alike at 90% of 80 points; kappa is 0.70 (95% interval 0.50 to 0.90)",
		w.habits().Heading:    "Clearly more often than with the others: hold too short",
		w.examples().Heading:  "1 inspection is flagged",
		w.course()[0].Heading: "T1 has not changed against earlier months beyond what chance gives",
	} {
		if got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
	b.Drift[0].Limit = queries.Unknown
	if got := w.course()[0].Heading; got != "T1: too few false alarms were to be expected to watch over time" {
		t.Error(got)
	}
	b.Drift[0].Signal, b.Drift[0].Direction, b.Drift[0].ChangedFrom, b.Drift[0].Limit = true, queries.Up, "2026-07", 5
	if got := w.course()[0].Heading; got != "T1 raises more false alarms than before since about Jul 2026" {
		t.Error(got)
	}
}

// TestTechnicianPagesStandAlone: everyone compared has a page, which speaks of nobody else.
func TestTechnicianPagesStandAlone(t *testing.T) {
	pages := technicianPages(strong(), Business{})
	if len(pages) != 3 {
		t.Fatalf("%d pages", len(pages))
	}
	for i, p := range pages {
		html, err := Render(Site{}, p)
		if err != nil {
			t.Fatal(err)
		}
		for k, id := range []string{"T1", "T2", "T3"} {
			if k != i && strings.Contains(string(said(html)), ">"+id+"<") {
				t.Errorf("the page of %s names %s", p.Title, id)
			}
		}
	}
}
