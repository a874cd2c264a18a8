package queries

import "slices"

// MonthCountRow is what was done in one month, and what came of it.
type MonthCountRow struct {
	Month          string `json:"month"`
	Inspections    int64  `json:"inspections"`
	Sites          int64  `json:"sites"`
	Technicians    int64  `json:"technicians"`
	Readings       int64  `json:"readings"`
	Points         int64  `json:"points"`
	ActiveCalls    int64  `json:"active_calls"`
	ClearCalls     int64  `json:"clear_calls"`
	Unsure         int64  `json:"unsure"`
	ActiveVerified int64  `json:"active_verified"`
	Confirmed      int64  `json:"confirmed"`
	FalseAlarms    int64  `json:"false_alarms"`
	ClearVerified  int64  `json:"clear_verified"`
	Missed         int64  `json:"missed"`
	MissedReported int64  `json:"missed_reported"`
}

func (d *desk) monthCounts() error {
	rows, q, err := run(d, "month_counts", d.months(), func(scan func(...any) error, r *MonthCountRow) error {
		return scan(&r.Month, &r.Inspections, &r.Sites, &r.Technicians, &r.Readings, &r.Points, &r.ActiveCalls, &r.ClearCalls, &r.Unsure,
			&r.ActiveVerified, &r.Confirmed, &r.FalseAlarms, &r.ClearVerified, &r.Missed, &r.MissedReported)
	})
	if err != nil {
		return err
	}
	d.book.MonthCounts = rows
	d.conclude(q, rows)
	return nil
}

// MonthCount is the row of a month; one in which nothing was done has only zeros.
func (b *Book) MonthCount(month string) MonthCountRow {
	i := slices.IndexFunc(b.MonthCounts, func(r MonthCountRow) bool { return r.Month == month })
	if i < 0 {
		return MonthCountRow{Month: month}
	}
	return b.MonthCounts[i]
}

// Cost is what the known wrong calls of the month cost, by what the house says each costs.
func (r MonthCountRow) Cost(falseAlarm, missed float64) float64 {
	return float64(r.FalseAlarms)*falseAlarm + float64(r.Missed+r.MissedReported)*missed
}
