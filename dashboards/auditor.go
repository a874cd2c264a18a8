package dashboards

import (
	"fmt"

	"scanledger/queries"
)

func auditorPage(b *queries.Book, _ Business) Page {
	return Page{
		Title:   "Auditor",
		Heading: auditorHeading(b),
		Lead:    "How far the figures can be trusted: what share of calls was ever checked, what is still open, and who asks for a look.",
		Sections: []Section{mattersSection(b), inspectionsSection(b), checkedSection(b), correctedSection(b), cutsSection(b), lookSection(b),
			auditSampleSection(b), openRowsSection(b)},
	}
}

func auditorHeading(b *queries.Book) string {
	all, ok := allAccuracy(b)
	if !ok || all.ActiveCalls+all.ClearCalls == 0 {
		return "There are no calls to audit yet"
	}
	return fmt.Sprintf("%s of active calls and %s of clear calls were ever checked", queries.Percent(all.ActiveVerifiedShare), queries.Percent(all.ClearVerifiedShare))
}

func lookSection(b *queries.Book) Section {
	t := Table{ID: "look", Caption: "Technicians outside a limit", Sortable: true, Columns: []Column{{Head: "Technician"}, {Head: "Measure"},
		{Head: "Observed", Numeric: true}, {Head: "Expected", Numeric: true}, {Head: "Cases", Numeric: true}, {Head: "Standing"}}}
	words := map[string]string{"detections": "detections", "false_alarms": "false alarms", "missed": "missed points"}
	for _, r := range b.Consistency {
		if r.Enough && r.Standing != queries.InLine {
			t.Rows = append(t.Rows, Row{Cells: []Cell{{Text: r.TechnicianID, Href: "technicians.html#" + r.Measure}, text(words[r.Measure]), count(r.Observed),
				decimal(r.Expected, 1), count(r.Opportunities), {Text: standingWords[r.Standing], Mark: mark(r.Standing)}}})
		}
	}
	s := Section{ID: "look-into", Heading: counted(int64(len(t.Rows)), "comparison asks", "comparisons ask") + " for a look",
		Sub: "Of every technician and measure; some fall outside the 95% limits by chance alone.", Tables: []Table{t}, Source: sourceOf(b, "technician_consistency", "")}
	if len(t.Rows) == 0 {
		s.Heading, s.Tables = "No technician is outside a limit", nil
	}
	return s
}

func openRowsSection(b *queries.Book) Section {
	t := Table{ID: "open-rows", Caption: "Record files with rows that do not count", Sortable: true, Columns: []Column{{Head: "File"}, {Head: "Rows", Numeric: true},
		{Head: "Waiting", Numeric: true}, {Head: "Rejected", Numeric: true}}}
	var waiting, rejected int64
	for _, r := range b.Quality {
		waiting += r.Waiting
		rejected += r.Rejected
		if r.Waiting+r.Rejected > 0 {
			t.Rows = append(t.Rows, Row{Cells: []Cell{{Text: r.File, Href: "quality.html#files", Class: "code"}, count(r.Rows), count(r.Waiting), count(r.Rejected)}})
		}
	}
	s := Section{ID: "open", Heading: fmt.Sprintf("%s rejected, %s", counted(rejected, "row was", "rows were"), counted(waiting, "waits", "wait")),
		Sub:    "A rejected row needs mending at its source; a waiting one comes in by itself once what it names arrives.",
		Tables: []Table{t}, Source: sourceOf(b, "data_quality", "")}
	if len(t.Rows) == 0 {
		s.Heading, s.Tables = "Every row that was read counts", nil
	}
	return s
}
