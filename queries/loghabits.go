package queries

import (
	"fmt"
	"strconv"
	"strings"

	"scanledger/queries/instrument"
	"scanledger/queries/stats"
	"scanledger/transform/logs"
)

// LogHabitsRow is how a unit is used, by its own log.
type LogHabitsRow struct {
	UnitID      string `json:"unit_id"`
	Days        int64  `json:"days"`
	Spells      int64  `json:"spells"`
	HoursOn     Figure `json:"hours_on"`
	HoursSense  Figure `json:"hours_sensing"`
	ChargeDays  int64  `json:"charge_days"`
	ChargeHours Figure `json:"charge_hours"`
	ChargeLow   Figure `json:"charge_low"`
	ChargeHigh  Figure `json:"charge_high"`
	Charge      string `json:"charge"`
	IdleSpells  int64  `json:"idle_spells"`
	IdleOver    int64  `json:"idle_over"`
	IdleMedian  Figure `json:"idle_median_min"`
	IdleLow     Figure `json:"idle_low"`
	IdleHigh    Figure `json:"idle_high"`
	LeftOn      int64  `json:"left_on"`
	LeftOnHours Figure `json:"left_on_hours"`
}

// How long a charge lasts, against what is usual.
const (
	ChargeUsual   = "as usual"
	ChargeShorter = "shorter"
	ChargeLonger  = "longer"
	ChargeTooFew  = "too few"
)

// loggedDay is one unit-day of the query.
type loggedDay struct {
	unit                               string
	spells, ms, batteryMS, milli, over int64
	charged                            bool
	idles                              string // minutes, with spaces between
	sensingMS, leftOn, leftOnMS        int64
}

func (d *desk) logHabits() error {
	days, q, err := run(d, "log_habits", d.months(), func(scan func(...any) error, l *loggedDay) error {
		return scan(&l.unit, &l.spells, &l.ms, &l.charged, &l.batteryMS, &l.milli, &l.over, &l.idles, &l.sensingMS, &l.leftOn, &l.leftOnMS)
	})
	if err != nil {
		return err
	}
	rows, err := logHabitsRows(days, d.opt.Logs)
	if err != nil {
		return fmt.Errorf("analysis log_habits: %w", err)
	}
	d.book.LogHabits = rows
	d.conclude(q, rows)
	return nil
}

// logHabitsRows makes one row of the days of each unit, which come together.
func logHabitsRows(days []loggedDay, set logs.Settings) ([]LogHabitsRow, error) {
	rows := []LogHabitsRow{}
	for from, to := 0, 0; from < len(days); from = to {
		for to < len(days) && days[to].unit == days[from].unit {
			to++
		}
		row := LogHabitsRow{UnitID: days[from].unit, Days: int64(to - from)}
		row.add(days[from:to])
		if err := row.charge(days[from:to], set); err != nil {
			return nil, err
		}
		if err := row.idle(days[from:to]); err != nil {
			return nil, err
		}
		rows = append(rows, row)
	}
	return rows, nil
}

func hours(ms int64) Figure { return Figure(float64(ms) / 3.6e6) }

func (r *LogHabitsRow) add(days []loggedDay) {
	var on, sensing, left int64
	for _, l := range days {
		r.Spells, r.IdleOver, r.LeftOn = r.Spells+l.spells, r.IdleOver+l.over, r.LeftOn+l.leftOn
		on, sensing, left = on+l.ms, sensing+l.sensingMS, left+l.leftOnMS
	}
	r.HoursOn, r.HoursSense, r.LeftOnHours = hours(on), hours(sensing), hours(left)
}

func (r *LogHabitsRow) charge(days []loggedDay, set logs.Settings) error {
	var used []instrument.UseVisit
	for _, l := range days {
		used = append(used, instrument.UseVisit{Unit: l.unit, Visit: strconv.Itoa(len(used)), Charged: l.charged, Hours: float64(hours(l.batteryMS)), Drop: float64(l.milli) / 1000})
	}
	uses, err := instrument.Uses(used, Confidence)
	if err != nil {
		return err
	}
	u := uses[0]
	r.ChargeDays, r.ChargeHours, r.ChargeLow, r.ChargeHigh = int64(u.ChargeVisits), Figure(u.Charge.Value), Figure(u.Charge.Low), Figure(u.Charge.High)
	switch {
	case !u.ChargeEnough:
		r.Charge = ChargeTooFew
	case u.Charge.High < set.Value("charge_low_h"):
		r.Charge = ChargeShorter
	case u.Charge.Low > set.Value("charge_high_h"):
		r.Charge = ChargeLonger
	default:
		r.Charge = ChargeUsual
	}
	return nil
}

func (r *LogHabitsRow) idle(days []loggedDay) error {
	var minutes []float64
	for _, l := range days {
		for _, field := range strings.Fields(l.idles) {
			v, err := strconv.ParseFloat(field, 64)
			if err != nil {
				return err
			}
			minutes = append(minutes, v)
		}
	}
	r.IdleSpells, r.IdleMedian, r.IdleLow, r.IdleHigh = int64(len(minutes)), Unknown, Unknown, Unknown
	if len(minutes) == 0 {
		return nil
	}
	m, err := stats.Median(minutes, Confidence)
	r.IdleMedian, r.IdleLow, r.IdleHigh = Figure(m.Value), Figure(m.Low), Figure(m.High)
	return err
}
