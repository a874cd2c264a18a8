package dashboards

import (
	"fmt"
	"html/template"
	"strings"

	"scanledger/dashboards/chart"
	"scanledger/queries"
)

// driftSections are one over all technicians, and one for each who changed against themselves.
func driftSections(b *queries.Book) []Section {
	out := []Section{driftSection(b)}
	for _, months := range byTechnician(b) {
		if _, ok := firstSignal(months); ok {
			out = append(out, changedSection(b, months))
		}
	}
	return out
}

// byTechnician parts the months, which come in order of technician.
func byTechnician(b *queries.Book) [][]queries.DriftRow {
	var out [][]queries.DriftRow
	for _, r := range b.Drift {
		if n := len(out); n == 0 || out[n-1][0].TechnicianID != r.TechnicianID {
			out = append(out, nil)
		}
		out[len(out)-1] = append(out[len(out)-1], r)
	}
	return out
}

func firstSignal(months []queries.DriftRow) (queries.DriftRow, bool) {
	for _, r := range months {
		if r.Signal {
			return r, true
		}
	}
	return queries.DriftRow{}, false
}

// watchedMonths counts the months in which a technician's own level was known.
func watchedMonths(months []queries.DriftRow) int64 {
	var n int64
	for _, r := range months {
		if r.Limit.Known() {
			n++
		}
	}
	return n
}

func driftHeading(b *queries.Book) string {
	var watched, up, down int64
	for _, months := range byTechnician(b) {
		if watchedMonths(months) > 0 {
			watched++
		}
		switch r, ok := firstSignal(months); {
		case ok && r.Direction == queries.Up:
			up++
		case ok:
			down++
		}
	}
	switch {
	case watched == 0:
		return "Too few false alarms were to be expected to watch anyone over time"
	case up+down == 0:
		return fmt.Sprintf("None of %s watched has changed against themselves", counted(watched, "technician", "technicians"))
	case down == 0:
		return fmt.Sprintf("%s watched came to raise more false alarms than before", ofAll(up, watched))
	case up == 0:
		return fmt.Sprintf("%s watched came to raise fewer false alarms than before", ofAll(down, watched))
	}
	return fmt.Sprintf("Of %d watched, %d came to raise more false alarms than before and %d fewer", watched, up, down)
}

func driftSection(b *queries.Book) Section {
	t := Table{ID: "drift-table", Caption: "Technicians against their own earlier level", Sortable: true, Columns: []Column{{Head: "Technician"}, {Head: "Months watched", Numeric: true},
		{Head: "Verified", Unit: "active calls", Numeric: true}, {Head: "False alarms", Numeric: true}, {Head: "First signal"}, {Head: "Changed since"}, {Head: "Smoothed share now", Unit: "beyond own level", Numeric: true}}}
	for _, months := range byTechnician(b) {
		t.Rows = append(t.Rows, driftRow(months))
	}
	return Section{ID: "drift", Heading: driftHeading(b),
		Sub:    "False alarms among verified active calls, month by month, against what the technician's own earlier months would give under the same conditions.",
		Tables: []Table{t}, Margin: driftNotes(b), Source: sourceOf(b, "technician_drift", "")}
}

func driftRow(months []queries.DriftRow) Row {
	var verified, events int64
	now := Cell{Text: "not watched", Class: "num"}
	for _, r := range months {
		verified, events = verified+r.Verified, events+r.Observed
		if r.Average.Known() {
			now = decimal(100*r.Average, 0)
			now.Text = fmt.Sprintf("%+.0f points", 100*number(r.Average))
			if r.AverageOutside {
				now.Text += ", further than chance strays"
			}
		}
	}
	signal, since := "none", ""
	if r, ok := firstSignal(months); ok {
		signal, since = monthName(r.Month)+", "+moreOrFewer(r), monthName(r.ChangedFrom)
	}
	watched := watchedMonths(months)
	if watched == 0 {
		signal = "too few to watch"
	}
	return Row{Held: watched == 0, Cells: []Cell{text(months[0].TechnicianID), count(watched), count(verified), count(events), text(signal), text(since), now}}
}

func moreOrFewer(r queries.DriftRow) string {
	if r.Direction == queries.Up {
		return "more"
	}
	return "fewer"
}

func driftNotes(b *queries.Book) []Note {
	if len(b.Drift) == 0 {
		return nil
	}
	return []Note{{queries.Count(b.Drift[0].RunLength), "months between false signals of one technician who does not change, on average."},
		{queries.Count(b.Drift[0].AverageRunLength), "months between strays of the smoothed share, which is a hint and no signal."}}
}

func changedHeading(r queries.DriftRow) string {
	return fmt.Sprintf("%s raises %s false alarms than before since about %s", r.TechnicianID, moreOrFewer(r), monthName(r.ChangedFrom))
}

func changedSection(b *queries.Book, months []queries.DriftRow) Section {
	r, _ := firstSignal(months)
	return Section{ID: strings.TrimSuffix(pageFile("drift", r.TechnicianID), ".html"), Heading: changedHeading(r),
		Sub: "Share of verified active calls that were false alarms, by month, with 95% intervals; open circles are months with few calls. " +
			"The smoothed line is the own level plus the weighted average beyond it.",
		Paragraphs: []string{r.WhatChanged},
		Figure:     driftFigure(months), Tables: []Table{monthsTable(months)},
		Margin: []Note{{monthName(r.Month), fmt.Sprintf("signal: the sum stood at %.1f, its limit is %.1f.", number(r.Statistic), number(r.Limit))}},
		Source: sourceOf(b, "technician_drift", "")}
}

// driftFigure draws one technician's months around the own level.
func driftFigure(months []queries.DriftRow) template.HTML {
	id := months[0].TechnicianID
	f := chart.Months{Frame: chart.Frame{ID: strings.TrimSuffix(pageFile("months", id), ".html"), Title: "False alarms of " + id + " by month",
		Desc: "Share of verified active calls that were false alarms, by month, with the technician's own level and a smoothed line."}, Smoothed: true, SmoothedLabel: "smoothed"}
	var expected, verified float64
	for _, r := range months {
		if r.Expected.Known() {
			expected, verified = expected+number(r.Expected), verified+float64(r.Verified)
		}
	}
	if verified > 0 {
		f.Centred, f.Centre, f.CentreLabel = true, expected/verified, "own level"
	}
	for _, r := range months {
		f.Points = append(f.Points, chart.MonthPoint{Label: r.Month, Value: number(r.Rate), Low: number(r.Low), High: number(r.High), N: int(r.Verified), Enough: r.Enough, Standing: chart.InLine,
			Smooth: f.Centre + number(r.Average), Title: rateTitle(monthName(r.Month), r.Rate, r.Low, r.High, r.Observed, r.Verified)})
	}
	if r, ok := firstSignal(months); ok {
		f.Signal, f.SignalLabel = r.Month, "signal: "+moreOrFewer(r)+" since "+monthName(r.ChangedFrom)
	}
	return f.SVG()
}

// monthsTable is what the figure is drawn from, with the sums behind the signals.
func monthsTable(months []queries.DriftRow) Table {
	id := months[0].TechnicianID
	t := Table{ID: strings.TrimSuffix(pageFile("sums", id), ".html"), Caption: "Months of " + id, Folded: true, Columns: []Column{{Head: "Month"}, {Head: "Verified", Numeric: true}, {Head: "False alarms", Numeric: true},
		{Head: "Expected", Unit: "own level", Numeric: true}, {Head: "Sum, more", Unit: "limit", Numeric: true}, {Head: "Sum, fewer", Unit: "limit", Numeric: true}, {Head: "Signal"},
		{Head: "Missed", Unit: "points", Numeric: true}}}
	for _, r := range months {
		signal := ""
		if r.Signal {
			signal = moreOrFewer(r)
		}
		t.Rows = append(t.Rows, Row{Held: !r.Limit.Known(), Cells: []Cell{text(monthName(r.Month)), count(r.Verified), count(r.Observed), decimal(r.Expected, 1),
			sumCell(r.SumUp, r.LimitUp), sumCell(r.SumDown, r.LimitDown), text(signal), count(r.Missed)}})
	}
	return t
}

func sumCell(sum, limit queries.Figure) Cell {
	c := decimal(sum, 1)
	if sum.Known() {
		c.Text += fmt.Sprintf(" of %.1f", number(limit))
	} else {
		c.Text = "learning"
	}
	return c
}
