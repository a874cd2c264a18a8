package queries

import (
	"fmt"
	"strings"

	"scanledger/queries/people"
	"scanledger/queries/stats"
)

// DriftRow is one technician in one month, against their own earlier level.
type DriftRow struct {
	TechnicianID     string `json:"technician_id"`
	Month            string `json:"month"`
	Verified         int64  `json:"verified"`
	Observed         int64  `json:"observed"`
	Rate             Figure `json:"rate"`
	Low              Figure `json:"low"`
	High             Figure `json:"high"`
	Enough           bool   `json:"enough"`
	Expected         Figure `json:"expected"`
	ExpectedAverage  Figure `json:"expected_average"`
	Level            Figure `json:"level"`
	Statistic        Figure `json:"statistic"`
	Limit            Figure `json:"limit"`
	Signal           bool   `json:"signal"`
	Direction        string `json:"direction"`
	SumUp            Figure `json:"sum_up"`
	LimitUp          Figure `json:"limit_up"`
	SumDown          Figure `json:"sum_down"`
	LimitDown        Figure `json:"limit_down"`
	RunLength        int64  `json:"run_length_months"`
	Average          Figure `json:"average"`
	AverageLimit     Figure `json:"average_limit"`
	AverageOutside   bool   `json:"average_outside"`
	AverageRunLength int64  `json:"average_run_length_months"`
	ChangedFrom      string `json:"changed_from"`
	WhatChanged      string `json:"what_changed"`
	GainBefore       Figure `json:"gain_before"`
	GainAfter        Figure `json:"gain_after"`
	GainDistance     Figure `json:"gain_distance"`
	UnitBefore       string `json:"unit_before"`
	UnitAfter        string `json:"unit_after"`
	HoldBefore       Figure `json:"hold_before"`
	HoldAfter        Figure `json:"hold_after"`
	Missed           int64  `json:"missed"`
	MissedGap        *int64 `json:"missed_gap"`
	MissedGapLow     *int64 `json:"missed_gap_low"`
	MissedGapHigh    *int64 `json:"missed_gap_high"`
	MissedGapOutside bool   `json:"missed_gap_outside"`
}

// Directions of a change against oneself.
const (
	Up   = people.Up
	Down = people.Down
)

// driftRuns is how many simulated runs the limits of so many technicians come from, each: a thousand, or fewer of more than twenty. Limits
// of fewer runs stray more, but independently of one another, so that false signals over everyone come as often as is stated; with the
// fewest, one technician's come within a third of that.
func driftRuns(technicians int) int {
	const most, fewest, inAll = 1000, 300, 20_000
	return min(most, max(fewest, inAll/max(1, technicians)))
}

// drift needs the staff that consistency read.
func (d *desk) drift() error {
	q, err := Lookup("technician_drift")
	if err != nil {
		return err
	}
	months, err := people.Watch(d.staff.panel, driftRuns(len(d.staff.technicians)))
	if err != nil {
		return fmt.Errorf("analysis technician_drift: %w", err)
	}
	habits, units, err := d.habits(q)
	if err != nil {
		return fmt.Errorf("analysis technician_drift: %w", err)
	}
	gaps, err := people.Gaps(habits)
	if err != nil {
		return fmt.Errorf("analysis technician_drift: %w", err)
	}
	rows := []DriftRow{}
	for _, m := range months {
		row, err := d.driftRow(m)
		if err != nil {
			return fmt.Errorf("analysis technician_drift: %w", err)
		}
		if m.Signal != people.None {
			if err := row.change(habits, m, units); err != nil {
				return fmt.Errorf("analysis technician_drift: %w", err)
			}
		}
		if len(gaps) > 0 && gaps[0].Technician == m.Technician && gaps[0].Month == m.Month {
			row.missed(gaps[0])
			gaps = gaps[1:]
		}
		rows = append(rows, row)
	}
	d.book.Drift, d.staff = rows, staff{} // which was large
	d.conclude(q, rows, fmt.Sprintf("In-control average run length: %d months for both sums together, %d for the average.", people.RunLength, people.AverageRunLength))
	return nil
}

// habits reads how everyone's readings were made; technicians have the numbers of the staff.
func (d *desk) habits(q Query) ([]people.Habit, []string, error) {
	technicians := codes{}
	for _, name := range d.staff.technicians {
		technicians.of(name)
	}
	var units codes
	var out pile[people.Habit]
	var h people.Habit
	var technician, month, unit string
	row := []any{&technician, &month, &unit, &h.Gain, &h.Readings, &h.Holds, &h.HoldTenths, &h.Found, &h.Missed}
	err := d.eng.Each(d.ctx, q.SQL, d.months(), func(scan func(...any) error) error {
		if err := scan(row...); err != nil {
			return err
		}
		number, err := monthNumber(month)
		if err != nil {
			return err
		}
		h.Technician, h.Month, h.Unit = technicians.of(technician), number-d.staff.first, units.of(unit)
		*out.add() = h
		return nil
	})
	return out.all(), units.names, err
}

func (d *desk) driftRow(m people.Month) (DriftRow, error) {
	rate, err := stats.Wilson(m.Observed, m.Trials, Confidence)
	if err != nil {
		return DriftRow{}, err
	}
	row := DriftRow{TechnicianID: d.staff.technicians[m.Technician], Month: monthOf(d.staff.first + m.Month), Verified: int64(m.Trials), Observed: int64(m.Observed),
		Rate: Figure(rate.Value), Low: Figure(rate.Low), High: Figure(rate.High), Enough: m.Trials >= d.book.Floor,
		Expected: Figure(m.Expected), ExpectedAverage: Figure(m.Conditions), Level: Figure(m.Level), Signal: m.Signal != people.None,
		SumUp: Figure(m.Up), LimitUp: Figure(m.LimitUp), SumDown: Figure(m.Down), LimitDown: Figure(m.LimitDown), RunLength: people.RunLength,
		Average: Figure(m.Average), AverageLimit: Figure(m.Edge), AverageOutside: m.Outside, AverageRunLength: people.AverageRunLength,
		Statistic: Unknown, Limit: Unknown, Direction: people.None, GainBefore: Unknown, GainAfter: Unknown, GainDistance: Unknown, HoldBefore: Unknown, HoldAfter: Unknown}
	if m.Signal != people.None {
		row.ChangedFrom = monthOf(d.staff.first + m.Since)
	}
	switch up, down := m.Up/m.LimitUp, m.Down/m.LimitDown; {
	case !m.Watched:
	case m.Signal == people.Down || m.Signal == people.None && down > up:
		row.Statistic, row.Limit, row.Direction = row.SumDown, row.LimitDown, people.Down
	case up > 0:
		row.Statistic, row.Limit, row.Direction = row.SumUp, row.LimitUp, people.Up
	default:
		row.Statistic, row.Limit = row.SumUp, row.LimitUp
	}
	return row, nil
}

// change says what else changed when the false alarms did.
func (r *DriftRow) change(habits []people.Habit, m people.Month, units []string) error {
	before, since := people.WaysOf(habits, m.Technician, 0, m.Since-1), people.WaysOf(habits, m.Technician, m.Since, m.Month)
	distance, err := people.GainDistance(before, since)
	if err != nil {
		return err
	}
	r.GainBefore, r.GainAfter, r.GainDistance = Figure(before.Gain), Figure(since.Gain), Figure(distance)
	r.HoldBefore, r.HoldAfter = Figure(before.Hold), Figure(since.Hold)
	r.UnitBefore, r.UnitAfter = unitName(units, before.Unit), unitName(units, since.Unit)
	r.WhatChanged = r.inWords(before, since)
	return nil
}

func unitName(units []string, number int) string {
	if number < 0 {
		return ""
	}
	return units[number]
}

func (r *DriftRow) inWords(before, since people.Ways) string {
	gain, unit, hold := people.Changed(before, since)
	var changed, same []string
	sort := func(moved bool, words string) {
		if moved {
			changed = append(changed, words)
		} else {
			same = append(same, words)
		}
	}
	if r.GainBefore.Known() && r.GainAfter.Known() {
		sort(gain, fmt.Sprintf("mean gain step %.1f before, %.1f since", before.Gain, since.Gain))
		sort(unit, fmt.Sprintf("unit %s on %s of readings before, unit %s on %s since", r.UnitBefore, Percent(Figure(before.UnitShare)), r.UnitAfter, Percent(Figure(since.UnitShare))))
	}
	if r.HoldBefore.Known() && r.HoldAfter.Known() {
		sort(hold, fmt.Sprintf("mean hold %.0f s before, %.0f s since", before.Hold, since.Hold))
	}
	switch {
	case len(changed)+len(same) == 0:
		return "There are no readings on one side to compare."
	case len(changed) == 0:
		return "Nothing else stands out: " + strings.Join(same, "; ") + "."
	case len(same) == 0:
		return "Changed with it: " + strings.Join(changed, "; ") + "."
	}
	return "Changed with it: " + strings.Join(changed, "; ") + ". Much as before: " + strings.Join(same, "; ") + "."
}

func (r *DriftRow) missed(g people.Gap) {
	number := func(n int) *int64 { v := int64(n); return &v }
	r.Missed, r.MissedGap = int64(g.Missed), number(g.Gap)
	if g.Judged {
		r.MissedGapLow, r.MissedGapHigh, r.MissedGapOutside = number(g.Low), number(g.High), g.Outside
	}
}
