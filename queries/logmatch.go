package queries

// LogMatchRow is how far a unit's log and its readings meet in one month.
type LogMatchRow struct {
	UnitID         string `json:"unit_id"`
	Month          string `json:"month"`
	Readings       int64  `json:"readings"`
	Matched        int64  `json:"matched"`
	NoLog          int64  `json:"no_log"`
	DayWithoutLog  int64  `json:"day_without_log"`
	Ambiguous      int64  `json:"ambiguous"`
	Holds          int64  `json:"holds"`
	HoldsMatched   int64  `json:"holds_matched"`
	Unrecorded     int64  `json:"unrecorded"`
	HoldsAmbiguous int64  `json:"holds_ambiguous"`
	Outside        int64  `json:"outside"`
	Days           int64  `json:"days"`
	DaysKnown      int64  `json:"days_known"`
	DaysOff        int64  `json:"days_off"`
	LargestOffset  Figure `json:"largest_offset_s"`
	Overlapping    int64  `json:"overlapping"`
}

func (d *desk) logMatch() error {
	rows, q, err := run(d, "log_match", d.months(), func(scan func(...any) error, r *LogMatchRow) error {
		var offset *float64
		err := scan(&r.UnitID, &r.Month, &r.Readings, &r.Matched, &r.NoLog, &r.DayWithoutLog, &r.Ambiguous, &r.Holds, &r.HoldsMatched, &r.Unrecorded,
			&r.HoldsAmbiguous, &r.Outside, &r.Days, &r.DaysKnown, &r.DaysOff, &offset, &r.Overlapping)
		r.LargestOffset = figureOf(offset)
		return err
	})
	if err != nil {
		return err
	}
	d.book.LogMatch = rows
	d.conclude(q, rows)
	return nil
}

// figureOf is the figure, or Unknown where there is none.
func figureOf(v *float64) Figure {
	if v == nil {
		return Unknown
	}
	return Figure(*v)
}

// What a log contradicts.
const (
	ActiveWithoutMovement = "active_without_movement"
	ClearWithMovement     = "clear_with_movement"
	ShortHold             = "short_hold"
	OtherGain             = "other_gain"
	OtherLevel            = "other_level"
	UnrecordedHold        = "unrecorded_hold"
)

// Contradictions lists the kinds, the gravest first.
var Contradictions = []string{ClearWithMovement, ActiveWithoutMovement, UnrecordedHold, OtherGain, ShortHold, OtherLevel}

// ContradictionRow is one thing that a log says otherwise than what was written.
type ContradictionRow struct {
	Kind         string `json:"kind"`
	UnitID       string `json:"unit_id"`
	TechnicianID string `json:"technician_id"`
	SiteID       string `json:"site_id"`
	InspectionID string `json:"inspection_id"`
	PointID      string `json:"point_id"`
	ReadingID    string `json:"reading_id"`
	Date         string `json:"date"`
	HoldNo       int64  `json:"hold_no"`
	Written      string `json:"written"`
	Logged       Figure `json:"logged"`
}

func (d *desk) logContradictions() error {
	rows, q, err := run(d, "log_contradictions", d.months(), func(scan func(...any) error, r *ContradictionRow) error {
		var logged float64
		err := scan(&r.Kind, &r.UnitID, &r.TechnicianID, &r.SiteID, &r.InspectionID, &r.PointID, &r.ReadingID, &r.Date, &r.HoldNo, &r.Written, &logged)
		r.Logged = Figure(logged)
		return err
	})
	if err != nil {
		return err
	}
	d.book.Contradictions = rows
	d.conclude(q, rows)
	return nil
}
