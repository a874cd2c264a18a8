package dashboards

import (
	"fmt"
	"slices"
	"strings"

	"scanledger/queries"
	"scanledger/transform/protocol"
)

// Whom a monthly issue is for.
const (
	ForOwner   = "owner"
	ForAuditor = "auditor"
	ForAll     = "all"
)

// MonthIssue is what a monthly issue shows beside its book, which ends with the month.
type MonthIssue struct {
	Month, For string
	Figures    []queries.MonthFigure
	Restates   string                 // the issue that this one restates; empty for a first issue
	Changes    []queries.FigureChange // what is another than in that issue
}

// RenderMonth makes the issue as one HTML file that holds all it needs and links to nothing.
func RenderMonth(m MonthIssue, b *queries.Book, biz Business) ([]byte, error) {
	p := Page{File: "issue.html", Title: monthName(m.Month), Heading: monthIssueHeading(m, b),
		Lead: fmt.Sprintf("The month's report on %s, from what had been received by %s. Every rate stands with its interval and its count; the workbook beside this file holds the tables.", monthName(m.Month), b.AsOf)}
	if m.Restates != "" {
		p.Sections = append(p.Sections, restatedSection(m))
	}
	p.Sections = append(p.Sections, figuresSection(m, b, biz))
	if m.For != ForAuditor {
		p.Sections = append(p.Sections, nextSection(b, biz), heldUpSection(b), ownersMaterials(b), quoteSection(b))
	}
	if m.For != ForOwner {
		p.Sections = append(p.Sections, monthMissedSection(m, b), monthBreachSection(m, b), mattersSection(b), lookSection(b), openRowsSection(b))
	}
	for i := range p.Sections {
		p.Sections[i] = alone(p.Sections[i])
	}
	site := Site{Business: biz.Name, AsOf: b.AsOf, From: b.From, To: b.To, Inputs: inputsInWords(b), Restated: b.Restated, Caution: caution}
	return Render(site, p)
}

// alone takes out of a section what leads to other files, and opens what is folded.
func alone(s Section) Section {
	s.Source = nil
	s.Sub = strings.NewReplacer("the CSV below", "the workbook", "in the CSV", "in the workbook").Replace(s.Sub)
	s.List = slices.Clone(s.List)
	for i := range s.List {
		s.List[i].Href = ""
	}
	s.Tables = slices.Clone(s.Tables)
	for i := range s.Tables {
		t := &s.Tables[i]
		t.Folded = false
		t.Rows = slices.Clone(t.Rows)
		for r := range t.Rows {
			t.Rows[r].Cells = slices.Clone(t.Rows[r].Cells)
			for c := range t.Rows[r].Cells {
				t.Rows[r].Cells[c].Href = ""
			}
		}
	}
	return s
}

// monthIssueHeading says how active calls of the month held up, or why that cannot be said.
func monthIssueHeading(m MonthIssue, b *queries.Book) string {
	i := slices.IndexFunc(m.Figures, func(f queries.MonthFigure) bool { return f.Name == queries.ConfirmedShare })
	if i < 0 || b.MonthCount(m.Month).Inspections == 0 {
		return monthHeading(b, m.Month)
	}
	f := m.Figures[i]
	if !f.Now.Enough {
		return fmt.Sprintf("%s: too few active calls checked for a rate, %s of %s", monthName(m.Month), queries.Count(f.Now.Of), queries.Count(b.MonthCount(m.Month).ActiveCalls))
	}
	text := fmt.Sprintf("%s: %s of %s checked active calls were confirmed", monthName(m.Month), queries.Percent(f.Now.Value), queries.Count(f.Now.Of))
	switch {
	case !f.Before.Change.Known():
		return text
	case f.Before.Moved() && f.Before.Change > 0:
		return text + ", more than the month before"
	case f.Before.Moved():
		return text + ", fewer than the month before"
	}
	return text + ", no change beyond chance from the month before"
}

func figuresSection(m MonthIssue, b *queries.Book, biz Business) Section {
	return Section{ID: "month", Heading: monthHeading(b, m.Month),
		Sub:    fmt.Sprintf("Changes of shares are in points of a hundred, with 95%% intervals (square-and-add, months taken as independent). Counts are of what is known and have no interval. A share of fewer than %d cases is held back.", b.Floor),
		Tables: []Table{monthTable(m.Figures, biz, nil)}}
}

func restatedSection(m MonthIssue) Section {
	s := Section{ID: "restated", Heading: restatedHeading(m),
		Sub: "An issue is never rewritten: this one stands beside it. Each figure that is another, and the records about the month that came in since."}
	t := Table{ID: "changes-table", Caption: "Figures that changed", Columns: []Column{{Head: "Figure"}, {Head: "Issued", Numeric: true}, {Head: "Now", Numeric: true}, {Head: "Because of"}}}
	for _, c := range m.Changes {
		t.Rows = append(t.Rows, Row{Cells: []Cell{text(c.Title), monthCell(c.Kind, c.From), monthCell(c.Kind, c.To), text(BecauseText(c.Because))}})
	}
	if len(t.Rows) > 0 {
		s.Tables = []Table{t}
	}
	return s
}

func restatedHeading(m MonthIssue) string {
	return fmt.Sprintf("Restated: %s another than in %s", counted(int64(len(m.Changes)), "figure is", "figures are"), m.Restates)
}

// BecauseText names the records behind a change.
func BecauseText(late []queries.LateRecords) string {
	if len(late) == 0 {
		return "a change of reference records or settings"
	}
	var out []string
	for _, r := range late {
		if r.File == "" { // removed
			out = append(out, fmt.Sprintf("%s %s of %s dated within a month of it, on %s", queries.Count(r.Rows), r.Did, r.RecordSet, r.ReceivedOn))
			continue
		}
		lines := "line "
		if r.Rows > 1 {
			lines = "lines "
		}
		if strings.Count(r.Lines, ",")+1 < int(r.Rows) {
			r.Lines += ", …"
		}
		out = append(out, fmt.Sprintf("%s %s of %s in %s (%s%s), received %s", queries.Count(r.Rows), r.Did, r.RecordSet, r.File, lines, r.Lines, r.ReceivedOn))
	}
	return strings.Join(out, "; ")
}

// ownersMaterials lists how calls hold up by material, over all months until this one.
func ownersMaterials(b *queries.Book) Section {
	t := Table{ID: "materials-table", Caption: "Active calls by material", Columns: []Column{{Head: "Material"}, {Head: "Called active", Numeric: true}, {Head: "Checked", Numeric: true}, {Head: "Confirmed", Unit: "95% interval", Numeric: true}}}
	enough := int64(0)
	for _, r := range b.Accuracy {
		if r.By != "material" {
			continue
		}
		if r.Enough {
			enough++
		}
		t.Rows = append(t.Rows, Row{Held: !r.Enough, Cells: []Cell{text(b.Labels.Material(*r.Material)), count(r.ActiveCalls), count(r.ActiveVerified), rateCell(r.PPV, r.PPVLow, r.PPVHigh, r.Enough)}})
	}
	s := Section{ID: "materials", Heading: fmt.Sprintf("On %s enough active calls were checked for a rate", ofAll(enough, int64(len(t.Rows)))+" materials"), Sub: period(b) + ".", Tables: []Table{t}}
	if len(t.Rows) == 0 {
		s.Heading, s.Tables = "No material has any call yet", nil
	}
	return s
}

func monthMissedSection(m MonthIssue, b *queries.Book) Section {
	c := b.MonthCount(m.Month)
	s := Section{ID: "missed", Heading: fmt.Sprintf("%s of the month are known to have been missed", counted(c.Missed+c.MissedReported, "point", "points")),
		Sub: fmt.Sprintf("%s of %s clear calls were checked by looking. What was never checked is not in it; a clear reading never proves absence.", queries.Count(c.ClearVerified), queries.Count(c.ClearCalls))}
	t := Table{ID: "missed-table", Caption: "Inspections of the month with missed points", Columns: []Column{{Head: "Inspection"}, {Head: "Date"}, {Head: "Technician"}, {Head: "Points", Numeric: true}, {Head: "Missed", Numeric: true}}}
	for _, r := range b.Inspections {
		if r.Missed > 0 && strings.HasPrefix(r.Date, m.Month) {
			t.Rows = append(t.Rows, Row{Cells: []Cell{text(r.InspectionID), day(r.Date), text(r.TechnicianID), count(r.Points), count(r.Missed)}})
		}
	}
	if len(t.Rows) > 0 {
		s.Tables = []Table{t}
	}
	return s
}

func monthBreachSection(m MonthIssue, b *queries.Book) Section {
	n, inspections := map[string]int64{}, map[string]map[string]bool{}
	var all int64
	for _, r := range b.Breaches {
		if !strings.HasPrefix(r.Date, m.Month) {
			continue
		}
		if inspections[r.Check] == nil {
			inspections[r.Check] = map[string]bool{}
		}
		n[r.Check]++
		inspections[r.Check][r.InspectionID] = true
		all++
	}
	s := Section{ID: "breaches", Heading: fmt.Sprintf("%s of the protocol in the month", counted(all, "breach", "breaches"))}
	t := Table{ID: "breaches-table", Caption: "Breaches of the month by check", Columns: []Column{{Head: "Check"}, {Head: "Breaches", Numeric: true}, {Head: "Inspections", Numeric: true}}}
	for _, c := range protocol.Checks {
		if n[c.ID] > 0 {
			t.Rows = append(t.Rows, Row{Cells: []Cell{text(c.Title), count(n[c.ID]), count(int64(len(inspections[c.ID])))}})
		}
	}
	if len(t.Rows) > 0 {
		s.Tables = []Table{t}
	}
	return s
}

// IssueLine is one issue in the list of them.
type IssueLine struct {
	Name, Month, For, AsOf, Restates string
	Changes                          int
}

// RenderIssues makes the page that lists issues, the newest first, each linked to its folder beside the page.
func RenderIssues(lines []IssueLine, biz Business) ([]byte, error) {
	t := Table{ID: "issues-table", Caption: "Issues", Sortable: true, Find: true, Columns: []Column{{Head: "Month"}, {Head: "Issue"}, {Head: "For"}, {Head: "As of"}, {Head: "Workbook"}, {Head: "Restates"}, {Head: "Figures changed", Numeric: true}}}
	site := Site{Business: biz.Name, Caution: caution}
	for _, l := range lines {
		t.Rows = append(t.Rows, Row{Cells: []Cell{{Text: monthName(l.Month), Sort: l.Month, Class: "day"}, {Text: l.Name, Href: l.Name + "/issue.html"}, text(l.For), day(l.AsOf), {Text: "XLSX", Href: l.Name + "/issue.xlsx"}, text(l.Restates), count(int64(l.Changes))}})
		site.AsOf = max(site.AsOf, l.AsOf)
		site.To = max(site.To, l.Month)
		if site.From == "" || l.Month < site.From {
			site.From = l.Month
		}
	}
	s := Section{ID: "issues", Heading: issuesHeading(lines), Tables: []Table{t}, Sub: "An issue is never rewritten. Where records came in later, a restatement stands beside it and lists what changed."}
	if len(lines) == 0 {
		s.Tables = nil
	}
	return Render(site, Page{File: "index.html", Title: "Monthly issues", Heading: "Monthly issues", Lead: "Every issue, the newest month first.", Sections: []Section{s}})
}

func issuesHeading(lines []IssueLine) string {
	months, again := map[string]bool{}, int64(0)
	for _, l := range lines {
		months[l.Month] = true
		if l.Restates != "" {
			again++
		}
	}
	switch {
	case len(lines) == 0:
		return "Nothing has been issued yet"
	case again == 0:
		return fmt.Sprintf("%s issued, none restated", counted(int64(len(months)), "month", "months"))
	}
	return fmt.Sprintf("%s issued, with %s", counted(int64(len(months)), "month", "months"), counted(again, "restatement", "restatements"))
}
