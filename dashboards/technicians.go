package dashboards

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strconv"

	"scanledger/dashboards/chart"
	"scanledger/queries"
	"scanledger/queries/stats"
)

// measures in the order shown, with how each is spoken of.
var measures = []struct{ name, heading, sub string }{
	{"false_alarms", "False alarms", "Share of verified active calls where something else was found"},
	{"missed", "Missed points", "Share of points verified active that had been called clear"},
	{"detections", "Detections", "Share of points tested that were called active"},
}

func techniciansPage(b *queries.Book, _ Business) Page {
	p := Page{
		Title:   "Technicians",
		Heading: techniciansHeading(b),
		Lead: "Each technician against what the average one would give under the same materials, thicknesses, seasons, regions and purposes, and then against their own " +
			"earlier level. Gain is left out on purpose, since it is the technician's own choice; the tables say how much of a difference goes with it. " +
			"Outside a limit asks for a look, not a verdict; nobody is ranked.",
	}
	for _, m := range measures {
		rows := measured(b, m.name)
		p.Sections = append(p.Sections, Section{
			ID: m.name, Heading: measureHeading(m.heading, rows),
			Sub: fmt.Sprintf("%s, put as if everyone worked under the same conditions, by how many there were. Each mark is one technician; bands are exact binomial limits, "+
				"widened since points of a site are alike and technicians differ a little anyway.", m.sub),
			Figure: funnelFigure(m.name, m.sub, rows),
			Tables: []Table{consistencyTable(m.name, m.heading, rows)},
			Margin: standingNotes(b, rows),
			Source: sourceOf(b, "technician_consistency", ""),
		})
	}
	p.Sections = append(p.Sections, slices.Concat(driftSections(b), agreementSections(b), gainUseSections(b))...)
	return p
}

func measured(b *queries.Book, name string) []queries.ConsistencyRow {
	var out []queries.ConsistencyRow
	for _, r := range b.Consistency {
		if r.Measure == name {
			out = append(out, r)
		}
	}
	return out
}

func standingOf(r queries.ConsistencyRow) string {
	if !r.Enough {
		return tooFew
	}
	return r.Standing
}

func byStanding(rows []queries.ConsistencyRow) map[string]int64 {
	out := map[string]int64{}
	for _, r := range rows {
		out[standingOf(r)]++
	}
	return out
}

func techniciansHeading(b *queries.Book) string {
	judged := map[string]bool{}
	out := map[string]bool{}
	for _, r := range b.Consistency {
		if r.Enough {
			judged[r.TechnicianID] = true
			if r.Standing == queries.Act {
				out[r.TechnicianID] = true
			}
		}
	}
	switch {
	case len(judged) == 0:
		return "Too few cases to compare technicians"
	case len(out) == 0:
		return fmt.Sprintf("All %d technicians are within what chance allows", len(judged))
	}
	return fmt.Sprintf("%d of %s fall outside the outer limits on some measure", len(out), counted(int64(len(judged)), "technician", "technicians"))
}

func measureHeading(what string, rows []queries.ConsistencyRow) string {
	n := byStanding(rows)
	judged := n[queries.InLine] + n[queries.Watch] + n[queries.Act]
	switch {
	case judged == 0:
		return what + ": too few cases to judge anyone"
	case n[queries.Act] == 0:
		return fmt.Sprintf("%s: nobody is outside the outer limits", what)
	}
	return fmt.Sprintf("%s: %d of %d outside the outer limits", what, n[queries.Act], judged)
}

func standingNotes(b *queries.Book, rows []queries.ConsistencyRow) []Note {
	n := byStanding(rows)
	notes := []Note{{queries.Count(n[queries.Act]), "outside their 99.8% limits, also when all are looked at together (rust diamonds)."},
		{queries.Count(n[queries.Watch]), "outside their 95% limits, also when all are looked at together (ringed ochre)."}}
	if n[tooFew] > 0 {
		notes = append(notes, Note{queries.Count(n[tooFew]), fmt.Sprintf("not judged: fewer than %d cases, or less than one expected (open circles).", b.Floor)})
	}
	return notes
}

func consistencyTable(id, caption string, rows []queries.ConsistencyRow) Table {
	t := Table{ID: id + "-table", Caption: caption + " by technician", Sortable: true, Columns: []Column{{Head: "Technician"}, {Head: "Observed", Unit: "of cases", Numeric: true},
		{Head: "Expected", Unit: "same conditions", Numeric: true}, {Head: "Observed / expected", Unit: "95% interval", Numeric: true},
		{Head: "Rate", Unit: "drawn to the average", Numeric: true}, {Head: "Goes with gain", Unit: "of the difference", Numeric: true}, {Head: "Standing"}}}
	for _, r := range rows {
		standing := standingOf(r)
		t.Rows = append(t.Rows, Row{Held: !r.Enough, Cells: []Cell{technicianCell(r.TechnicianID), outOf(r.Observed, r.Opportunities), decimal(r.Expected, 1), ratioCell(r.Ratio, r.Low, r.High),
			percent(r.ShrunkRate), gainCell(r), {Text: standingWords[standing], Mark: mark(standing)}}})
	}
	return t
}

// outOf sorts by the share.
func outOf(n, all int64) Cell {
	c := Cell{Text: ofAll(n, all), Class: "num"}
	if all > 0 {
		c.Sort = strconv.FormatFloat(float64(n)/float64(all), 'f', 6, 64)
	}
	return c
}

func ratioCell(ratio, low, high queries.Figure) Cell {
	c := decimal(ratio, 2)
	if ratio.Known() {
		c.Text = fmt.Sprintf("%.2f (%.2f to %.2f)", float64(ratio), float64(low), float64(high))
	}
	return c
}

// gainCell says how much of a difference goes with the gain chosen, where there is a difference.
func gainCell(r queries.ConsistencyRow) Cell {
	switch {
	case !r.ExplainedByGain.Known():
		return Cell{Text: "no difference", Class: "num", Sort: "0"}
	case r.ExplainedByGain < 0:
		return Cell{Text: "none", Class: "num", Sort: "0"}
	case r.ExplainedByGain > 1:
		return Cell{Text: "all", Class: "num", Sort: "1"}
	}
	return percent(r.ExplainedByGain)
}

// funnelFigure draws technicians, at their ratio times everyone's rate, against the widened limits around
// that rate.
func funnelFigure(id, what string, rows []queries.ConsistencyRow) template.HTML {
	var observed, opportunities, most int64
	var alike float64
	spread := 0.0
	for _, r := range rows {
		observed += r.Observed
		opportunities += r.Opportunities
		most = max(most, r.Opportunities)
		if r.Enough {
			spread = number(r.Spread)
		}
		if r.DesignEffect.Known() {
			alike += number(r.DesignEffect) * float64(r.Opportunities)
		}
	}
	f := chart.Funnel{Frame: chart.Frame{ID: "funnel-" + id, Title: what, Desc: what + ", one mark a technician, with exact 95% and 99.8% limits, widened."}, XLabel: "Cases in the period"}
	if opportunities == 0 {
		return f.SVG()
	}
	f.Centre = float64(observed) / float64(opportunities)
	for _, r := range rows {
		if r.Opportunities > 0 && r.Ratio.Known() {
			f.Points = append(f.Points, chart.FunnelPoint{Label: r.TechnicianID, N: int(r.Opportunities), Value: min(1, number(r.Ratio)*f.Centre), Standing: standingOf(r),
				Title: fmt.Sprintf("%s: %s where %.1f would be expected, %.2f times (95%% interval %.2f to %.2f); %s", r.TechnicianID, ofAll(r.Observed, r.Opportunities),
					number(r.Expected), number(r.Ratio), number(r.Low), number(r.High), standingWords[standingOf(r)])})
		}
	}
	f.Bands = funnelBands(f.Centre, int(most), alike/float64(opportunities), spread)
	return f.SVG()
}

// funnelSteps is at how many sizes the limits are drawn.
const funnelSteps = 120

// funnelBands are the limits for technicians of average design effect, whose ratios spread so much beyond
// chance.
func funnelBands(centre float64, most int, designEffect, spread float64) []chart.FunnelBand {
	var out []chart.FunnelBand
	last := 0
	for i := 1; i <= funnelSteps && centre > 0 && centre < 1; i++ {
		n := max(5, most*i*11/(10*funnelSteps))
		if n == last {
			continue
		}
		last = n
		l, err := stats.BinomialLimits(centre, n)
		if err != nil {
			return nil // without limits the figure still shows the marks; a centre of counts cannot fail
		}
		wider := math.Sqrt(designEffect + spread*spread*float64(n)*centre/(1-centre))
		at := func(limit float64) float64 { return min(1, max(0, centre+(limit-centre)*wider)) }
		out = append(out, chart.FunnelBand{N: n, Low998: at(l.Low998), Low95: at(l.Low95), High95: at(l.High95), High998: at(l.High998)})
	}
	return out
}
