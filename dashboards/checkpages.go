package dashboards

import (
	"fmt"
	"slices"

	"scanledger/queries"
	"scanledger/transform/protocol"
)

// checkPages are one page a check, with its breaches.
func checkPages(b *queries.Book, _ Business) []Page {
	var out []Page
	for _, c := range protocol.Checks {
		rows, c := ofCheck(b, c.ID), c.With(b.Settings)
		if len(rows) == 0 {
			continue
		}
		out = append(out, Page{
			File: pageFile("check", c.ID), Title: c.Title, Heading: checkHeading(c, rows),
			Lead:     fmt.Sprintf("Asked: %s (%s). A chance is a %s. It is a breach where %s.", c.Asks, kindOf(c), c.Chance, c.Breach),
			Sections: []Section{checkSection(b, c, rows), breachesSection(b, c)},
		})
	}
	return out
}

func kindOf(c protocol.Check) string {
	switch c.Kind {
	case protocol.Published:
		return c.Source
	case protocol.House:
		return "the house's choice"
	}
	return string(c.Kind)
}

func checkHeading(c protocol.Check, rows []queries.ProtocolRow) string {
	chances, breaches := sums(rows)
	text := fmt.Sprintf("%s: %s of %s", c.Title, queries.Count(breaches), queries.Count(chances))
	if who := outstanding(rows); len(who) > 0 {
		return text + fmt.Sprintf("; clearly more often by %s than by the others", words(who))
	}
	return text
}

// checkSection compares technicians on one check.
func checkSection(b *queries.Book, c protocol.Check, rows []queries.ProtocolRow) Section {
	t := Table{ID: "by-technician", Caption: "By technician", Sortable: true, Find: len(rows) > mostColumns, Columns: []Column{{Head: "Technician"}, {Head: "Chances", Numeric: true}, {Head: "Breaches", Numeric: true},
		{Head: "Rate", Numeric: true}, {Head: "95% interval", Numeric: true}, {Head: "Others", Numeric: true}, {Head: "q", Unit: "false discovery", Numeric: true}, {Head: "Standing"}}}
	for _, r := range rows[:min(len(rows), mostBreaches)] {
		standing := Cell{Text: r.WhyNot}
		if r.Standing != "" {
			standing = Cell{Text: standingWords[r.Standing], Mark: mark(r.Standing)}
		}
		t.Rows = append(t.Rows, Row{Held: !r.Enough, Cells: []Cell{text(r.TechnicianID), count(r.Chances), count(r.Breaches), percent(r.Rate), interval(r.Low, r.High),
			percent(r.Others), discovery(r.Q), standing}})
	}
	chances, breaches := sums(rows)
	return Section{ID: "technicians", Heading: comparedHeading(rows), Sub: "A standing compares with the others; a habit that all share shows as a rate only.",
		Tables: []Table{t}, Margin: []Note{{queries.Percent(queries.Figure(float64(breaches) / float64(chances))), fmt.Sprintf("of %s were breached, all technicians together.", counted(chances, "chance", "chances"))}},
		Source: sourceOf(b, "protocol", "Chance: "+c.Chance+". Breach: "+c.Breach+".")}
}

func comparedHeading(rows []queries.ProtocolRow) string {
	judged := 0
	for _, r := range rows {
		if r.Standing != "" {
			judged++
		}
	}
	out := len(outstanding(rows))
	switch {
	case judged == 0:
		return "Nobody is judged by this check"
	case out == 0:
		return fmt.Sprintf("None of %s stands out", counted(int64(judged), "technician", "technicians"))
	}
	return fmt.Sprintf("%d of %s out", out, counted(int64(judged), "technician stands", "technicians stand"))
}

func breachesSection(b *queries.Book, c protocol.Check) Section {
	all := slices.DeleteFunc(slices.Clone(b.Breaches), func(r queries.BreachRow) bool { return r.Check != c.ID })
	t := Table{ID: "breaches-table", Caption: "Breaches, the newest of each technician first", Sortable: true, Find: true, Columns: []Column{{Head: "Date"}, {Head: "Technician"},
		{Head: "Inspection"}, {Head: "Place"}, {Head: "Seen"}}}
	shown := newest(all, mostBreaches)
	for _, r := range shown {
		t.Rows = append(t.Rows, Row{Cells: []Cell{day(r.Date), text(r.TechnicianID), {Text: r.InspectionID, Href: inspectionLink(b, r.InspectionID)}, text(place(r)), text(r.Seen)}})
	}
	s := Section{ID: "breaches", Heading: counted(int64(len(all)), "breach is", "breaches are") + " on record", Tables: []Table{t}, Source: sourceOf(b, "protocol_breaches", "")}
	if n := len(all) - len(shown); n > 0 {
		s.Sub = fmt.Sprintf("Shown are the newest %s, an even share of each technician's; %s more are in the CSV below.", queries.Count(int64(len(shown))), queries.Count(int64(n)))
	}
	if len(all) == 0 {
		s.Heading, s.Tables = "No breach is on record", nil
	}
	return s
}

// discovery is a false discovery rate; a very small one is not written out.
func discovery(q queries.Figure) Cell {
	c := decimal(q, 3)
	if q.Known() {
		c.Text = chance(q)
	}
	return c
}

// place is the point, and the reading where the breach is in one.
func place(r queries.BreachRow) string {
	if r.PointID == "" || r.ReadingID == "" {
		return r.PointID
	}
	return r.PointID + ", " + r.ReadingID
}

// newest picks at most so many breaches, the newest of each technician, in turns; the rows come by technician
// and date.
func newest(rows []queries.BreachRow, most int) []queries.BreachRow {
	var people [][]queries.BreachRow
	for start, end := 0, 0; start < len(rows); start = end {
		for end < len(rows) && rows[end].TechnicianID == rows[start].TechnicianID {
			end++
		}
		people = append(people, rows[start:end])
	}
	taken := make([]int, len(people))
	for left := min(most, len(rows)); left > 0; {
		for i := range people {
			if left > 0 && taken[i] < len(people[i]) {
				taken[i]++
				left--
			}
		}
	}
	var out []queries.BreachRow
	for i, own := range people {
		for k := range taken[i] {
			out = append(out, own[len(own)-1-k])
		}
	}
	return out
}
