package dashboards

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"scanledger/dashboards/chart"
	"scanledger/queries"
)

// trendWords name what each measure of the trend is a share of, in the order in which they are shown.
var trendWords = []struct{ measure, short, share, unit string }{
	{queries.ActiveRate, "Active", "share of points called active", "points"},
	{queries.ConfirmedShare, "Confirmed", "share of verified active calls that were confirmed", "verified active calls"},
	{queries.MissedShare, "Missed", "share of verified clear calls that were missed", "verified clear calls"},
	{queries.UnsureRate, "Unsure", "share of points left unsure", "points"},
}

// summaryOf is the summary of one measure; without months nothing of it is known.
func summaryOf(b *queries.Book, measure string) queries.TrendSummaryRow {
	for _, r := range b.TrendSummary {
		if r.Measure == measure {
			return r
		}
	}
	return queries.TrendSummaryRow{Difference: queries.Unknown, P: queries.Unknown, Slope: queries.Unknown}
}

// trendHeading says whether the months of one measure kept within their limits.
func trendHeading(r queries.TrendSummaryRow, share string) string {
	switch {
	case r.Months == 0:
		return "No months to chart yet"
	case !r.Enough:
		return fmt.Sprintf("Too few months to say whether the %s moves: %d with enough cases", share, r.MonthsUsed)
	case r.MonthsBeyond > 0:
		return fmt.Sprintf("The %s was outside its limits in %d of %d months", share, r.MonthsBeyond, r.MonthsUsed)
	case r.MonthsSignalled > 0:
		return fmt.Sprintf("The smoothed %s was outside its limits in %d of %d months", share, r.MonthsSignalled, r.MonthsUsed)
	case r.MonthsInRuns > 0:
		return fmt.Sprintf("The %s ran on one side of its centre for 8 months or more", share)
	}
	return fmt.Sprintf("The %s stayed within its limits in all %d months", share, r.MonthsUsed)
}

func trendSection(b *queries.Book, measure, share, unit string) Section {
	r := summaryOf(b, measure)
	s := Section{
		ID: "trend-" + measure, Heading: trendHeading(r, share),
		Sub:    fmt.Sprintf("%s%s by local month with 95%% intervals, the control limits that count, and the exponentially weighted moving average.", strings.ToUpper(share[:1]), share[1:]),
		Figure: trendFigure(b, measure, share),
		Source: sourceOf(b, "trend", ""),
	}
	if !r.Enough {
		return s
	}
	s.Sub += fmt.Sprintf(" Centre and limits are from %s to %s.", monthName(r.BaselineFrom), monthName(r.BaselineTo))
	limits := Note{"", "Limits are those of a p chart, three standard errors (Shewhart 1931)."}
	if r.Chart == queries.LaneyChart {
		limits = Note{fmt.Sprintf("%.1f×", float64(r.SigmaZ)), "the spread between months of the baseline that one common rate gives; the limits are widened by as much (Laney 2002)."}
	}
	s.Sub += fmt.Sprintf(" Months with fewer than %d %s are not judged.", b.Floor, unit)
	s.Margin = []Note{limits, {"2 rules", "flag a month: beyond the limits, or the 8th or later of a run on one side of the centre. More rules would multiply false signals."}}
	return s
}

func trendFigure(b *queries.Book, measure, share string) template.HTML {
	f := chart.Months{Frame: chart.Frame{ID: "trend-" + strings.ReplaceAll(measure, "_", "-"), Title: "Month by month: " + share,
		Desc: "The " + share + " by local month, with 95% intervals, control limits and a moving average."}, SmoothedLabel: "moving average"}
	for _, r := range b.Trend {
		if r.Measure != measure {
			continue
		}
		low, high := r.Limits()
		p := chart.MonthPoint{Label: r.Month, Value: number(r.Rate), Low: number(r.Low), High: number(r.High), N: int(r.N), Enough: r.Enough,
			Standing: monthStanding(r), LCL: number(low), UCL: number(high), Smooth: number(r.EWMA),
			Title: rateTitle(monthName(r.Month), r.Rate, r.Low, r.High, r.Events, r.N)}
		if r.Rules != "" {
			p.Title += "; " + r.Rules
		}
		if r.Centre.Known() {
			f.Limits, f.Centred, f.Centre = true, true, number(r.Centre)
			f.CentreLabel = "centre: " + queries.Percent(r.Centre)
		}
		f.Smoothed = f.Smoothed || r.EWMA.Known()
		if r.Signal && f.Signal == "" {
			f.Signal, f.SignalLabel = r.Month, "average first outside its limits: "+monthName(r.Month)
		}
		f.Points = append(f.Points, p)
	}
	return f.SVG()
}

func monthStanding(r queries.TrendRow) string {
	switch {
	case r.Beyond:
		return chart.Act
	case r.Rules != "":
		return chart.Watch
	}
	return chart.InLine
}

// compareYears counts the measures that can be compared between the last 12 months and the 12
// before, and says which changed.
func compareYears(b *queries.Book) (compared int64, changed []string) {
	for _, w := range trendWords {
		r := summaryOf(b, w.measure)
		if !r.Difference.Known() {
			continue
		}
		compared++
		switch {
		case r.DifferenceLow > 0:
			changed = append(changed, "the "+w.share+" rose")
		case r.DifferenceHigh < 0:
			changed = append(changed, "the "+w.share+" fell")
		}
	}
	return compared, changed
}

func yearHeading(b *queries.Book) string {
	compared, changed := compareYears(b)
	switch {
	case compared == 0:
		return "Too few months or cases to compare one year with the next"
	case len(changed) == 0:
		return fmt.Sprintf("Year on year, nothing changed beyond chance in %s", counted(compared, "measure", "measures"))
	}
	return "Year on year, " + strings.Join(changed, ", and ")
}

func yearSection(b *queries.Book) Section {
	t := Table{ID: "years-table", Caption: "Trend, and the last 12 months against the 12 before", Columns: []Column{{Head: "Measure"},
		{Head: "Slope", Unit: "points a month", Numeric: true}, {Head: "95% interval", Numeric: true}, {Head: "Mann-Kendall p", Numeric: true},
		{Head: "12 before", Numeric: true}, {Head: "Last 12", Numeric: true}, {Head: "Change", Unit: "points", Numeric: true}, {Head: "95% interval", Numeric: true}}}
	for _, w := range trendWords {
		r := summaryOf(b, w.measure)
		if r.Months == 0 {
			continue
		}
		t.Rows = append(t.Rows, Row{Held: !r.Enough, Cells: []Cell{text(w.short), points(r.Slope, 2), pointRange(r.SlopeLow, r.SlopeHigh, 2), decimal(r.P, 3),
			rateOf(r.BeforeRate, r.BeforeEvents, r.BeforeN, b.Floor), rateOf(r.LastRate, r.LastEvents, r.LastN, b.Floor),
			points(r.Difference, 1), pointRange(r.DifferenceLow, r.DifferenceHigh, 1)}})
	}
	s := Section{
		ID: "years", Heading: yearHeading(b),
		Sub: "Sen's slope and the Mann-Kendall test over the months; the change between years with sites as clusters. A point is one per cent of cases." +
			" What is not confirmed is a false alarm, so a fall in one is a rise in the other.",
		Tables: []Table{t},
		Source: sourceOf(b, "trend_summary", ""),
	}
	if compared, _ := compareYears(b); compared > 1 {
		s.Margin = []Note{{queries.Count(compared), fmt.Sprintf("measures are compared at 95%% each: about %.0f in 100 such tables show a change by chance alone.",
			100*(1-math.Pow(queries.Confidence, float64(compared))))}}
	}
	return s
}

// points writes a difference of shares in percentage points.
func points(f queries.Figure, digits int) Cell {
	c := decimal(100*f, digits)
	if f > 0 {
		c.Text = "+" + c.Text
	}
	return c
}

func pointRange(low, high queries.Figure, digits int) Cell {
	if !low.Known() || !high.Known() {
		return Cell{Text: "not known", Class: "num"}
	}
	return Cell{Text: points(low, digits).Text + " to " + points(high, digits).Text, Class: "num"}
}

// rateOf writes a rate with its count; under the floor the count alone.
func rateOf(rate queries.Figure, events, n int64, floor int) Cell {
	if n < int64(floor) {
		return Cell{Text: ofAll(events, n) + ", too few", Class: "num"}
	}
	return Cell{Text: queries.Percent(rate) + " (" + ofAll(events, n) + ")", Class: "num"}
}
