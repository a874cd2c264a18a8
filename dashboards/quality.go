package dashboards

import (
	"fmt"

	"scanledger/queries"
)

func qualityPage(b *queries.Book, _ Business) Page {
	return Page{
		Title:    "Records",
		Heading:  qualityHeading(b),
		Lead:     "Every record file taken in and what became of its rows. For each file, rows read are accepted, duplicate, corrected, waiting and rejected rows together.",
		Sections: []Section{filesSection(b), rulesSection(b)},
	}
}

func qualityTotals(b *queries.Book) (sum queries.QualityRow) {
	for _, r := range b.Quality {
		sum.Rows += r.Rows
		sum.Accepted += r.Accepted
		sum.Duplicate += r.Duplicate
		sum.Corrected += r.Corrected
		sum.Waiting += r.Waiting
		sum.Rejected += r.Rejected
	}
	return sum
}

func qualityHeading(b *queries.Book) string {
	sum := qualityTotals(b)
	if sum.Rows == 0 {
		return "No rows have been taken in yet"
	}
	return fmt.Sprintf("All %s rows of %s are accounted for", queries.Count(sum.Rows), counted(int64(len(b.Quality)), "file", "files"))
}

func filesSection(b *queries.Book) Section {
	t := Table{ID: "files-table", Caption: "Record files in order of arrival", Sortable: true, Find: true, Columns: []Column{{Head: "File"}, {Head: "Record set"}, {Head: "Received"},
		{Head: "Rows", Numeric: true}, {Head: "Accepted", Numeric: true}, {Head: "Duplicate", Numeric: true}, {Head: "Corrected", Numeric: true},
		{Head: "Waiting", Numeric: true}, {Head: "Rejected", Numeric: true}}}
	for _, r := range b.Quality {
		t.Rows = append(t.Rows, Row{Cells: []Cell{{Text: r.File, Class: "code"}, text(r.RecordSet), day(r.ReceivedOn), count(r.Rows), count(r.Accepted),
			count(r.Duplicate), count(r.Corrected), count(r.Waiting), count(r.Rejected)}})
	}
	sum := qualityTotals(b)
	return Section{
		ID: "files",
		Heading: fmt.Sprintf("%s = %s accepted + %s duplicate + %s corrected + %s waiting + %s rejected", queries.Count(sum.Rows), queries.Count(sum.Accepted),
			queries.Count(sum.Duplicate), queries.Count(sum.Corrected), queries.Count(sum.Waiting), queries.Count(sum.Rejected)),
		Sub:    "Counted from the rows themselves, not from what the load said; the same holds for every file.",
		Tables: []Table{t}, Source: sourceOf(b, "data_quality", ""),
		Margin: []Note{{queries.Percent(queries.Figure(float64(sum.Rejected) / float64(max(sum.Rows, 1)))), fmt.Sprintf("of %s rows were rejected.", queries.Count(sum.Rows))}},
	}
}

func rulesSection(b *queries.Book) Section {
	t := Table{ID: "rules-table", Caption: "Broken rules by file and column", Sortable: true, Find: true, Columns: []Column{{Head: "File"}, {Head: "Column"}, {Head: "Rule"},
		{Head: "Times", Numeric: true}, {Head: "First line", Numeric: true}, {Head: "Value there"}}}
	rules := map[string]bool{}
	var times int64
	for _, r := range b.RejectRules {
		rules[r.Rule] = true
		times += r.Times
		t.Rows = append(t.Rows, Row{Cells: []Cell{{Text: r.File, Class: "code"}, text(r.Column), text(r.Rule), count(r.Times), count(r.FirstLine), {Text: r.Example, Class: "code"}}})
	}
	s := Section{ID: "rules", Heading: fmt.Sprintf("%s broken %s", counted(int64(len(rules)), "rule was", "rules were"), counted(times, "time", "times")),
		Sub:    "As judged by the newest load; a row that breaks several rules counts once for each. Every one is listed in the store's rejects folder.",
		Tables: []Table{t}, Source: sourceOf(b, "reject_rules", "")}
	if len(t.Rows) == 0 {
		s.Heading, s.Tables = "No rule was broken", nil
	}
	return s
}
