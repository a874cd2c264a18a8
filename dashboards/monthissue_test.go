package dashboards

import (
	"strings"
	"testing"

	"scanledger/queries"
)

// issueOf is a month with as many checked active calls, and the change of the share confirmed since the month before.
func issueOf(checked int64, enough bool, change, low, high queries.Figure) (MonthIssue, *queries.Book) {
	now := queries.MonthValue{Month: "2026-08", Value: 0.7, Low: 0.6, High: 0.8, Events: checked * 7 / 10, Of: checked, Enough: enough}
	if !enough {
		now.Value, now.Low, now.High = queries.Unknown, queries.Unknown, queries.Unknown
	}
	f := queries.MonthFigure{Name: queries.ConfirmedShare, Title: "Confirmed", Kind: queries.ShareFigure, Now: now,
		Before: queries.ComparedWith{MonthValue: queries.MonthValue{Month: "2026-07", Value: 0.6, Enough: true}, Change: change, ChangeLow: low, ChangeHigh: high},
		Year:   queries.ComparedWith{MonthValue: queries.MonthValue{Month: "2025-08", Value: queries.Unknown}, Change: queries.Unknown, ChangeLow: queries.Unknown, ChangeHigh: queries.Unknown}}
	b := strong()
	b.MonthCounts = []queries.MonthCountRow{{Month: "2026-08", Inspections: 40, Points: 400, ActiveCalls: 55}}
	return MonthIssue{Month: "2026-08", For: ForAll, Figures: []queries.MonthFigure{f}}, b
}

// TestMonthIssueHeading: no change is claimed that its interval does not bear out.
func TestMonthIssueHeading(t *testing.T) {
	for _, c := range []struct {
		checked           int64
		enough            bool
		change, low, high queries.Figure
		want              string
	}{
		{50, true, 0.1, 0.02, 0.18, "Aug 2026: 70% of 50 checked active calls were confirmed, more than the month before"},
		{50, true, -0.1, -0.18, -0.02, "Aug 2026: 70% of 50 checked active calls were confirmed, fewer than the month before"},
		{50, true, 0.1, -0.02, 0.22, "Aug 2026: 70% of 50 checked active calls were confirmed, no change beyond chance from the month before"},
		{50, true, queries.Unknown, queries.Unknown, queries.Unknown, "Aug 2026: 70% of 50 checked active calls were confirmed"},
		{9, false, queries.Unknown, queries.Unknown, queries.Unknown, "Aug 2026: too few active calls checked for a rate, 9 of 55"},
	} {
		m, b := issueOf(c.checked, c.enough, c.change, c.low, c.high)
		if got := monthIssueHeading(m, b); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
	m, b := issueOf(50, true, 0, 0, 0)
	b.MonthCounts = nil
	if got := monthIssueHeading(m, b); got != "No inspection in Aug 2026" {
		t.Error(got)
	}
}

// TestMonthIssueStandsAlone: the page links to nothing, and says what was restated and why.
func TestMonthIssueStandsAlone(t *testing.T) {
	m, b := issueOf(50, true, 0.1, 0.02, 0.18)
	m.Restates, m.Changes = "2026-08", []queries.FigureChange{
		{Title: "Known false alarms", Kind: queries.CountFigure, From: queries.MonthValue{Value: 3}, To: queries.MonthValue{Value: 5},
			Because: []queries.LateRecords{{RecordSet: "findings", File: "late.csv", ReceivedOn: "2026-09-20", Did: "new", Rows: 9, Lines: "2, 3, 4, 5, 6"}}},
		{Title: "Sites", Kind: queries.CountFigure, From: queries.MonthValue{Value: 3}, To: queries.MonthValue{Value: 4}}}
	raw, err := RenderMonth(m, b, Business{Name: "House", Currency: "credits", FalseAlarmCost: 10, MissedCost: 100})
	if err != nil {
		t.Fatal(err)
	}
	page := string(raw)
	for _, want := range []string{"Restated: 2 figures are another than in 2026-08", "9 new of findings in late.csv (lines 2, 3, 4, 5, 6, …), received 2026-09-20", "a change of reference records or settings",
		"&#43;10.0 (&#43;2.0 to &#43;18.0), beyond chance", "A clear reading never proves absence"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	for _, link := range strings.Split(page, "href=\"")[1:] {
		if !strings.HasPrefix(link, "#") {
			t.Errorf("a link to %.40q", link)
		}
	}
}

func TestMonthHeadings(t *testing.T) {
	counts := func(rows ...queries.MonthCountRow) *queries.Book { return &queries.Book{MonthCounts: rows} }
	for _, c := range []struct {
		b     *queries.Book
		month string
		want  string
	}{
		{counts(), "", "No month has any inspection yet"}, {counts(), "2026-08", "No inspection in Aug 2026"},
		{counts(queries.MonthCountRow{Month: "2026-08", Inspections: 1}), "2026-08", "Aug 2026: 1 inspection, and no point tested"},
		{counts(queries.MonthCountRow{Month: "2026-08", Inspections: 2, Points: 1, ActiveCalls: 0}), "2026-08", "Aug 2026: 2 inspections, 1 point tested, 0 called active"},
	} {
		if got := monthHeading(c.b, c.month); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
	two := counts(queries.MonthCountRow{Month: "2026-07", Points: 3}, queries.MonthCountRow{Month: "2026-08", Points: 9})
	two.Trend = []queries.TrendRow{{Measure: queries.ConfirmedShare, Month: "2026-08", Enough: true}, {Measure: queries.ConfirmedShare, Month: "2026-07"}}
	for got, want := range map[string]string{archiveHeading(two): "2 months on record; in 1 enough active calls were checked for a rate", busiestHeading(two): "The most points in one month were tested in Aug 2026: 9",
		archiveHeading(counts()): "No month is on record yet", busiestHeading(counts()): "Nothing has been tested yet",
		issuesHeading(nil): "Nothing has been issued yet", issuesHeading([]IssueLine{{Month: "2026-08"}}): "1 month issued, none restated",
		issuesHeading([]IssueLine{{Month: "2026-08"}, {Month: "2026-08", Restates: "2026-08"}, {Month: "2026-07"}}): "2 months issued, with 1 restatement"} {
		if got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

// TestNextHeading: nothing to do is said only where nothing asks for action.
func TestNextHeading(t *testing.T) {
	costs := Business{FalseAlarmCost: 10, MissedCost: 100, Currency: "credits"}
	todo := queries.Finding{Do: "Do it.", Text: "It is so.", Excess: 3}
	for _, c := range []struct {
		found []queries.Finding
		biz   Business
		want  string
	}{
		{nil, costs, "The figures say nothing yet"},
		{[]queries.Finding{{Text: "no action", Excess: queries.Unknown}}, costs, "Nothing in the figures asks for action"},
		{[]queries.Finding{todo}, costs, "What to do next"},
		{[]queries.Finding{todo, todo}, costs, "What to do next: 2 things, the dearest first"},
		{[]queries.Finding{todo, todo, todo, todo, todo, todo}, Business{}, "What to do next: 5 things, the most wrong calls beyond expectation first"},
	} {
		b := &queries.Book{Findings: c.found}
		s := nextSection(b, c.biz)
		if s.Heading != c.want || len(s.List) > maxActions {
			t.Errorf("got %q with %d things, want %q", s.Heading, len(s.List), c.want)
		}
	}
	if got := actionText(todo, costs); got != "Do it. It is so. Wrong calls beyond expectation cost about 30 credits." {
		t.Error(got)
	}
}
