package dashboards

import (
	"fmt"
	"math"
	"slices"

	"scanledger/queries"
)

// foremostFigures are those of a month that the overview shows.
var foremostFigures = []string{"inspections", "points", queries.ActiveRate, queries.ConfirmedShare, queries.MissedShare, "cost"}

// thisMonthSection sets the newest month beside the one before and the same month a year ago.
func thisMonthSection(b *queries.Book, biz Business) Section {
	s := Section{ID: "month", Heading: monthHeading(b, b.To), Source: sourceOf(b, "month_counts", "")}
	figures, err := queries.MonthFigures(b, b.To, biz.FalseAlarmCost, biz.MissedCost)
	if err != nil { // no month yet
		return s
	}
	s.Sub = fmt.Sprintf("Shares with 95%% intervals, sites as clusters; a share of fewer than %d cases is held back. Findings for the newest months may still come in.", b.Floor)
	s.Tables = []Table{monthTable(figures, biz, foremostFigures)}
	return s
}

func monthHeading(b *queries.Book, month string) string {
	c := b.MonthCount(month)
	switch {
	case c.Inspections == 0 && month == "":
		return "No month has any inspection yet"
	case c.Inspections == 0:
		return fmt.Sprintf("No inspection in %s", monthName(month))
	case c.Points == 0:
		return fmt.Sprintf("%s: %s, and no point tested", monthName(month), counted(c.Inspections, "inspection", "inspections"))
	}
	return fmt.Sprintf("%s: %s, %s tested, %s called active", monthName(month), counted(c.Inspections, "inspection", "inspections"), counted(c.Points, "point", "points"), queries.Count(c.ActiveCalls))
}

// monthTable lists figures of a month with those of the two others and the changes; only those named, or all.
func monthTable(figures []queries.MonthFigure, biz Business, only []string) Table {
	t := Table{ID: "month-table", Caption: "Against the month before and the same month a year ago",
		Columns: []Column{{Head: "Figure"}, {Head: "This month", Numeric: true}, {Head: "Before", Numeric: true}, {Head: "Change", Numeric: true}, {Head: "Year ago", Numeric: true}, {Head: "Change", Numeric: true}}}
	for _, f := range figures {
		if only != nil && !slices.Contains(only, f.Name) {
			continue
		}
		title := f.Title
		if f.Kind == queries.MoneyFigure && biz.Currency != "" {
			title += ", " + biz.Currency
		}
		t.Rows = append(t.Rows, Row{Held: f.Kind == queries.ShareFigure && !f.Now.Enough, Cells: []Cell{text(title), monthCell(f.Kind, f.Now), monthCell(f.Kind, f.Before.MonthValue), changeCell(f.Kind, f.Before),
			monthCell(f.Kind, f.Year.MonthValue), changeCell(f.Kind, f.Year)}})
	}
	if len(figures) > 0 {
		now := figures[0]
		t.Columns[1].Unit, t.Columns[2].Unit, t.Columns[4].Unit = monthName(now.Now.Month), monthName(now.Before.Month), monthName(now.Year.Month)
	}
	return t
}

func monthCell(kind string, v queries.MonthValue) Cell {
	switch {
	case kind == queries.ShareFigure && v.Enough:
		c := percent(v.Value)
		c.Class = "num wrap"
		c.Text += fmt.Sprintf(" of %s (%s)", queries.Count(v.Of), queries.Range(v.Low, v.High))
		return c
	case kind == queries.ShareFigure:
		return Cell{Text: ofAll(v.Events, v.Of) + ": not enough", Class: "num wrap"}
	case !v.Value.Known():
		return Cell{Text: "no record", Class: "num"}
	}
	return count(int64(math.Round(float64(v.Value))))
}

// changeCell writes a change; of shares in points of a hundred with its interval, in bold where it is beyond chance.
func changeCell(kind string, c queries.ComparedWith) Cell {
	switch {
	case !c.Change.Known():
		return Cell{Text: "not known", Class: "num"}
	case kind != queries.ShareFigure:
		return Cell{Text: signedCount(c.Change), Class: "num"}
	}
	words := fmt.Sprintf("%s (%s to %s)", signed(100*float64(c.Change), 1), signed(100*float64(c.ChangeLow), 1), signed(100*float64(c.ChangeHigh), 1))
	if c.Moved() {
		return Cell{Text: words + ", beyond chance", Class: "num wrap strong"}
	}
	return Cell{Text: words, Class: "num wrap"}
}

func signedCount(change queries.Figure) string {
	n := int64(math.Round(float64(change)))
	switch {
	case n > 0:
		return "+" + queries.Count(n)
	case n < 0:
		return "\u2212" + queries.Count(-n)
	}
	return "0"
}

// signed writes a change with its sign.
func signed(v float64, digits int) string {
	s := fixed(v, digits)
	switch {
	case s[0] == '-':
		return "\u2212" + s[1:]
	case v > 0 && fixed(v, digits) != fixed(0, digits):
		return "+" + s
	}
	return s
}
