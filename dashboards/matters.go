package dashboards

import (
	"fmt"
	"strings"

	"scanledger/queries"
	"scanledger/transform/protocol"
)

// grave is the consequence from which matters are counted in the heading.
const grave = 7

func mattersSection(b *queries.Book) Section {
	t := Table{ID: "matters-table", Caption: "Open matters by consequence", Sortable: true, Find: true, Columns: []Column{{Head: "Consequence", Unit: "1 to 10", Numeric: true}, {Head: "Matter"}, {Head: "Technician"}, {Head: "About"},
		{Head: "In words"}, {Head: "Evidence"}}}
	for _, r := range someOfEach(b.Matters) {
		t.Rows = append(t.Rows, Row{Cells: []Cell{count(r.Consequence), text(matterWords[r.Matter]), text(r.TechnicianID), {Text: about(r), Class: "code"}, text(r.Text), evidence(b, r)}})
	}
	s := Section{ID: "matters", Heading: mattersHeading(b), Sub: mattersSub(len(b.Matters), len(t.Rows)), Tables: []Table{t}, Source: sourceOf(b, "open_matters", ""),
		Margin: []Note{{queries.Count(int64(len(b.Matters))), "open matters, all of them in the CSV."}}}
	if len(t.Rows) == 0 {
		s.Tables, s.Margin = nil, nil
	}
	return s
}

// mostOfAKind is how many matters of one kind the page lists, so that none crowds out the others.
const mostOfAKind = 20

// someOfEach keeps the first of every kind of matter, in their order.
func someOfEach(rows []queries.MatterRow) []queries.MatterRow {
	seen := map[string]int{}
	var out []queries.MatterRow
	for _, r := range rows {
		if seen[r.Matter]++; seen[r.Matter] <= mostOfAKind {
			out = append(out, r)
		}
	}
	return out
}

func mattersHeading(b *queries.Book) string {
	n := int64(0)
	for _, r := range b.Matters {
		if r.Consequence >= grave {
			n++
		}
	}
	if len(b.Matters) == 0 {
		return "No matter is open"
	}
	return fmt.Sprintf("%s open, %s of consequence %d or more", counted(int64(len(b.Matters)), "matter is", "matters are"), queries.Count(n), grave)
}

func mattersSub(all, shown int) string {
	text := "A matter asks for a look; it is closed by a record, never here. Consequence is the house's choice: how much a matter takes from what the records prove, or what it may have cost."
	if shown < all {
		text += fmt.Sprintf(" Shown are at most %d of each kind; %s more are in the CSV below.", mostOfAKind, queries.Count(int64(all-shown)))
	}
	return text
}

var matterWords = map[string]string{
	"missed_point": "missed point", "overdue_unit": "unit past its service date", "protocol": "protocol", "digits": "last digits",
	"consistency": "out of line", "drift": "changed course", "unit": "unit out of line", "pattern": "pattern", "missed_pattern": "pattern of missed points", "rejected_rows": "rejected rows", "waiting_rows": "waiting rows",
}

// about says what a matter is about.
func about(r queries.MatterRow) string {
	subject := r.Subject
	switch r.Matter {
	case "protocol":
		c, _ := protocol.Lookup(r.Subject)
		return c.Title
	case "missed_point":
		subject = "point " + subject
	case "consistency", "drift":
		subject = strings.ReplaceAll(subject, "_", " ")
	}
	return subject
}

// evidence leads to the nearest page: that of the inspection or of the check, where there is one.
func evidence(b *queries.Book, r queries.MatterRow) Cell {
	if page := inspectionLink(b, r.InspectionID); page != "" {
		return Cell{Text: "inspection " + r.InspectionID, Href: page}
	}
	if r.InspectionID != "" {
		return Cell{Text: "inspection " + r.InspectionID, Href: r.Evidence}
	}
	if page, check, ok := strings.Cut(r.Evidence, "#"); ok && page == "protocol.html" && len(ofCheck(b, check)) > 0 {
		return Cell{Text: "every breach", Href: pageFile("check", check)}
	}
	return Cell{Text: "the figures", Href: r.Evidence}
}

func inspectionsSection(b *queries.Book) Section {
	t := Table{ID: "inspections-table", Caption: "Inspections by weight", Sortable: true, Find: true, Columns: []Column{{Head: "Inspection"}, {Head: "Date"}, {Head: "Technician"}, {Head: "Missed", Numeric: true},
		{Head: "False alarms", Numeric: true}, {Head: "Breaches", Numeric: true}, {Head: "Checks breached"}, {Head: "Weight", Numeric: true}}}
	pages := len(b.Paged)
	for _, r := range b.Inspections[:min(len(b.Inspections), mostRows)] {
		t.Rows = append(t.Rows, Row{Cells: []Cell{{Text: r.InspectionID, Href: inspectionLink(b, r.InspectionID)}, day(r.Date), text(r.TechnicianID), count(r.Missed), count(r.FalseAlarms),
			count(r.Breaches), text(strings.ReplaceAll(r.Checks, "_", " ")), count(r.Weight)}})
	}
	s := Section{ID: "inspections", Heading: inspectionsHeading(b), Tables: []Table{t}, Source: sourceOf(b, "flagged_inspections", ""),
		Sub: fmt.Sprintf("%s a page of their own: examples of every kind, some of those drawn for an audit, then the weightiest; %s more have none.", counted(int64(pages), "has", "have"), queries.Count(int64(len(b.Inspections)-pages)))}
	if more := len(b.Inspections) - len(t.Rows); more > 0 {
		s.Sub += fmt.Sprintf(" Listed are the first %s; the CSV below holds all.", queries.Count(int64(len(t.Rows))))
	}
	if len(t.Rows) == 0 {
		s.Tables, s.Sub = nil, ""
	}
	return s
}

func inspectionsHeading(b *queries.Book) string {
	var missed, alarms int64
	for _, r := range b.Inspections {
		if r.Missed > 0 {
			missed++
		}
		if r.FalseAlarms > 0 {
			alarms++
		}
	}
	if len(b.Inspections) == 0 {
		return "No inspection is flagged"
	}
	return fmt.Sprintf("%s flagged: %s with a missed point, %s with a false alarm", counted(int64(len(b.Inspections)), "inspection is", "inspections are"), queries.Count(missed), queries.Count(alarms))
}
