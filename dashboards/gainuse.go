package dashboards

import (
	"fmt"
	"html/template"
	"strings"

	"scanledger/dashboards/chart"
	"scanledger/queries"
)

// gainUseSections say how technicians use gain beside one another.
func gainUseSections(b *queries.Book) []Section {
	return []Section{gainMixSection(b), startsSection(b), steppedSection(b)}
}

func gainMixHeading(b *queries.Book) string {
	var differ []string
	compared := int64(0)
	for _, r := range b.GainUse {
		if r.Enough {
			compared++
		}
		if r.Differs {
			differ = append(differ, r.TechnicianID)
		}
	}
	switch {
	case compared == 0:
		return "Too few readings to compare how gain is used"
	case len(differ) == 0:
		return fmt.Sprintf("On the same materials, none of %s uses gain otherwise than the others to any extent", counted(compared, "technician", "technicians"))
	}
	return fmt.Sprintf("On the same materials, %d of %s %s gain otherwise than the others: %s", len(differ), counted(compared, "technician", "technicians"),
		map[bool]string{true: "uses", false: "use"}[len(differ) == 1], strings.Join(differ, ", "))
}

func gainMixSection(b *queries.Book) Section {
	s := Section{ID: "gain-mix", Heading: gainMixHeading(b), Source: sourceOf(b, "technician_gain", ""),
		Sub: "Gain steps of all readings against the others' on the same mix of materials and models. A distance of 0 is the same mix, 1 nothing in common. " +
			"Said to differ where q is at most 0.05 and a tenth of the readings or more would have to be at another step."}
	if len(b.GainUse) == 0 {
		return s
	}
	t := Table{ID: "gain-mix-table", Caption: "Use of gain by technician", Sortable: true, Columns: []Column{{Head: "Technician"}, {Head: "Readings", Numeric: true},
		{Head: "Mean step", Unit: "of the unit's range", Numeric: true}, {Head: "Others'", Unit: "same materials", Numeric: true}, {Head: "Distance", Unit: "by chance", Numeric: true},
		{Head: "Readings moved", Numeric: true}, {Head: "q", Numeric: true}, {Head: "q", Unit: "fifths of range", Numeric: true}, {Head: "Use"}}}
	for _, r := range b.GainUse {
		distance := decimal(r.Distance, 3)
		distance.Text += " (" + figure(r.ByChance, 3) + ")"
		t.Rows = append(t.Rows, Row{Held: !r.Enough, Cells: []Cell{text(r.TechnicianID), count(r.Readings), percent(r.MeanStep), percent(r.PeersMeanStep), distance,
			percent(r.Moved), chanceCell(r.Q), chanceCell(r.RelativeQ), text(gainWord(r))}})
	}
	s.Tables = []Table{t}
	return s
}

func gainWord(r queries.GainUseRow) string {
	switch {
	case !r.Enough:
		return "too few"
	case !r.Differs:
		return "alike"
	case r.MeanStep > r.PeersMeanStep:
		return "higher"
	}
	return "lower"
}

// startsHeading sums over technicians; only those with enough are named.
func startsHeading(b *queries.Book) string {
	var starts, elsewhere int64
	var names []string
	for _, r := range b.GainUse {
		starts, elsewhere = starts+r.Starts, elsewhere+r.StartedElsewhere
		if r.StartsEnough && r.ElsewhereLow > r.PeersElsewhere {
			names = append(names, r.TechnicianID)
		}
	}
	switch {
	case starts < int64(b.Floor):
		return "Too few points to say where readings start"
	case elsewhere == 0:
		return fmt.Sprintf("At all %s the first reading was at the unit's starting step", counted(starts, "point tested", "points tested"))
	case len(names) == 0:
		return fmt.Sprintf("At %s of %s the first reading was not at the unit's starting step, and nobody stands clear of the others", queries.Count(elsewhere), counted(starts, "point tested", "points tested"))
	}
	return fmt.Sprintf("Starting elsewhere than at the unit's starting step is more frequent with %s than with the others", strings.Join(names, ", "))
}

func startsSection(b *queries.Book) Section {
	s := Section{ID: "gain-start", Heading: startsHeading(b), Source: sourceOf(b, "technician_gain", ""),
		Sub: "Share of point-visits whose first reading was not at the unit's starting step; sites as clusters."}
	s.Figure = shareDots("gain-start-dots", "First readings not at the starting step, by technician", b.GainUse, func(r queries.GainUseRow) shareOf {
		return shareOf{r.ElsewhereRate, r.ElsewhereLow, r.ElsewhereHigh, r.StartedElsewhere, r.Starts, r.StartsEnough}
	})
	return s
}

// shareOf is a share with its interval and counts.
type shareOf struct {
	rate, low, high queries.Figure
	events, n       int64
	enough          bool
}

// shareDots draws one share by technician.
func shareDots(id, title string, rows []queries.GainUseRow, of func(r queries.GainUseRow) shareOf) template.HTML {
	f := chart.Dots{Frame: chart.Frame{ID: id, Title: title, Desc: title + ", with 95% intervals."}, NLabel: "points"}
	for _, r := range rows {
		s := of(r)
		f.Rows = append(f.Rows, chart.DotRow{Label: r.TechnicianID, Value: number(s.rate), Low: number(s.low), High: number(s.high), N: int(s.n), Enough: s.enough,
			Standing: chart.InLine, Title: rateTitle(r.TechnicianID, s.rate, s.low, s.high, s.events, s.n)})
	}
	return f.SVG()
}

func steppedHeading(b *queries.Book) string {
	var clear, stepped int64
	var names []string
	for _, r := range b.GainUse {
		clear, stepped = clear+r.DenseClear, stepped+r.SteppedUp
		if r.SteppedEnough && r.SteppedHigh < r.PeersStepped {
			names = append(names, r.TechnicianID)
		}
	}
	switch {
	case clear < int64(b.Floor):
		return "Too few clear readings on dense walls to say who steps up after one"
	case len(names) == 0:
		return fmt.Sprintf("After a clear reading on a dense wall, %s of %s were read again at a higher step, and nobody stands clear below the others",
			queries.Percent(queries.Figure(float64(stepped)/float64(clear))), counted(clear, "point", "points"))
	}
	return fmt.Sprintf("After a clear reading on a dense wall, points of %s were less often read again at a higher step than the others'", strings.Join(names, ", "))
}

func steppedSection(b *queries.Book) Section {
	s := Section{ID: "gain-stepped", Heading: steppedHeading(b), Source: sourceOf(b, "technician_gain", ""),
		Sub: "Share of point-visits on dense material that were read again at a higher step after a clear reading below the unit's highest step; sites as clusters. A clear reading at a low step on a dense wall says little."}
	s.Figure = shareDots("gain-stepped-dots", "Stepped up after a clear reading on dense material, by technician", b.GainUse, func(r queries.GainUseRow) shareOf {
		return shareOf{r.SteppedRate, r.SteppedLow, r.SteppedHigh, r.SteppedUp, r.DenseClear, r.SteppedEnough}
	})
	return s
}
