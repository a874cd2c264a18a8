package dashboards

import (
	"fmt"
	"slices"

	"scanledger/queries"
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
		Lead: "Each technician against all the others together. Limits are exact: between the outer ones 99.8% of technicians would fall by chance alone, " +
			"were they all alike. Outside them asks for a look, not a verdict; nobody is ranked. Not adjusted for who works where.",
	}
	for _, m := range measures {
		rows := measured(b, m.name)
		p.Sections = append(p.Sections, Section{
			ID: m.name, Heading: measureHeading(m.heading, rows),
			Sub:    fmt.Sprintf("%s, by how many there were. Each mark is one technician; bands are exact binomial limits.", m.sub),
			Figure: funnelFigure(m.name, m.sub, rows),
			Tables: []Table{consistencyTable(m.name, m.heading, rows)},
			Margin: standingNotes(b, rows),
			Source: sourceOf(b, "technician_consistency", ""),
		})
	}
	p.Sections = append(p.Sections, slices.Concat(agreementSections(b), gainUseSections(b))...)
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
	notes := []Note{{queries.Count(n[queries.Act]), "outside the 99.8% limits (rust diamonds)."},
		{queries.Count(n[queries.Watch]), "between the 95% and 99.8% limits (ringed ochre)."}}
	if n[tooFew] > 0 {
		notes = append(notes, Note{queries.Count(n[tooFew]), fmt.Sprintf("not judged: fewer than %d cases (open circles).", b.Floor)})
	}
	return notes
}

func consistencyTable(id, caption string, rows []queries.ConsistencyRow) Table {
	t := Table{ID: id + "-table", Caption: caption + " by technician", Sortable: true, Columns: []Column{{Head: "Technician"}, {Head: "Cases", Numeric: true},
		{Head: "Observed", Numeric: true}, {Head: "Expected", Unit: "from the others", Numeric: true}, {Head: "Observed / expected", Unit: "95% interval", Numeric: true},
		{Head: "q", Unit: "false discovery", Numeric: true}, {Head: "Standing"}}}
	for _, r := range rows {
		standing := standingOf(r)
		ratio := Cell{Text: "not known", Class: "num"}
		if r.Ratio.Known() {
			ratio = decimal(r.Ratio, 2)
			ratio.Text = fmt.Sprintf("%.2f (%.2f to %.2f)", float64(r.Ratio), float64(r.Low), float64(r.High))
		}
		q := decimal(r.Q, 3)
		if r.Q.Known() && r.Q < 0.001 {
			q.Text = "under 0.001"
		}
		t.Rows = append(t.Rows, Row{Held: !r.Enough, Cells: []Cell{text(r.TechnicianID), count(r.Opportunities), count(r.Observed), decimal(r.Expected, 1), ratio, q,
			{Text: standingWords[standing], Mark: mark(standing)}}})
	}
	return t
}
