package queries

import (
	"fmt"

	"scanledger/queries/instrument"
	"scanledger/transform/engine"
)

// UnitLevelRow is what a unit showed on places known to be clear in one month, at one gain step.
type UnitLevelRow struct {
	UnitID      string `json:"unit_id"`
	Gain        int    `json:"gain"`
	Month       string `json:"month"`
	Readings    int64  `json:"readings"`
	MedianLevel Figure `json:"median_level"`
	Used        bool   `json:"used"`
}

// Courses of a unit's level.
const (
	LevelRises  = "rises"
	LevelFalls  = "falls"
	LevelSteady = "steady"
	LevelTooFew = "too few"
)

func (d *desk) unitLevel() error {
	rows, q, err := run(d, "unit_level", d.months(), func(scan func(...any) error, r *UnitLevelRow) error {
		var median float64
		err := scan(&r.UnitID, &r.Gain, &r.Month, &r.Readings, &median)
		r.MedianLevel = Figure(median)
		return err
	})
	if err != nil {
		return err
	}
	var months []instrument.LevelMonth
	for _, r := range rows {
		months = append(months, instrument.LevelMonth{Unit: r.UnitID, Month: r.Month, Gain: r.Gain, Readings: int(r.Readings), Median: float64(r.MedianLevel)})
	}
	if d.drifts, err = instrument.LevelDrift(months, Confidence); err != nil {
		return fmt.Errorf("analysis unit_level: %w", err)
	}
	for i := range rows {
		for _, drift := range d.drifts {
			if drift.Unit == rows[i].UnitID {
				rows[i].Used = drift.Uses(months[i])
			}
		}
	}
	d.book.UnitLevels = rows
	d.conclude(q, rows)
	return nil
}

// UnitUseRow is what readings tell of one unit's clock and battery.
type UnitUseRow struct {
	UnitID       string `json:"unit_id"`
	Visits       int64  `json:"visits"`
	Delay        Figure `json:"delay_minutes"`
	DelayLow     Figure `json:"delay_low"`
	DelayHigh    Figure `json:"delay_high"`
	Clock        string `json:"clock"`
	Readings     int64  `json:"readings"`
	Outside      int64  `json:"outside"`
	OutsideShare Figure `json:"outside_share"`
	ChargeVisits int64  `json:"charge_visits"`
	ChargeHours  Figure `json:"charge_hours"`
	ChargeLow    Figure `json:"charge_low"`
	ChargeHigh   Figure `json:"charge_high"`
	ChargeEnough bool   `json:"charge_enough"`
}

// What a unit's clock seems to be.
const (
	ClockLate   = "late"
	ClockEarly  = "early"
	ClockOnTime = "on time"
	ClockTooFew = "too few"
)

// newestVisits are as many as tell a unit's clock and battery as they are: more would be read for nothing. (House's choice.)
const newestVisits = 2000

func (d *desk) unitUse() error {
	visits, q, err := run(d, "unit_use", append(d.months(), engine.Arg("newest", newestVisits)), func(scan func(...any) error, v *instrument.UseVisit) error {
		var delay, seconds, milli int64
		err := scan(&v.Unit, &v.Technician, &v.Visit, &delay, &v.Readings, &v.Outside, &v.Charged, &seconds, &milli)
		v.Delay, v.Hours, v.Drop = float64(delay), float64(seconds)/3600, float64(milli)/1000
		return err
	})
	if err != nil {
		return err
	}
	uses, err := instrument.Uses(visits, Confidence)
	if err != nil {
		return fmt.Errorf("analysis unit_use: %w", err)
	}
	rows := []UnitUseRow{}
	for _, u := range uses {
		rows = append(rows, UnitUseRow{UnitID: u.Unit, Visits: int64(u.Visits), Delay: Figure(u.Delay.Value), DelayLow: Figure(u.Delay.Low), DelayHigh: Figure(u.Delay.High),
			Clock: clockWord(u), Readings: int64(u.Readings), Outside: int64(u.Outside), OutsideShare: share(int64(u.Outside), int64(u.Readings)),
			ChargeVisits: int64(u.ChargeVisits), ChargeHours: Figure(u.Charge.Value), ChargeLow: Figure(u.Charge.Low), ChargeHigh: Figure(u.Charge.High), ChargeEnough: u.ChargeEnough})
	}
	d.book.UnitUse = rows
	d.conclude(q, rows)
	return nil
}

func clockWord(u instrument.Use) string {
	switch {
	case !u.ClockEnough:
		return ClockTooFew
	case u.ClockOff > 0:
		return ClockLate
	case u.ClockOff < 0:
		return ClockEarly
	}
	return ClockOnTime
}
