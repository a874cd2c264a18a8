package dashboards

import (
	"fmt"
	"slices"

	"scanledger/queries"
)

// archivePage lists every month on record.
func archivePage(b *queries.Book, biz Business) Page {
	return Page{
		Title: "Months", Heading: archiveHeading(b),
		Lead:     "Every month on record, the newest first. Shares with 95% intervals, sites as clusters; findings for the newest months may still come in.",
		Sections: []Section{archiveSection(b, biz)},
	}
}

func archiveHeading(b *queries.Book) string {
	enough := int64(0)
	for _, r := range b.Trend {
		if r.Measure == queries.ConfirmedShare && r.Enough {
			enough++
		}
	}
	months := int64(len(b.MonthCounts))
	if months == 0 {
		return "No month is on record yet"
	}
	return fmt.Sprintf("%s on record; in %s enough active calls were checked for a rate", counted(months, "month", "months"), queries.Count(enough))
}

func archiveSection(b *queries.Book, biz Business) Section {
	s := Section{ID: "archive", Heading: busiestHeading(b), Source: sourceOf(b, "month_counts", ""),
		Sub: "What was tested and called in each month, what was checked by looking, and what that showed."}
	t := Table{ID: "months-table", Caption: "Months", Sortable: true, Find: true, Dense: true, Columns: []Column{{Head: "Month"}, {Head: "Inspections", Numeric: true}, {Head: "Points", Numeric: true},
		{Head: "Called active", Numeric: true}, {Head: "Checked", Unit: "active calls", Numeric: true}, {Head: "Confirmed", Unit: "95% interval", Numeric: true}, {Head: "Checked", Unit: "clear calls", Numeric: true}, {Head: "Missed", Numeric: true}}}
	if biz.FalseAlarmCost+biz.MissedCost > 0 {
		t.Columns = append(t.Columns, Column{Head: "Cost", Unit: biz.Currency, Numeric: true})
	}
	for _, r := range slices.Backward(b.MonthCounts) {
		confirmed := Cell{Text: "not enough", Class: "num wrap"}
		if i := slices.IndexFunc(b.Trend, func(t queries.TrendRow) bool {
			return t.Measure == queries.ConfirmedShare && t.Month == r.Month && t.Enough
		}); i >= 0 {
			confirmed = rateCell(b.Trend[i].Rate, b.Trend[i].Low, b.Trend[i].High, true)
			confirmed.Class = "num wrap"
		}
		row := Row{Cells: []Cell{{Text: monthName(r.Month), Sort: r.Month, Class: "day"}, count(r.Inspections), count(r.Points), count(r.ActiveCalls), count(r.ActiveVerified), confirmed, count(r.ClearVerified), count(r.Missed + r.MissedReported)}}
		if biz.FalseAlarmCost+biz.MissedCost > 0 {
			row.Cells = append(row.Cells, count(int64(r.Cost(biz.FalseAlarmCost, biz.MissedCost)+0.5)))
		}
		t.Rows = append(t.Rows, row)
	}
	if len(t.Rows) > 0 {
		s.Tables = []Table{t}
	}
	return s
}

func busiestHeading(b *queries.Book) string {
	if len(b.MonthCounts) == 0 {
		return "Nothing has been tested yet"
	}
	most := slices.MaxFunc(b.MonthCounts, func(x, y queries.MonthCountRow) int { return int(x.Points - y.Points) })
	return fmt.Sprintf("The most points in one month were tested in %s: %s", monthName(most.Month), queries.Count(most.Points))
}
