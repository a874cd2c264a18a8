package queries

import (
	"slices"
	"time"

	"scanledger/queries/stats"
)

// Kinds of MonthFigure.
const (
	CountFigure = "count"
	ShareFigure = "share"
	MoneyFigure = "money"
)

// MonthFigure is one figure of a month beside the month before and the same month a year ago. Counts and money are
// of what is known and have no interval; shares have one, and so have their changes.
type MonthFigure struct {
	Name   string       `json:"name"`
	Title  string       `json:"title"`
	Kind   string       `json:"kind"`
	Now    MonthValue   `json:"now"`
	Before ComparedWith `json:"before"`
	Year   ComparedWith `json:"year_ago"`
}

// MonthValue is a figure in one month: for a share Events of Of with its interval. A share of fewer cases than the
// floor, or in a month without a record, is not known.
type MonthValue struct {
	Month  string `json:"month"`
	Value  Figure `json:"value"`
	Low    Figure `json:"low"`
	High   Figure `json:"high"`
	Events int64  `json:"events"`
	Of     int64  `json:"of"`
	Enough bool   `json:"enough"`
}

// ComparedWith is the figure in another month, and the change since.
type ComparedWith struct {
	MonthValue
	Change     Figure `json:"change"`
	ChangeLow  Figure `json:"change_low"`
	ChangeHigh Figure `json:"change_high"`
}

// Moved reports whether a share changed beyond what chance gives: the interval of the change leaves out 0.
func (c ComparedWith) Moved() bool {
	return c.ChangeLow.Known() && c.ChangeHigh.Known() && (c.ChangeLow > 0 || c.ChangeHigh < 0)
}

// shares of a month, by measure of the trend.
var monthShares = []struct{ measure, title string }{
	{ActiveRate, "Points called active, of points tested"},
	{UnsureRate, "Points left unsure, of points tested"},
	{ConfirmedShare, "Confirmed, of active calls that were checked"},
	{MissedShare, "Found active, of clear calls that were checked"},
}

var monthNumbers = []struct {
	name, title string
	of          func(MonthCountRow) int64
}{
	{"inspections", "Inspections", func(r MonthCountRow) int64 { return r.Inspections }},
	{"sites", "Sites", func(r MonthCountRow) int64 { return r.Sites }},
	{"technicians", "Technicians at work", func(r MonthCountRow) int64 { return r.Technicians }},
	{"readings", "Readings", func(r MonthCountRow) int64 { return r.Readings }},
	{"points", "Points tested", func(r MonthCountRow) int64 { return r.Points }},
	{"active_calls", "Points called active", func(r MonthCountRow) int64 { return r.ActiveCalls }},
	{"active_verified", "Active calls checked by looking", func(r MonthCountRow) int64 { return r.ActiveVerified }},
	{"confirmed", "Active calls confirmed", func(r MonthCountRow) int64 { return r.Confirmed }},
	{"false_alarms", "Known false alarms", func(r MonthCountRow) int64 { return r.FalseAlarms }},
	{"clear_verified", "Clear calls checked by looking", func(r MonthCountRow) int64 { return r.ClearVerified }},
	{"missed", "Known missed, seen by looking", func(r MonthCountRow) int64 { return r.Missed }},
	{"missed_reported", "Known missed, from a report or return visit", func(r MonthCountRow) int64 { return r.MissedReported }},
}

// MonthFigures are the figures of a month in a book that reaches back a year. Costs are those of one wrong call;
// both 0 leave money out.
func MonthFigures(b *Book, month string, falseAlarmCost, missedCost float64) ([]MonthFigure, error) {
	first, err := time.Parse("2006-01", month)
	if err != nil {
		return nil, err
	}
	before, year := first.AddDate(0, -1, 0).Format("2006-01"), first.AddDate(-1, 0, 0).Format("2006-01")
	var out []MonthFigure
	add := func(name, title, kind string, value func(month string) MonthValue) {
		now := value(month)
		out = append(out, MonthFigure{name, title, kind, now, compared(kind, now, value(before)), compared(kind, now, value(year))})
	}
	for _, s := range monthShares {
		add(s.measure, s.title, ShareFigure, func(month string) MonthValue { return b.shareOf(s.measure, month) })
	}
	for _, n := range monthNumbers {
		add(n.name, n.title, CountFigure, func(month string) MonthValue {
			return b.numberOf(month, func(r MonthCountRow) Figure { return Figure(n.of(r)) })
		})
	}
	if falseAlarmCost+missedCost > 0 {
		add("cost", "Cost of known wrong calls", MoneyFigure, func(month string) MonthValue {
			return b.numberOf(month, func(r MonthCountRow) Figure { return Figure(r.Cost(falseAlarmCost, missedCost)) })
		})
	}
	return out, nil
}

// numberOf is a number of a month; not known in months before the first record.
func (b *Book) numberOf(month string, of func(MonthCountRow) Figure) MonthValue {
	out := MonthValue{Month: month, Value: Unknown, Low: Unknown, High: Unknown}
	if len(b.MonthCounts) > 0 && month >= b.MonthCounts[0].Month {
		out.Value, out.Enough = of(b.MonthCount(month)), true
	}
	return out
}

func (b *Book) shareOf(measure, month string) MonthValue {
	out := MonthValue{Month: month, Value: Unknown, Low: Unknown, High: Unknown}
	i := slices.IndexFunc(b.Trend, func(r TrendRow) bool { return r.Measure == measure && r.Month == month })
	if i < 0 {
		return out
	}
	r := b.Trend[i]
	out.Events, out.Of, out.Enough = r.Events, r.N, r.Enough
	if r.Enough {
		out.Value, out.Low, out.High = r.Rate, r.Low, r.High
	}
	return out
}

// compared sets a figure beside that of another month. The interval of the change of a share is square-and-add of both
// intervals (Zou and Donner 2008), the months taken as independent.
func compared(kind string, now, then MonthValue) ComparedWith {
	out := ComparedWith{MonthValue: then, Change: Unknown, ChangeLow: Unknown, ChangeHigh: Unknown}
	if !now.Value.Known() || !then.Value.Known() {
		return out
	}
	out.Change = now.Value - then.Value
	if kind == ShareFigure {
		apart := stats.SquareAndAdd(float64(now.Value), stats.Interval{Low: float64(now.Low), High: float64(now.High)},
			float64(then.Value), stats.Interval{Low: float64(then.Low), High: float64(then.High)})
		out.ChangeLow, out.ChangeHigh = Figure(apart.Low), Figure(apart.High)
	}
	return out
}
