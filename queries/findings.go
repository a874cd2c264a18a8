package queries

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"scanledger/transform/protocol"
)

// Finding is one thing the figures say, in a sentence that states its counts.
type Finding struct {
	Text     string  `json:"text"`
	Analysis string  `json:"analysis"` // the result it comes from
	Page     string  `json:"page"`     // the page that shows it
	Weight   float64 `json:"-"`        // larger is more important

	Do           string `json:"do"`            // what to do about it; empty where there is nothing to do
	Excess       Figure `json:"excess"`        // wrong calls beyond what was expected, in the period; Unknown where that cannot be said
	Missed       bool   `json:"missed"`        // they are missed points, not false alarms
	TechnicianID string `json:"technician_id"` // whom it is about; may be empty
}

// Cost is what the wrong calls beyond expectation cost, by what the house says each costs; Unknown where that cannot
// be said.
func (f Finding) Cost(falseAlarm, missed float64) Figure {
	each := falseAlarm
	if f.Missed {
		each = missed
	}
	if !f.Excess.Known() || each == 0 {
		return Unknown
	}
	return f.Excess * Figure(each)
}

// Actions are the findings that something can be done about: those of known cost first, the dearest first, then the
// others as they come. Without costs, wrong calls beyond expectation rank them.
func Actions(found []Finding, falseAlarmCost, missedCost float64) []Finding {
	if falseAlarmCost+missedCost == 0 {
		falseAlarmCost, missedCost = 1, 1
	}
	out := slices.DeleteFunc(slices.Clone(found), func(f Finding) bool { return f.Do == "" })
	slices.SortStableFunc(out, func(x, y Finding) int {
		a, b := x.Cost(falseAlarmCost, missedCost), y.Cost(falseAlarmCost, missedCost)
		switch {
		case a.Known() && b.Known():
			return cmp.Compare(b, a)
		case a.Known():
			return -1
		case b.Known():
			return 1
		}
		return 0
	})
	return out
}

// findings lists what the figures say, the most important first. Anything that asks for action
// outweighs anything that does not; among those, distance from chance decides.
func findings(b *Book) []Finding {
	out := slices.Concat(outOfLine(b), drifted(b), unitsOutOfLine(b), clearPatterns(b), weakMaterials(b), overall(b), missing(b), lostRows(b), oddHabits(b))
	slices.SortStableFunc(out, func(x, y Finding) int {
		switch {
		case x.Weight > y.Weight:
			return -1
		case x.Weight < y.Weight:
			return 1
		}
		return strings.Compare(x.Text, y.Text)
	})
	return out
}

var measureWords = map[string][2]string{ // verb and what the opportunities are
	"detections":   {"called movement at", "points tested"},
	"false_alarms": {"raised false alarms at", "verified active calls"},
	"missed":       {"called clear", "points later found active"},
}

// outOfLineAdvice says what to do about someone out of line.
var outOfLineAdvice = map[string]func(id string) string{
	"false_alarms": func(id string) string {
		return fmt.Sprintf("Have active calls of %s held again by someone else, and go through holding and stepping the gain with them.", id)
	},
	"missed": func(id string) string {
		return fmt.Sprintf("Have clear points of %s tested again blind, and go through gain and hold time with them.", id)
	},
}

// outOfLine tells of technicians with more false alarms or misses than the widened outer limits allow; fewer
// asks for no action.
func outOfLine(b *Book) []Finding {
	var out []Finding
	for _, r := range b.Consistency {
		if r.Standing != Act || r.Measure == "detections" || r.Ratio < 1 {
			continue
		}
		words := measureWords[r.Measure]
		out = append(out, Finding{
			Text: fmt.Sprintf("%s %s %d of %s %s, %.1f times what the average technician would give under the same conditions (expected %.1f, 95%% interval %.1f to %.1f times).",
				r.TechnicianID, words[0], r.Observed, Count(r.Opportunities), words[1], float64(r.Ratio), float64(r.Expected), float64(r.Low), float64(r.High)),
			Analysis: "technician_consistency", Page: "technicians.html", Weight: 100 + math.Abs(float64(r.Z)),
			Do:     outOfLineAdvice[r.Measure](r.TechnicianID),
			Excess: Figure(r.Observed) - r.Expected, Missed: r.Measure == "missed", TechnicianID: r.TechnicianID,
		})
	}
	return out
}

// clearPatterns tells of the clearest patterns of false alarms.
func clearPatterns(b *Book) []Finding {
	var out []Finding
	for _, p := range b.FalseAlarmPatterns.Patterns[:min(2, len(b.FalseAlarmPatterns.Patterns))] {
		out = append(out, Finding{
			Text: fmt.Sprintf("False alarms gather where %s: %s of %s verified active calls, where %.0f would be expected (by chance %d to %d).",
				b.Labels.PatternWords(p.Terms), Count(p.Wrong), Count(p.Checked), float64(p.Expected), p.ByChanceLow, p.ByChanceHigh),
			Analysis: "false_alarm_patterns", Page: fmt.Sprintf("patterns.html#pattern-%d", p.Number), Weight: 90 - float64(p.Number),
			Do: fmt.Sprintf("Where %s: %s", b.Labels.PatternWords(p.Terms), strings.TrimPrefix(p.Suggestion, "Try: ")), Excess: Figure(p.Wrong) - p.Expected,
		})
	}
	return out
}

// drifted tells of technicians who raise more false alarms than their own earlier level, by their first
// signal; fewer asks for no action.
func drifted(b *Book) []Finding {
	var out []Finding
	told := map[string]bool{}
	for _, r := range b.Drift {
		if !r.Signal || r.Direction != Up || told[r.TechnicianID] {
			continue
		}
		told[r.TechnicianID] = true
		out = append(out, Finding{
			Text: fmt.Sprintf("%s raises more false alarms than before since about %s: the signal came in %s, when the sum stood at %.1f with a limit of %.1f. %s",
				r.TechnicianID, r.ChangedFrom, r.Month, float64(r.Statistic), float64(r.Limit), r.WhatChanged),
			Analysis: "technician_drift", Page: "technicians.html", Weight: 100 + float64(r.Statistic),
			Do:     fmt.Sprintf("Ask what changed for %s about %s: unit, gain, hold time or the places worked in.", r.TechnicianID, r.ChangedFrom),
			Excess: driftExcess(b, r.TechnicianID, r.ChangedFrom), TechnicianID: r.TechnicianID,
		})
	}
	return out
}

// driftExcess is how many false alarms beyond expectation came in the months since a change.
func driftExcess(b *Book, technician, since string) Figure {
	var excess Figure
	for _, r := range b.Drift {
		if r.TechnicianID == technician && r.Month >= since && r.Expected.Known() {
			excess += Figure(r.Observed) - r.Expected
		}
	}
	return max(0, excess)
}

// weakMaterials tells of materials whose active calls hold up less often than all calls, beyond doubt.
func weakMaterials(b *Book) []Finding {
	all, ok := overallAccuracy(b)
	if !ok {
		return nil
	}
	var out []Finding
	for _, r := range b.Accuracy {
		if r.By != "material" || !r.Enough || r.PPVHigh >= all.PPVLow {
			continue
		}
		out = append(out, Finding{
			Text: fmt.Sprintf("On %s, %s of %s verified active calls were confirmed (95%% interval %s), against %s on all materials.",
				b.Labels.Material(*r.Material), Percent(r.PPV), Count(r.ActiveVerified), Range(r.PPVLow, r.PPVHigh), Percent(all.PPV)),
			Analysis: "accuracy", Page: "detection.html", Weight: 50 + 100*float64(all.PPV-r.PPV), Excess: Unknown,
		})
	}
	return out
}

func overall(b *Book) []Finding {
	r, ok := overallAccuracy(b)
	if !ok {
		return nil
	}
	return []Finding{{
		Text: fmt.Sprintf("%s of %s verified active calls were confirmed by looking (95%% interval %s); %s of all active calls were checked.",
			Percent(r.PPV), Count(r.ActiveVerified), Range(r.PPVLow, r.PPVHigh), Percent(r.ActiveVerifiedShare)),
		Analysis: "accuracy", Page: "index.html", Weight: 40, Excess: Unknown,
	}}
}

// missing says how many active points the calls find, or that too little was opened to tell.
func missing(b *Book) []Finding {
	r, ok := overallAccuracy(b)
	if !ok {
		return nil
	}
	f := Finding{Analysis: "accuracy", Page: "auditor.html", Weight: 30, Excess: Unknown}
	if !r.SensitivityEnough {
		f.Do = "Open clear points drawn by lot (the command sample draws them), so that it can be said what is missed."
	}
	if f.Text = "What is missed cannot be said: " + r.SensitivityWhyNot + ". " + OpeningsInWords(r); r.SensitivityEnough {
		f.Text = fmt.Sprintf("Corrected for which points were ever checked, %s of active points were called active (95%% interval %s; %s of %s checked clear calls were active); from the checked points alone it looks like %s.",
			Percent(r.Sensitivity), Range(r.SensitivityLow, r.SensitivityHigh), Count(r.Missed), Count(r.ClearVerified), Percent(r.SensitivityNaive))
	}
	return []Finding{f}
}

// oddHabits tells of breaches of the protocol that someone commits clearly more often than the others.
func oddHabits(b *Book) []Finding {
	var out []Finding
	for _, r := range b.Protocol {
		if r.Standing != Act {
			continue
		}
		check, _ := protocol.Lookup(r.Check)
		out = append(out, Finding{
			Text: fmt.Sprintf("%s by %s: %s of %s (%s, 95%% interval %s), against %s by the others.", check.Title, r.TechnicianID, Count(r.Breaches), Count(r.Chances),
				Percent(r.Rate), Range(r.Low, r.High), Percent(r.Others)),
			Analysis: "protocol", Page: "protocol.html", Weight: 60 + float64(check.Weight),
			Do: fmt.Sprintf("Go through %q with %s, and look at the inspections listed.", check.Title, r.TechnicianID), Excess: Unknown, TechnicianID: r.TechnicianID,
		})
	}
	return out
}

// lostRows tells of rows that do not count in any figure.
func lostRows(b *Book) []Finding {
	var rejected, waiting, rows int64
	for _, r := range b.Quality {
		rejected += r.Rejected
		waiting += r.Waiting
		rows += r.Rows
	}
	if rejected+waiting == 0 {
		return nil
	}
	wait := ""
	if waiting > 0 {
		wait = fmt.Sprintf(" and %s wait for something they name", Count(waiting))
	}
	return []Finding{{
		Text:     fmt.Sprintf("%s of %s rows were rejected%s; none of them counts in a figure.", Count(rejected), Count(rows), wait),
		Analysis: "data_quality", Page: "quality.html", Weight: 20 + 1000*float64(rejected+waiting)/float64(rows),
		Do: "Have the rows listed in the store's rejects mended by those who supply them, and load the files again.", Excess: Unknown,
	}}
}

// overallAccuracy is the accuracy of all calls, where enough of them were verified to speak of it.
func overallAccuracy(b *Book) (AccuracyRow, bool) {
	i := slices.IndexFunc(b.Accuracy, func(r AccuracyRow) bool { return r.By == "all" && r.Enough })
	if i < 0 {
		return AccuracyRow{}, false
	}
	return b.Accuracy[i], true
}
