package dashboards

import (
	"cmp"
	"fmt"
	"html/template"
	"slices"

	"scanledger/dashboards/chart"
	"scanledger/queries"
)

// direction is one of the two ways a call can be wrong, and how it is spoken of.
type direction struct {
	name     string // as in the breakdown
	analysis string
	id       string // prefix of its places on the page
	calls    string // what is checked
	wrong    string
	of       func(b *queries.Book) queries.PatternSearch
}

var (
	falseAlarms = direction{"false_alarms", "false_alarm_patterns", "pattern", "verified active calls", "false alarms",
		func(b *queries.Book) queries.PatternSearch { return b.FalseAlarmPatterns }}
	missedPoints = direction{"missed", "missed_patterns", "missed", "opened clear calls", "missed points",
		func(b *queries.Book) queries.PatternSearch { return b.MissedPatterns }}
)

func patternsPage(b *queries.Book, biz Business) Page {
	p := Page{
		Title:   "Patterns",
		Heading: patternsHeading(b, falseAlarms),
		Lead: "Circumstances, alone or two or three together, in which checked calls were wrong more often than the other calls lead to expect. " +
			"A pattern goes with wrong calls; whether it makes them is for a trial to show.",
		Sections: []Section{rankedSection(b, biz, falseAlarms)},
	}
	for _, f := range b.FalseAlarmPatterns.Patterns {
		p.Sections = append(p.Sections, patternSection(b, biz, falseAlarms, f))
	}
	p.Sections = append(p.Sections, seriesSection(b), rankedSection(b, biz, missedPoints))
	for _, f := range b.MissedPatterns.Patterns {
		p.Sections = append(p.Sections, patternSection(b, biz, missedPoints, f))
	}
	return p
}

// patternsHeading says what the search found, or that there was too little to search.
func patternsHeading(b *queries.Book, d direction) string {
	s := d.of(b)
	switch {
	case !s.Searched:
		return fmt.Sprintf("Too few %s to look for patterns: %s among %s %s", d.wrong, queries.Count(s.Wrong), queries.Count(s.Checked), d.calls)
	case len(s.Patterns) == 0:
		return fmt.Sprintf("No circumstance goes with %s beyond what chance gives", d.wrong)
	}
	f := s.Patterns[0]
	return fmt.Sprintf("%s of %s; the clearest is %s: %s of %s calls, where %.0f would be expected", counted(int64(len(s.Patterns)), "pattern", "patterns"), d.wrong,
		b.Labels.PatternWords(f.Terms), queries.Count(f.Wrong), queries.Count(f.Checked), float64(f.Expected))
}

// rankedHeading says how many of the patterns tried stand out.
func rankedHeading(s queries.PatternSearch, d direction) string {
	switch {
	case !s.Searched:
		return fmt.Sprintf("Patterns of %s were not looked for", d.wrong)
	case len(s.Patterns) == 0:
		return fmt.Sprintf("None of %s patterns of %s stands clear of chance", queries.Count(s.Tried), d.wrong)
	}
	return fmt.Sprintf("Of %s patterns of %s tried, %s clear of chance", queries.Count(s.Tried), d.wrong, counted(int64(len(s.Patterns)), "stands", "stand"))
}

func rankedSection(b *queries.Book, biz Business, d direction) Section {
	s := d.of(b)
	out := Section{ID: "ranked-" + d.id, Heading: rankedHeading(s, d), Source: sourceOf(b, d.analysis, "")}
	switch {
	case !s.Searched:
		out.Paragraphs = []string{"Not searched: " + s.WhyNot + "."}
		return out
	case len(s.Patterns) == 0:
		out.Paragraphs = []string{fmt.Sprintf("%s patterns were tried on %s %s%s. That none stands out does not prove that there is none: a rare or weak one would not show.",
			queries.Count(s.Tried), queries.Count(s.Checked), d.calls, s.Partly)}
		return out
	}
	out.Sub = fmt.Sprintf("The mark is how many %s there were, the band what chance makes of the expected in 95 of 100 cases. Tried on %s %s%s with %s %s; q bears how many were tried.",
		d.wrong, queries.Count(s.Checked), d.calls, s.Partly, queries.Count(s.Wrong), d.wrong)
	out.Figure = rankedFigure(b, d)
	out.Tables = []Table{rankedTable(b, biz, d)}
	out.Margin = []Note{{fmt.Sprintf("%.0f", float64(s.Patterns[0].Extra)), fmt.Sprintf("%s more than expected in the clearest pattern. Patterns overlap: do not add them up.", d.wrong)}}
	return out
}

func rankedFigure(b *queries.Book, d direction) template.HTML {
	f := chart.Ratios{Frame: chart.Frame{ID: "ranked-" + d.id + "-figure", Title: "Patterns of " + d.wrong, Desc: "Observed and expected " + d.wrong + " in each pattern, over the range chance gives."}}
	for _, p := range d.of(b).Patterns {
		label := b.Labels.PatternWords(p.Terms)
		f.Rows = append(f.Rows, chart.RatioRow{Label: label, Observed: float64(p.Wrong), Expected: number(p.Expected), ChanceLow: float64(p.ByChanceLow), ChanceHigh: float64(p.ByChanceHigh),
			Standing: chart.Act, Title: fmt.Sprintf("%s: %s of %s, %.1f expected, by chance %d to %d", label, queries.Count(p.Wrong), queries.Count(p.Checked),
				float64(p.Expected), p.ByChanceLow, p.ByChanceHigh)})
	}
	return f.SVG()
}

func anchor(d direction, p queries.FoundPattern) string { return fmt.Sprintf("%s-%d", d.id, p.Number) }

func rankedTable(b *queries.Book, biz Business, d direction) Table {
	t := Table{ID: "ranked-" + d.id + "-table", Caption: "Patterns of " + d.wrong + ", the clearest first", Sortable: true, Columns: []Column{{Head: "Pattern"},
		{Head: "Wrong", Unit: "of checked", Numeric: true}, {Head: "Expected", Unit: "by chance", Numeric: true}, {Head: "Ratio", Unit: "95% interval", Numeric: true},
		{Head: "q", Numeric: true}, {Head: "Excess costs", Unit: biz.Currency, Numeric: true}, {Head: "Goes on?"}}}
	for _, p := range d.of(b).Patterns {
		t.Rows = append(t.Rows, Row{Cells: []Cell{{Text: b.Labels.PatternWords(p.Terms), Href: "#" + anchor(d, p)}, {Text: ofAll(p.Wrong, p.Checked), Sort: count(p.Wrong).Sort, Class: "num"},
			ranged(p.Expected, 0, fmt.Sprintf("%d to %d", p.ByChanceLow, p.ByChanceHigh)), ranged(p.Ratio, 2, fmt.Sprintf("%.2f to %.2f", float64(p.RatioLow), float64(p.RatioHigh))),
			{Text: chance(p.Q), Sort: decimal(p.Q, 6).Sort, Class: "num"}, sum(p.ExtraCost), text(goesOnWords[p.GoesOn])}})
	}
	return t
}

var goesOnWords = map[string]string{queries.Yes: "yes", queries.No: "no longer", queries.Unclear: "cannot be said"}

// ranged is a number with its range in brackets.
func ranged(f queries.Figure, digits int, between string) Cell {
	c := decimal(f, digits)
	c.Text += " (" + between + ")"
	return c
}

// sum is a sum without its currency.
func sum(f queries.Figure) Cell {
	if !f.Known() {
		return Cell{Text: "not set", Class: "num"}
	}
	return count(int64(float64(f) + 0.5))
}

// patternSection is the drill-down of one pattern.
func patternSection(b *queries.Book, biz Business, d direction, p queries.FoundPattern) Section {
	tables := []Table{callersTable(b, d, p)}
	if d.name == "false_alarms" { // what is found at a missed point is always activity
		tables = []Table{foundTable(b, d, p), tables[0]}
	}
	s := Section{
		ID: anchor(d, p),
		Heading: fmt.Sprintf("%s: %s in %s checked calls, %.0f expected", upperFirst(b.Labels.PatternWords(p.Terms)), counted(p.Wrong, singular[d.name], d.wrong),
			queries.Count(p.Checked), float64(p.Expected)),
		Sub:        fmt.Sprintf("%s in this pattern by quarter and by technician, over what chance gives where these calls go as the others.", upperFirst(d.wrong)),
		Figure:     partsFigure(b, d, p),
		Paragraphs: patternParagraphs(d, p),
		Tables:     tables,
		Margin: []Note{{queries.Percent(p.Rate), fmt.Sprintf("of %s checked calls were wrong (95%% interval %s); %s expected.", queries.Count(p.Checked), queries.Range(p.RateLow, p.RateHigh),
			queries.Percent(p.RateExpected))}, {fmt.Sprintf("%.0f", float64(p.Extra)), extraWords(d, p, biz)}},
		Source: sourceOf(b, "pattern_breakdown", ""),
	}
	for _, e := range p.Look {
		s.List = append(s.List, Item{Text: fmt.Sprintf("Look at inspection %s, point %s (%s).", e.InspectionID, e.PointID, e.Date), Href: inspectionLink(b, e.InspectionID)})
	}
	return s
}

var singular = map[string]string{"false_alarms": "false alarm", "missed": "missed point"}

func extraWords(d direction, p queries.FoundPattern, biz Business) string {
	words := d.wrong + " more than expected"
	if d.name == "false_alarms" {
		words = "openings for nothing more than expected"
	}
	if p.ExtraCost.Known() {
		words += fmt.Sprintf(": about %s %s by what the house says each costs", sum(p.ExtraCost).Text, biz.Currency)
	}
	return words + "."
}

// patternParagraphs say what was found, whose calls these are, whether it goes on, and what to try.
func patternParagraphs(d direction, p queries.FoundPattern) []string {
	var out []string
	if p.LeadingCause != "" && d.name == "false_alarms" {
		out = append(out, fmt.Sprintf("Recorded most often: %s, %s of this pattern's %s against %s of all others.", queries.CauseWords(p.LeadingCause), queries.Percent(p.CauseShare), d.wrong,
			queries.Percent(p.CauseUsual)))
	}
	who := fmt.Sprintf("Without %s, who has most of the excess, more are left than chance gives: it is not one person's.", p.Leading)
	if p.OnePerson == queries.Yes {
		who = fmt.Sprintf("Without %s, nothing beyond chance is left: it may be one person's, or too few calls are left to tell.", p.Leading)
	}
	recent := fmt.Sprintf("In the last three months %s of %s were wrong, %.1f expected", queries.Count(p.RecentWrong), counted(p.RecentChecked, "such call", "such calls"), float64(p.RecentExpected))
	switch p.GoesOn {
	case queries.Yes:
		recent += ": it goes on."
	case queries.No:
		recent += ": it has eased."
	default:
		recent += ": too few to say whether it goes on."
	}
	return append(out, who, recent, p.Suggestion)
}

func partsFigure(b *queries.Book, d direction, p queries.FoundPattern) template.HTML {
	f := chart.Ratios{Frame: chart.Frame{ID: anchor(d, p) + "-parts", Title: "Observed and expected by quarter and technician",
		Desc: "Wrong calls of the pattern by quarter and by technician, over what chance gives."}}
	for _, by := range []string{"quarter", "technician_id"} {
		for _, r := range parts(b, d, p, by) {
			standing := chart.InLine
			if r.Wrong > *r.ByChanceHigh {
				standing = chart.Watch
			}
			f.Rows = append(f.Rows, chart.RatioRow{Label: r.Value, Observed: float64(r.Wrong), Expected: number(r.Expected), ChanceLow: float64(*r.ByChanceLow), ChanceHigh: float64(*r.ByChanceHigh),
				Standing: standing, Title: fmt.Sprintf("%s: %s of %s wrong, %.1f expected", r.Value, queries.Count(r.Wrong), queries.Count(r.Checked), float64(r.Expected))})
		}
	}
	return f.SVG()
}

// parts are the rows of a pattern's breakdown.
func parts(b *queries.Book, d direction, p queries.FoundPattern, by string) []queries.BreakdownRow {
	var out []queries.BreakdownRow
	for _, r := range b.Breakdown {
		if r.Direction == d.name && r.Pattern == p.Number && r.By == by {
			out = append(out, r)
		}
	}
	return out
}

func foundTable(b *queries.Book, d direction, p queries.FoundPattern) Table {
	t := Table{ID: anchor(d, p) + "-found", Caption: "What was found in place of what was called", Sortable: true, Columns: []Column{{Head: "Found"}, {Head: "Here", Numeric: true},
		{Head: "Share here", Numeric: true}, {Head: "Elsewhere", Numeric: true}, {Head: "Share elsewhere", Numeric: true}}}
	rows := parts(b, d, p, "found")
	slices.SortStableFunc(rows, func(x, y queries.BreakdownRow) int { return cmp.Compare(y.Wrong, x.Wrong) })
	for _, r := range rows {
		t.Rows = append(t.Rows, Row{Cells: []Cell{text(queries.CauseWords(r.Value)), count(r.Wrong), percent(r.Share), count(r.OtherWrong), percent(r.OtherShare)}})
	}
	return t
}

func callersTable(b *queries.Book, d direction, p queries.FoundPattern) Table {
	t := Table{ID: anchor(d, p) + "-people", Caption: "Whose calls they are", Sortable: true, Folded: true, Columns: []Column{{Head: "Technician"}, {Head: "Checked", Unit: "in the pattern", Numeric: true},
		{Head: "Wrong", Numeric: true}, {Head: "Expected", Unit: "by chance", Numeric: true}, {Head: "Checked", Unit: "elsewhere", Numeric: true}, {Head: "Wrong", Unit: "elsewhere", Numeric: true}}}
	for _, r := range parts(b, d, p, "technician_id") {
		t.Rows = append(t.Rows, Row{Cells: []Cell{text(r.Value), count(r.Checked), count(r.Wrong), ranged(r.Expected, 1, fmt.Sprintf("%d to %d", *r.ByChanceLow, *r.ByChanceHigh)),
			count(r.OtherChecked), count(r.OtherWrong)}})
	}
	return t
}
