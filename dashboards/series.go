package dashboards

import (
	"fmt"

	"scanledger/dashboards/chart"
	"scanledger/queries"
)

// signWords say what each value of a sign means for an active call.
var signWords = map[[2]string]string{
	{"lower_gain", "vanished"}: "Not shown at a lower gain", {"lower_gain", "shown"}: "Shown at a lower gain too", {"lower_gain", "not_tried"}: "No lower gain tried",
	{"shown_again", "no"}: "Shown in one reading only", {"shown_again", "yes"}: "Shown in two readings or more",
	{"control_moved", "yes"}: "Movement at a control place", {"control_moved", "no"}: "None at a control place", {"control_moved", "no_control"}: "No control reading",
	{"many_at_once", "yes"}: "Movement at many points at once", {"many_at_once", "no"}: "Not at many points at once",
	{"level_far_above", "yes"}: "Level far above the usual", {"level_far_above", "no"}: "Level within the usual",
}

// seriesSection shows which signs in the readings of a point go with false alarms.
func seriesSection(b *queries.Book) Section {
	f := chart.Dots{Frame: chart.Frame{ID: "series-figure", Title: "False alarms by what the readings show", Desc: "Share of verified active calls that were false alarms, by sign, with 95% intervals."},
		NLabel: "verified"}
	t := Table{ID: "series-table", Caption: "Signs in the readings of a point", Columns: []Column{{Head: "Sign"}, {Head: "Verified", Numeric: true}, {Head: "False alarms", Numeric: true},
		{Head: "Share", Unit: "95% interval", Numeric: true}, {Head: "Expected", Unit: "as all calls", Numeric: true}, {Head: "q", Numeric: true}}}
	var n int64
	for _, r := range b.Series {
		if r.Sign == "shown_again" {
			n += r.ActiveVerified
		}
		if r.ActiveVerified == 0 {
			continue
		}
		label := signWords[[2]string{r.Sign, r.Value}]
		f.Rows = append(f.Rows, chart.DotRow{Label: label, Value: number(r.Rate), Low: number(r.Low), High: number(r.High), N: int(r.ActiveVerified), Enough: r.Enough, Standing: signStanding(r),
			Title: rateTitle(label, r.Rate, r.Low, r.High, r.FalseAlarms, r.ActiveVerified)})
		q := Cell{Text: "not judged", Class: "num"}
		if r.Q.Known() {
			q = Cell{Text: chance(r.Q), Sort: decimal(r.Q, 6).Sort, Class: "num"}
		}
		t.Rows = append(t.Rows, Row{Held: !r.Enough, Cells: []Cell{text(label), count(r.ActiveVerified), count(r.FalseAlarms),
			shareCell(r), decimal(r.Expected, 1), q}})
	}
	return Section{ID: "series", Heading: seriesHeading(b),
		Sub:    fmt.Sprintf("Share of %s verified active calls that were false alarms, by what the other readings of the point and the visit say.", queries.Count(n)),
		Figure: f.SVG(), Tables: []Table{t}, Source: sourceOf(b, "series_patterns", "")}
}

func signStanding(r queries.SeriesRow) string {
	if standsOut(r) {
		return chart.Act
	}
	return chart.InLine
}

// standsOut tells whether a sign goes with false alarms beyond what chance gives, over all signs.
func standsOut(r queries.SeriesRow) bool { return r.Enough && r.Q.Known() && r.Q <= 0.1 && r.Ratio > 1 }

// seriesHeading names the sign that stands out most.
func seriesHeading(b *queries.Book) string {
	judged, best := 0, -1
	for i, r := range b.Series {
		if r.Q.Known() {
			judged++
		}
		if standsOut(r) && (best < 0 || r.Q < b.Series[best].Q) {
			best = i
		}
	}
	switch {
	case judged == 0:
		return "Too few checked calls to say what the readings of a point tell"
	case best < 0:
		return "No sign in the readings of a point goes with false alarms beyond what chance gives"
	}
	r := b.Series[best]
	return fmt.Sprintf("%s: %s of %s such calls were false alarms", signWords[[2]string{r.Sign, r.Value}], queries.Count(r.FalseAlarms), queries.Count(r.ActiveVerified))
}

func shareCell(r queries.SeriesRow) Cell {
	c := percent(r.Rate)
	c.Text += " (" + queries.Range(r.Low, r.High) + ")"
	return c
}
