package queries

// TraceRow is one hold that a unit logged in an inspection with a page.
type TraceRow struct {
	InspectionID string `json:"inspection_id"`
	UnitID       string `json:"unit_id"`
	Date         string `json:"date"`
	HoldNo       int64  `json:"hold_no"`
	Minute       Figure `json:"minute"`
	Status       string `json:"status"`
	ReadingID    string `json:"reading_id"`
	PointID      string `json:"point_id"`
	Call         string `json:"call"`
	Gain         int    `json:"gain"`
	HoldS        Figure `json:"hold_s"`
	PeakPct      Figure `json:"peak_pct"`
	BandPct      Figure `json:"band_pct"`
	AboveShare   Figure `json:"above_share"`
	OffsetS      Figure `json:"offset_s"`
	Trace        string `json:"trace"`
}

// logTraces needs the readings that inspections has read.
func (d *desk) logTraces() error {
	rows, q, err := run(d, "log_traces", []any{d.chosen()}, func(scan func(...any) error, r *TraceRow) error {
		return scan(&r.InspectionID, &r.UnitID, &r.Date, &r.HoldNo, &r.Minute, &r.Status, &r.ReadingID, &r.Gain, &r.HoldS, &r.PeakPct,
			&r.BandPct, &r.AboveShare, &r.OffsetS, &r.Trace)
	})
	if err != nil {
		return err
	}
	of := map[string]InspectionReadingRow{} // which have been read, all of them
	for _, r := range d.book.InspectionReadings {
		of[r.ReadingID] = r
	}
	for i := range rows {
		r := of[rows[i].ReadingID]
		rows[i].PointID, rows[i].Call = r.PointID, r.Call
	}
	d.book.Traces = rows
	d.conclude(q, rows)
	return nil
}
