package queries

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"scanledger/transform/engine"
	"scanledger/transform/protocol"
)

// MatterRow is something that asks for a look. Its text names no technician and no site.
type MatterRow struct {
	Matter       string `json:"matter"`
	Consequence  int64  `json:"consequence"` // 1 little to 10
	Subject      string `json:"subject"`
	TechnicianID string `json:"technician_id"`
	InspectionID string `json:"inspection_id"`
	Cases        int64  `json:"cases"`
	Of           int64  `json:"of"`
	Text         string `json:"text"`
	Evidence     string `json:"evidence"` // page and place on it
	Result       string `json:"result"`
}

// Consequences of matters that are no check of the protocol, which have their own. (House's choice.)
const (
	missedMatter      = 6 // one point, since known
	reportedMatter    = 5 // one point, by a report only
	overdueMatter     = 5
	consistencyMatter = 7
	driftMatter       = 7
	unitMatter        = 6
	patternMatter     = 6
	rejectedMatter    = 2
	waitingMatter     = 1
)

// plainFacts are the checks where one breach is a matter in itself, whatever others do.
var plainFacts = []string{"outcome_unbacked", "no_readings", "lapsed_accreditation"}

func (d *desk) matters() error {
	rows, q, err := run(d, "open_matters", append(d.months(), engine.Arg("most", mostListed)), func(scan func(...any) error, r *MatterRow) error {
		var f foundMatter
		err := scan(&r.Matter, &r.Subject, &r.TechnicianID, &r.InspectionID, &f.date, &f.verifiedBy, &f.method, &f.days, &r.Cases, &r.Of)
		r.found(f)
		return err
	})
	if err != nil {
		return err
	}
	rows = slices.Concat(rows, protocolMatters(d.book), digitMatters(d.book), consistencyMatters(d.book), driftMatters(d.book), unitMatters(d.book), patternMatters(d.book), rowMatters(d.book))
	slices.SortStableFunc(rows, func(a, b MatterRow) int {
		return cmp.Or(cmp.Compare(b.Consequence, a.Consequence), cmp.Compare(b.Cases, a.Cases), strings.Compare(a.Matter, b.Matter))
	})
	d.book.Matters = rows
	d.conclude(q, rows, cutShort(len(rows), "missed points", "the newest")...)
	return nil
}

// foundMatter is what the query tells beside the row itself.
type foundMatter struct {
	date, verifiedBy, method string
	days                     int64
}

func (r *MatterRow) found(f foundMatter) {
	if r.Matter == "overdue_unit" {
		r.Consequence, r.Evidence, r.Result = overdueMatter, "units.html#unit-service", "unit_health"
		r.Text = fmt.Sprintf("Unit %s was used in %s of its %s inspections after its service was due on %s.", r.Subject, Count(r.Cases), Count(r.Of), f.date)
		return
	}
	r.Consequence, r.Evidence, r.Result = missedMatter, "auditor.html#inspections", "flagged_inspections"
	r.Text = fmt.Sprintf("Called clear on %s; activity found %s (%s).", f.date, afterDays(f.days), f.method)
	if f.verifiedBy != "decisive" {
		r.Consequence, r.Text = reportedMatter, fmt.Sprintf("Called clear on %s; activity reported %s, the wall not looked into.", f.date, afterDays(f.days))
	}
}

func afterDays(days int64) string {
	switch days {
	case 0:
		return "the same day"
	case 1:
		return "one day later"
	}
	return fmt.Sprintf("%d days later", days)
}

// protocolMatters are plain facts, and habits that stand out.
func protocolMatters(b *Book) []MatterRow {
	var out []MatterRow
	for _, r := range b.Protocol {
		check, _ := protocol.Lookup(r.Check)
		m := MatterRow{Matter: "protocol", Subject: r.Check, TechnicianID: r.TechnicianID, Cases: r.Breaches, Of: r.Chances,
			Evidence: "protocol.html#" + r.Check, Result: "protocol"}
		switch {
		case r.Breaches == 0:
			continue
		case slices.Contains(plainFacts, r.Check):
			m.Consequence = int64(check.Weight)
			m.Text = fmt.Sprintf("%s: %s of %s.", check.Title, Count(r.Breaches), Count(r.Chances))
		case r.Standing == Act || r.Standing == Watch:
			m.Consequence = int64(check.Weight)
			if r.Standing == Watch {
				m.Consequence = (m.Consequence + 1) / 2
			}
			m.Text = fmt.Sprintf("%s: %s of %s (%s, 95%% interval %s), against %s by the others.", check.Title, Count(r.Breaches), Count(r.Chances),
				Percent(r.Rate), Range(r.Low, r.High), Percent(r.Others))
		default:
			continue
		}
		out = append(out, m)
	}
	return out
}

func digitMatters(b *Book) []MatterRow {
	var out []MatterRow
	check, _ := protocol.Lookup(digitCheck)
	for _, r := range b.Digits {
		if r.Standing == Act && !slices.Contains(b.Settings.Off, digitCheck) {
			out = append(out, MatterRow{Matter: "digits", Consequence: int64(check.Weight), Subject: r.Model, TechnicianID: r.TechnicianID, Cases: r.Levels, Of: r.Levels,
				Text:     fmt.Sprintf("Last digits of %s levels on model %s are used more unevenly than by the others (size %.2f).", Count(r.Levels), r.Model, float64(r.Size)),
				Evidence: "protocol.html#digits", Result: "digit_preference"})
		}
	}
	return out
}

// consistencyMatters are more false alarms or missed points than the outer limits allow; fewer ask for nothing.
func consistencyMatters(b *Book) []MatterRow {
	var out []MatterRow
	for _, r := range b.Consistency {
		if r.Standing != Act || r.Measure == "detections" || r.Ratio < 1 {
			continue
		}
		out = append(out, MatterRow{Matter: "consistency", Consequence: consistencyMatter, Subject: r.Measure, TechnicianID: r.TechnicianID, Cases: r.Observed, Of: r.Opportunities,
			Text: fmt.Sprintf("%s %s of %s where %.1f would be expected (%.1f times, 95%% interval %.1f to %.1f).", map[string]string{"false_alarms": "False alarms at", "missed": "Missed"}[r.Measure],
				Count(r.Observed), Count(r.Opportunities), float64(r.Expected), float64(r.Ratio), float64(r.Low), float64(r.High)),
			Evidence: "technicians.html#" + r.Measure, Result: "technician_consistency"})
	}
	return out
}

// patternMatters are the patterns of false alarms and missed points that have not eased.
func patternMatters(b *Book) []MatterRow {
	var out []MatterRow
	for _, of := range []struct {
		search                 PatternSearch
		matter, result, anchor string
	}{{b.FalseAlarmPatterns, "pattern", "false_alarm_patterns", "pattern"}, {b.MissedPatterns, "missed_pattern", "missed_patterns", "missed"}} {
		for _, p := range of.search.Patterns {
			if p.GoesOn == No {
				continue
			}
			out = append(out, MatterRow{Matter: of.matter, Consequence: patternMatter, Subject: b.Labels.PatternWords(p.Terms), Cases: p.Wrong, Of: p.Checked,
				Text: fmt.Sprintf("%s of %s checked calls were wrong where %.1f would be expected (by chance %d to %d).", Count(p.Wrong), Count(p.Checked), float64(p.Expected),
					p.ByChanceLow, p.ByChanceHigh),
				Evidence: fmt.Sprintf("patterns.html#%s-%d", of.anchor, p.Number), Result: of.result})
		}
	}
	return out
}

// driftMatters are technicians who raise more false alarms than they used to, once each.
func driftMatters(b *Book) []MatterRow {
	var out []MatterRow
	told := map[string]bool{}
	for _, r := range b.Drift {
		if !r.Signal || r.Direction != Up || told[r.TechnicianID] {
			continue
		}
		told[r.TechnicianID] = true
		out = append(out, MatterRow{Matter: "drift", Consequence: driftMatter, Subject: "false_alarms", TechnicianID: r.TechnicianID, Cases: r.Observed, Of: r.Verified,
			Text: fmt.Sprintf("More false alarms than before since about %s; the signal came in %s (sum %.1f, limit %.1f; %s of %s that month).", r.ChangedFrom, r.Month,
				float64(r.Statistic), float64(r.Limit), Count(r.Observed), Count(r.Verified)),
			Evidence: "technicians.html#drift", Result: "technician_drift"})
	}
	return out
}

// unitMatters are units with more false alarms than the limits allow.
func unitMatters(b *Book) []MatterRow {
	var out []MatterRow
	for _, r := range b.Units {
		if r.Standing == Act && r.Ratio > 1 {
			out = append(out, MatterRow{Matter: "unit", Consequence: unitMatter, Subject: r.UnitID, Cases: r.Observed, Of: r.Points,
				Text: fmt.Sprintf("False alarms at %s of %s points where %.1f would be expected (%.1f times, 95%% interval %.1f to %.1f).", Count(r.Observed), Count(r.Points),
					float64(r.Expected), float64(r.Ratio), float64(r.Low), float64(r.High)),
				Evidence: "units.html#unit-alarms", Result: "unit_health"})
		}
	}
	return out
}

// rowMatters are files with rows that do not count.
func rowMatters(b *Book) []MatterRow {
	var out []MatterRow
	add := func(r QualityRow, matter string, weight, n int64, what string) {
		if n > 0 {
			out = append(out, MatterRow{Matter: matter, Consequence: weight, Subject: r.File, Cases: n, Of: r.Rows,
				Text: fmt.Sprintf("%s of %s rows %s.", Count(n), Count(r.Rows), what), Evidence: "quality.html#files", Result: "data_quality"})
		}
	}
	for _, r := range b.Quality {
		add(r, "rejected_rows", rejectedMatter, r.Rejected, "were rejected and count in no figure")
		add(r, "waiting_rows", waitingMatter, r.Waiting, "wait for something they name")
	}
	return out
}
