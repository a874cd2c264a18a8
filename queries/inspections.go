package queries

import (
	"fmt"
	"slices"
	"strings"

	"scanledger/transform/engine"
	"scanledger/transform/protocol"
)

// InspectionRow is an inspection to look at, and its circumstances.
type InspectionRow struct {
	InspectionID string `json:"inspection_id"`
	SiteID       string `json:"site_id"`
	TechnicianID string `json:"technician_id"`
	Region       string `json:"region"`
	Date         string `json:"date"`
	Start        string `json:"start"` // local, HH:MM
	Minutes      Figure `json:"minutes"`
	Purpose      string `json:"purpose"`
	Outcome      string `json:"outcome"`
	AirTempC     Figure `json:"air_temp_c"`
	WindKmh      Figure `json:"wind_kmh"`
	Rain         string `json:"rain"`
	Areas        string `json:"areas_not_inspected"`
	Units        string `json:"units"`
	Readings     int64  `json:"readings"`
	Controls     int64  `json:"controls"`
	Points       int64  `json:"points"`
	CalledActive int64  `json:"called_active"`
	Unsure       int64  `json:"unsure"`
	FalseAlarms  int64  `json:"false_alarms"`
	Missed       int64  `json:"missed"`
	Breaches     int64  `json:"breaches"`
	Checks       string `json:"checks"`  // ids, with commas between
	Sampled      int64  `json:"sampled"` // points drawn for an audit sample
	Weight       int64  `json:"weight"`
	Page         bool   `json:"page"`
}

// InspectionReadingRow is one reading of an inspection with a page.
type InspectionReadingRow struct {
	InspectionID  string `json:"inspection_id"`
	PointID       string `json:"point_id"`
	ReadingID     string `json:"reading_id"`
	Minute        Figure `json:"minute"` // since the start of the visit
	UnitID        string `json:"unit_id"`
	Material      string `json:"material"`
	ThicknessMM   Figure `json:"thickness_mm"`
	Gain          int    `json:"gain"`
	HoldS         Figure `json:"hold_s"`
	LevelPct      Figure `json:"level_pct"`
	Call          string `json:"call"`
	BatteryPct    Figure `json:"battery_pct"`
	Control       bool   `json:"control"`
	PointCall     string `json:"point_call"` // empty for control readings
	Truth         string `json:"truth"`
	VerifiedBy    string `json:"verified_by"`
	Found         string `json:"found"`
	Cause         string `json:"cause"`
	Method        string `json:"method"`
	DaysToFinding *int64 `json:"days_to_finding"`
}

// DefaultInspectionPages is how many inspections get a page. (House's choice: what one person looks
// through in a day.)
const DefaultInspectionPages = 60

// examples of every kind get a page before the weightiest fill up the rest. (House's choice.)
const examples = 4

// want asks for a page of the inspection, whatever its weight: an example of something another figure
// tells of. It must be asked for before inspections runs, and counts only where there is a missed point, a
// false alarm, a breach or a draw.
func (d *desk) want(inspection string) { d.wanted = append(d.wanted, inspection) }

func (d *desk) inspections() error {
	args := append(d.months(), d.off(), checkWeights(), engine.Arg("wanted", strings.Join(d.wanted, "\n")), engine.Arg("most", mostListed))
	rows, q, err := run(d, "flagged_inspections", args, func(scan func(...any) error, r *InspectionRow) error {
		return scan(&r.InspectionID, &r.SiteID, &r.TechnicianID, &r.Region, &r.Date, &r.Start, &r.Minutes, &r.Purpose, &r.Outcome, &r.AirTempC, &r.WindKmh,
			&r.Rain, &r.Areas, &r.Units, &r.Readings, &r.Controls, &r.Points, &r.CalledActive, &r.Unsure, &r.FalseAlarms, &r.Missed, &r.Breaches, &r.Checks, &r.Sampled, &r.Weight)
	})
	if err != nil {
		return err
	}
	choosePages(rows, d.wanted, d.opt.InspectionPages)
	d.book.Inspections = rows
	d.conclude(q, rows, cutShort(len(rows), "inspections", "the weightiest")...)
	return d.inspectionReadings()
}

// checkWeights binds what each check weighs.
func checkWeights() any {
	var weights []string
	for _, c := range protocol.Checks {
		weights = append(weights, fmt.Sprintf("%s=%d", c.ID, c.Weight))
	}
	return engine.Arg("weights", strings.Join(weights, ","))
}

// mostListed bounds lists of single cases, which nobody reads to the end and which would grow with every reading. (House's choice.)
const mostListed = 10_000

// cutShort says so where a list is as long as lists get.
func cutShort(n int, what, which string) []string {
	if n < mostListed {
		return nil
	}
	return []string{fmt.Sprintf("There may be more %s than are listed here: of more than %s, %s are kept. The fact tables have them all.", what, Count(mostListed), which)}
}

func (r InspectionRow) checks() []string {
	return strings.FieldsFunc(r.Checks, func(c rune) bool { return c == ',' || c == ' ' })
}

// kinds are the reasons why the inspection is flagged.
func (r InspectionRow) kinds() []string {
	kinds := r.checks()
	if r.Missed > 0 {
		kinds = append(kinds, "missed")
	}
	if r.FalseAlarms > 0 {
		kinds = append(kinds, "false_alarm")
	}
	return kinds
}

// choosePages marks at most so many rows, which come by weight: those wanted, then some of every kind, then
// those drawn for an audit, up to a third of all pages, then the weightiest.
func choosePages(rows []InspectionRow, wanted []string, most int) {
	left := most
	take := func(atMost int, why func(InspectionRow) bool) {
		for i := range rows {
			if left > 0 && atMost > 0 && !rows[i].Page && why(rows[i]) {
				rows[i].Page = true
				left--
				atMost--
			}
		}
	}
	take(most, func(r InspectionRow) bool { return slices.Contains(wanted, r.InspectionID) })
	shown := map[string]int{}
	take(most, func(r InspectionRow) bool {
		rare := slices.ContainsFunc(r.kinds(), func(kind string) bool { return shown[kind] < examples })
		if rare {
			for _, kind := range r.kinds() {
				shown[kind]++
			}
		}
		return rare
	})
	take(most/3, func(r InspectionRow) bool { return r.Sampled > 0 })
	take(most, func(InspectionRow) bool { return true })
}

// chosen binds the inspections with a page.
func (d *desk) chosen() any { return engine.Arg("chosen", strings.Join(d.book.Paged, "\n")) }

// inspectionReadings reads what was read in the inspections with a page.
func (d *desk) inspectionReadings() error {
	for _, r := range d.book.Inspections {
		if r.Page {
			d.book.Paged = append(d.book.Paged, r.InspectionID)
		}
	}
	slices.Sort(d.book.Paged)
	rows, q, err := run(d, "inspection_readings", []any{d.chosen()}, func(scan func(...any) error, r *InspectionReadingRow) error {
		return scan(&r.InspectionID, &r.PointID, &r.ReadingID, &r.Minute, &r.UnitID, &r.Material, &r.ThicknessMM, &r.Gain, &r.HoldS, &r.LevelPct, &r.Call,
			&r.BatteryPct, &r.Control, &r.PointCall, &r.Truth, &r.VerifiedBy, &r.Found, &r.Cause, &r.Method, &r.DaysToFinding)
	})
	if err != nil {
		return err
	}
	d.book.InspectionReadings = rows
	d.conclude(q, rows)
	return nil
}
