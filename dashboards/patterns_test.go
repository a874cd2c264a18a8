package dashboards

import (
	"testing"

	"scanledger/queries"
	"scanledger/queries/patterns"
)

// withPatterns gives a book one pattern of false alarms and signs that say something.
func withPatterns(b *queries.Book) {
	p := queries.FoundPattern{Number: 1, Terms: []patterns.Term{{Factor: "material", Value: "board"}, {Factor: "wind_band", Value: "35 or more"}},
		Factors: "material=board; wind_band=35 or more", Checked: 40, Wrong: 22, Look: []queries.Example{{InspectionID: "I1", PointID: "P2", Date: "2026-08-03"}}}
	p.PatternFigures = queries.PatternFigures{Expected: 9.6, ByChanceLow: 5, ByChanceHigh: 15, Rate: 0.55, RateLow: 0.38, RateHigh: 0.71, RateExpected: 0.24, Ratio: 2.29, RatioLow: 1.6, RatioHigh: 2.96,
		P: 0.00001, Q: 0.004, Extra: 12.4, ExtraCost: 4712, LeadingCause: "wind_or_loose_sheet", CauseShare: 0.6, CauseUsual: 0.1, Leading: "T1", LeadingShare: 0.5, OnePerson: queries.No,
		RecentChecked: 6, RecentWrong: 3, RecentExpected: 1.4, GoesOn: queries.Unclear, Suggestion: "Try: wait for the wind to drop."}
	b.FalseAlarmPatterns = queries.PatternSearch{Patterns: []queries.FoundPattern{p}, Checked: 100, Wrong: 35, Tried: 1200, Searched: true, Alike: 0.1}
	b.MissedPatterns = queries.PatternSearch{Checked: 44, Wrong: 4, WhyNot: "4 of 44 checked calls were wrong, too few to tell a pattern from chance"}
	row := func(by, value string, checked, wrong int64, expected queries.Figure) queries.BreakdownRow {
		return queries.BreakdownRow{Direction: "false_alarms", Pattern: 1, Factors: p.Factors, By: by, Value: value, Checked: checked, Wrong: wrong, Expected: expected,
			ByChanceLow: ptr[int64](1), ByChanceHigh: ptr[int64](8), Share: queries.Figure(wrong) / 22, OtherChecked: 30, OtherWrong: 6, OtherShare: 0.4}
	}
	b.Breakdown = []queries.BreakdownRow{row("found", "nothing", 9, 9, queries.Unknown), row("found", "wind_or_loose_sheet", 13, 13, queries.Unknown),
		row("quarter", "2026-Q3", 40, 22, 9.6), row("technician_id", "T1", 25, 14, 6), row("technician_id", "T2", 15, 8, 3.6)}
	sign := func(name, value string, n, wrong int64, q queries.Figure) queries.SeriesRow {
		return queries.SeriesRow{Sign: name, Value: value, ActiveVerified: n, FalseAlarms: wrong, Rate: queries.Figure(wrong) / queries.Figure(n), Low: 0.2, High: 0.7, Expected: 10, Ratio: queries.Figure(wrong) / 10,
			RatioLow: 0.5, RatioHigh: 2, P: q / 2, Q: q, Enough: true}
	}
	b.Series = []queries.SeriesRow{sign("shown_again", "no", 40, 22, 0.01), sign("shown_again", "yes", 60, 9, 0.9)}
}

func TestPatternHeadings(t *testing.T) {
	level, thin := strong(), strong()
	level.FalseAlarmPatterns.Patterns, level.Series[0].Q = nil, 0.4
	thin.FalseAlarmPatterns = queries.PatternSearch{Checked: 20, Wrong: 3, WhyNot: "3 of 20 checked calls were wrong, too few to tell a pattern from chance"}
	for i := range thin.Series {
		thin.Series[i].Enough, thin.Series[i].Q = false, queries.Unknown
	}
	few := strong()
	few.Series[0].Enough = false
	for _, h := range []struct {
		name                string
		book                *queries.Book
		page, ranked, signs string
	}{
		{"strong", strong(), "1 pattern of false alarms; the clearest is Board, wind 35 km/h or more: 22 of 40 calls, where 10 would be expected",
			"Of 1200 patterns of false alarms tried, 1 stands clear of chance", "Shown in one reading only: 22 of 40 such calls were false alarms"},
		{"level", level, "No circumstance goes with false alarms beyond what chance gives", "None of 1200 patterns of false alarms stands clear of chance",
			"No sign in the readings of a point goes with false alarms beyond what chance gives"},
		{"thin", thin, "Too few false alarms to look for patterns: 3 among 20 verified active calls", "Patterns of false alarms were not looked for",
			"Too few checked calls to say what the readings of a point tell"},
		{"few", few, patternsHeading(strong(), falseAlarms), rankedHeading(strong().FalseAlarmPatterns, falseAlarms), "No sign in the readings of a point goes with false alarms beyond what chance gives"},
		{"nothing", &queries.Book{}, "Too few false alarms to look for patterns: 0 among 0 verified active calls", "Patterns of false alarms were not looked for",
			"Too few checked calls to say what the readings of a point tell"},
	} {
		if got := patternsHeading(h.book, falseAlarms); got != h.page {
			t.Errorf("%s, page:\ngot  %q\nwant %q", h.name, got, h.page)
		}
		if got := rankedHeading(h.book.FalseAlarmPatterns, falseAlarms); got != h.ranked {
			t.Errorf("%s, ranked:\ngot  %q\nwant %q", h.name, got, h.ranked)
		}
		if got := seriesHeading(h.book); got != h.signs {
			t.Errorf("%s, series:\ngot  %q\nwant %q", h.name, got, h.signs)
		}
	}
}

// TestPatternWordsFollowFigures: what a pattern's paragraphs say turns with its figures.
func TestPatternWordsFollowFigures(t *testing.T) {
	p := strong().FalseAlarmPatterns.Patterns[0]
	for _, c := range []struct {
		onePerson, goesOn string
		who, recent       string
	}{
		{queries.No, queries.Unclear, "Without T1, who has most of the excess, more are left than chance gives: it is not one person's.", "In the last three months 3 of 6 such calls were wrong, 1.4 expected: too few to say whether it goes on."},
		{queries.Yes, queries.Yes, "Without T1, nothing beyond chance is left: it may be one person's, or too few calls are left to tell.", "In the last three months 3 of 6 such calls were wrong, 1.4 expected: it goes on."},
		{queries.Yes, queries.No, "Without T1, nothing beyond chance is left: it may be one person's, or too few calls are left to tell.", "In the last three months 3 of 6 such calls were wrong, 1.4 expected: it has eased."},
	} {
		p.OnePerson, p.GoesOn = c.onePerson, c.goesOn
		got := patternParagraphs(falseAlarms, p)
		if got[1] != c.who || got[2] != c.recent {
			t.Errorf("%s, %s: %q", c.onePerson, c.goesOn, got)
		}
	}
}
