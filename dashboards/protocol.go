package dashboards

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"scanledger/queries"
	"scanledger/transform/protocol"
)

// What a page holds at most; results hold all of it.
const (
	mostColumns  = 20  // technicians side by side
	mostBreaches = 600 // listed on the page of one check
	mostRows     = 200 // of any other table
)

func protocolPage(b *queries.Book, _ Business) Page {
	return Page{
		Title:   "Protocol",
		Heading: protocolHeading(b),
		Lead: "How inspections were done, check by check. A breach is a departure from what was asked, not a fault of a person: the record may be wrong, " +
			"or the rule unfit for the place. Nobody is ranked.",
		Sections: []Section{habitsSection(b), checksSection(b), digitsSection(b)},
	}
}

func ofCheck(b *queries.Book, id string) []queries.ProtocolRow {
	var out []queries.ProtocolRow
	for _, r := range b.Protocol {
		if r.Check == id {
			out = append(out, r)
		}
	}
	return out
}

// sums adds up chances and breaches of all technicians.
func sums(rows []queries.ProtocolRow) (chances, breaches int64) {
	for _, r := range rows {
		chances += r.Chances
		breaches += r.Breaches
	}
	return chances, breaches
}

// outstanding are those whose standing asks for a look.
func outstanding(rows []queries.ProtocolRow) []string {
	var out []string
	for _, r := range rows {
		if r.Standing == queries.Act {
			out = append(out, r.TechnicianID)
		}
	}
	return out
}

func protocolHeading(b *queries.Book) string {
	judged, out := map[string]bool{}, map[string]bool{}
	for _, r := range b.Protocol {
		if r.Standing != "" {
			judged[r.Check] = true
		}
		if r.Standing == queries.Act {
			out[r.Check] = true
		}
	}
	switch {
	case len(b.Protocol) == 0:
		return "No check has had a chance to be breached yet"
	case len(judged) == 0:
		return "Too few chances to compare how technicians work"
	case len(out) == 0:
		return fmt.Sprintf("On none of %s does anyone breach clearly more often than the others", counted(int64(len(judged)), "check", "checks"))
	}
	return fmt.Sprintf("On %d of %s someone breaches clearly more often than the others", len(out), counted(int64(len(judged)), "check", "checks"))
}

// words joins names: "A", "A and B", "A, B and 3 more".
func words(names []string) string {
	switch n := len(names); {
	case n <= 1:
		return strings.Join(names, "")
	case n <= 4:
		return strings.Join(names[:n-1], ", ") + " and " + names[n-1]
	default:
		return fmt.Sprintf("%s and %d more", strings.Join(names[:3], ", "), n-3)
	}
}

// shownTechnicians are all, or, where there are too many for a table, those who stand out, as many as fit.
func shownTechnicians(b *queries.Book) (shown []string, more int) {
	var all, out []string
	for _, r := range b.Protocol {
		all = append(all, r.TechnicianID)
		if r.Standing == queries.Act || r.Standing == queries.Watch {
			out = append(out, r.TechnicianID)
		}
	}
	slices.Sort(all)
	all = slices.Compact(all)
	if len(all) <= mostColumns {
		return all, 0
	}
	slices.Sort(out)
	out = slices.Compact(out)
	out = out[:min(len(out), mostColumns)]
	return out, len(all) - len(out)
}

func habitsSection(b *queries.Book) Section {
	who, more := shownTechnicians(b)
	t := Table{ID: "habits-table", Dense: true, Caption: "Share of chances breached, by check and technician; the check leads to every breach", Columns: []Column{{Head: "Check"}, {Head: "All", Unit: "breaches of chances", Numeric: true}}}
	for _, id := range who {
		t.Columns = append(t.Columns, Column{Head: id, Numeric: true})
	}
	for _, c := range protocol.Checks {
		if rows := ofCheck(b, c.ID); len(rows) > 0 {
			t.Rows = append(t.Rows, habitsRow(c, rows, who))
		}
	}
	s := Section{ID: "habits", Heading: habitsHeading(b),
		Sub:    "Point at a share for its counts. Open circles and grey: too few chances to say. Some fall outside by chance alone; how that is kept rare is under the table.",
		Tables: []Table{t}, Margin: habitNotes(b), Source: sourceOf(b, "protocol", "")}
	if more > 0 {
		s.Paragraphs = []string{fmt.Sprintf("Shown are the technicians who stand out on some check; %s are in the CSV below.", counted(int64(more), "other", "others"))}
	}
	if len(t.Rows) == 0 {
		s.Tables = nil
	}
	return s
}

func habitsHeading(b *queries.Book) string {
	var out, watched int
	for _, r := range b.Protocol {
		switch r.Standing {
		case queries.Act:
			out++
		case queries.Watch:
			watched++
		}
	}
	switch {
	case len(b.Protocol) == 0:
		return "There is nothing to compare yet"
	case out+watched == 0:
		return "No technician stands out on any check"
	}
	return fmt.Sprintf("%s out, %s to watch", counted(int64(out), "habit stands", "habits stand"), queries.Count(int64(watched)))
}

func habitsRow(c protocol.Check, rows []queries.ProtocolRow, who []string) Row {
	chances, breaches := sums(rows)
	out := Row{Cells: []Cell{{Text: c.Title, Href: pageFile("check", c.ID), ID: c.ID}, {Text: ofAll(breaches, chances), Class: "num wrap"}}}
	for _, id := range who {
		i := slices.IndexFunc(rows, func(r queries.ProtocolRow) bool { return r.TechnicianID == id })
		if i < 0 {
			out.Cells = append(out.Cells, Cell{Class: "num"})
			continue
		}
		out.Cells = append(out.Cells, habitCell(rows[i]))
	}
	return out
}

// habitCell shows a rate with its mark; in line needs none. Its title tells the counts.
func habitCell(r queries.ProtocolRow) Cell {
	c := Cell{Text: queries.Percent(r.Rate), Class: "num", Title: rateTitle(r.TechnicianID, r.Rate, r.Low, r.High, r.Breaches, r.Chances)}
	switch {
	case r.Standing == queries.Act || r.Standing == queries.Watch:
		c.Mark = mark(r.Standing)
	case r.Check == "digit_preference": // ten digits are no sample: see the section on them
		c.Text = queries.Count(r.Breaches)
	case !r.Enough:
		c.Text, c.Class, c.Mark = fmt.Sprintf("%d/%d", r.Breaches, r.Chances), "num soft", mark(tooFew)
	}
	return c
}

func habitNotes(b *queries.Book) []Note {
	var out, watched int64
	for _, r := range b.Protocol {
		switch r.Standing {
		case queries.Act:
			out++
		case queries.Watch:
			watched++
		}
	}
	return []Note{{queries.Count(out), "stand out (rust diamonds): at least twice the others' rate, with a false discovery rate under 1%."},
		{queries.Count(watched), "to watch (ringed ochre): under 5%."}}
}

// checksSection says what each check is.
func checksSection(b *queries.Book) Section {
	t := Table{ID: "checks-table", Caption: "What is asked, and where that comes from", Columns: []Column{{Head: "Check"}, {Head: "Asked"}, {Head: "Kind"}, {Head: "Weight", Unit: "1 to 10", Numeric: true}}}
	own := 0
	for _, c := range protocol.Checks {
		row := Row{Cells: []Cell{text(c.Title), text(c.With(b.Settings).Asks), text(kindOf(c)), count(int64(c.Weight))}}
		if slices.Contains(b.Settings.Off, c.ID) {
			row.Held, row.Cells[1].Text = true, "switched off"
		}
		t.Rows = append(t.Rows, row)
		if c.Kind == protocol.House {
			own++
		}
	}
	return Section{ID: "checks", Heading: fmt.Sprintf("%d of %d checks are the house's own choice; one rests on a published text", own, len(protocol.Checks)),
		Sub: "Every threshold can be set in scanledger.toml, and every check switched off. Weights say what to look at first.", Tables: []Table{t}}
}

func digitsSection(b *queries.Book) Section {
	t := Table{ID: "digits-table", Caption: "How often levels end in each digit", Sortable: true, Folded: true, Columns: []Column{{Head: "Technician"}, {Head: "Model"}, {Head: "Levels", Numeric: true}}}
	for digit := range 10 {
		t.Columns = append(t.Columns, Column{Head: fmt.Sprint(digit), Numeric: true})
	}
	t.Columns = append(t.Columns, Column{Head: "q", Unit: "false discovery", Numeric: true}, Column{Head: "Standing"})
	rows := oddFirst(b.Digits)
	for _, r := range rows[:min(len(rows), mostRows)] {
		row := Row{Held: !r.Enough, Cells: []Cell{text(r.TechnicianID), text(r.Model), count(r.Levels)}}
		for _, n := range []int{r.D0, r.D1, r.D2, r.D3, r.D4, r.D5, r.D6, r.D7, r.D8, r.D9} {
			row.Cells = append(row.Cells, count(int64(n)))
		}
		standing := cmp.Or(r.Standing, tooFew)
		t.Rows = append(t.Rows, Row{Held: row.Held, Cells: append(row.Cells, discovery(r.Q), Cell{Text: standingWords[standing], Mark: mark(standing)})})
	}
	s := Section{ID: "digits", Heading: digitsHeading(b),
		Sub:    "Last digits of levels read off a fine scale are all as frequent. A technician is judged against that and against the others with the same model.",
		Tables: []Table{t}, Source: sourceOf(b, "digit_preference", "")}
	if len(t.Rows) == 0 {
		s.Tables = nil
	}
	return s
}

// oddFirst is the rows, those not in line before the others.
func oddFirst(rows []queries.DigitRow) []queries.DigitRow {
	rank := func(r queries.DigitRow) int {
		return slices.Index([]string{queries.Act, queries.Watch, queries.InLine, ""}, r.Standing)
	}
	rows = slices.Clone(rows)
	slices.SortStableFunc(rows, func(x, y queries.DigitRow) int { return rank(x) - rank(y) })
	return rows
}

func digitsHeading(b *queries.Book) string {
	judged, out := map[string]bool{}, map[string]bool{}
	for _, r := range b.Digits {
		if r.Enough {
			judged[r.TechnicianID] = true
			if r.Standing == queries.Act {
				out[r.TechnicianID] = true
			}
		}
	}
	switch {
	case len(judged) == 0:
		return "Too few levels to judge their last digits"
	case len(out) == 0:
		return fmt.Sprintf("Last digits of levels: nobody of %d differs from the others", len(judged))
	}
	return fmt.Sprintf("Last digits of levels: %d of %s differ from the others", len(out), counted(int64(len(judged)), "technician", "technicians"))
}
