package dashboards

import (
	"fmt"
	"slices"
	"strings"

	"scanledger/queries"
)

// logsPage sets what units logged by themselves against what was written down.
func logsPage(b *queries.Book, _ Business) Page {
	return Page{
		Title:   "Unit logs",
		Heading: logsHeading(b),
		Lead: "What units wrote by themselves, against what people wrote down. A difference is to be asked about and proves nothing by itself; " +
			"movement in a log is no finding.",
		Sections: []Section{logMatchSection(b), contradictionSection(b), looksSection(b), lookCheckSection(b), logClockSection(b), logHabitsSection(b)},
	}
}

// logTotals adds up the months and units; only unit-days with a log can say something.
func logTotals(b *queries.Book) (all queries.LogMatchRow) {
	for _, r := range b.LogMatch {
		all.Readings, all.Matched, all.NoLog, all.DayWithoutLog, all.Ambiguous = all.Readings+r.Readings, all.Matched+r.Matched, all.NoLog+r.NoLog, all.DayWithoutLog+r.DayWithoutLog, all.Ambiguous+r.Ambiguous
		all.Holds, all.HoldsMatched, all.Unrecorded, all.HoldsAmbiguous, all.Outside = all.Holds+r.Holds, all.HoldsMatched+r.HoldsMatched, all.Unrecorded+r.Unrecorded, all.HoldsAmbiguous+r.HoldsAmbiguous, all.Outside+r.Outside
		all.Days, all.DaysKnown, all.DaysOff = all.Days+r.Days, all.DaysKnown+r.DaysKnown, all.DaysOff+r.DaysOff
	}
	return all
}

func logsHeading(b *queries.Book) string {
	all := logTotals(b)
	logged := all.Readings - all.DayWithoutLog
	switch {
	case all.Days == 0:
		return "No unit log has been received yet"
	case logged == 0:
		return fmt.Sprintf("Logs cover %s, and no reading is of any of them", counted(all.Days, "unit-day", "unit-days"))
	}
	return fmt.Sprintf("Of %s made on a day with a log, the log shows %s", counted(logged, "reading", "readings"), queries.Count(all.Matched))
}

func logMatchHeading(b *queries.Book) string {
	all := logTotals(b)
	switch {
	case all.Days == 0:
		return "No log exists, so no reading can be looked up in one"
	case all.Holds == all.Outside:
		return fmt.Sprintf("The logs show no hold during an inspection, on %s", counted(all.Days, "unit-day", "unit-days"))
	case all.Unrecorded == 0:
		return fmt.Sprintf("No hold of an inspection was left unrecorded, of %s", counted(all.Holds-all.Outside, "hold", "holds"))
	}
	return fmt.Sprintf("Of %s during inspections, nobody wrote down %s", counted(all.Holds-all.Outside, "hold", "holds"), queries.Count(all.Unrecorded))
}

func logMatchSection(b *queries.Book) Section {
	s := Section{ID: "log-match", Heading: logMatchHeading(b), Source: sourceOf(b, "log_match", ""),
		Sub: "Readings and holds of one unit, the clock put right, that are each other's nearest; by unit and month."}
	all := logTotals(b)
	if all.Days == 0 {
		s.Paragraphs = []string{"Units write samples while in use. Load them as unit_log records and this page shows which readings they bear out."}
		return s
	}
	t := Table{ID: "log-match-table", Caption: "Readings and holds by unit and month", Sortable: true, Columns: []Column{{Head: "Unit"}, {Head: "Month"}, {Head: "Days logged", Numeric: true},
		{Head: "Readings", Numeric: true}, {Head: "Matched", Numeric: true}, {Head: "No hold", Unit: "day logged", Numeric: true}, {Head: "Day not logged", Numeric: true}, {Head: "Ambiguous", Numeric: true},
		{Head: "Holds", Numeric: true}, {Head: "Unrecorded", Numeric: true}, {Head: "Outside", Numeric: true}}}
	for _, r := range b.LogMatch {
		if r.Days > 0 {
			t.Rows = append(t.Rows, Row{Cells: []Cell{text(r.UnitID), text(monthName(r.Month)), count(r.Days), count(r.Readings), count(r.Matched), count(r.NoLog - r.DayWithoutLog), count(r.DayWithoutLog),
				count(r.Ambiguous), count(r.Holds), count(r.Unrecorded), count(r.Outside)}})
		}
	}
	t.Folded = len(t.Rows) > 24
	s.Tables = []Table{t}
	s.Margin = []Note{{queries.Count(all.NoLog - all.DayWithoutLog), "readings with no hold in the log of their day."},
		{queries.Count(all.DayWithoutLog), "readings on days for which there is no log: nothing can be said of them."},
		{queries.Count(all.Ambiguous), "readings that two holds fit, or that share one."},
		{queries.Count(all.Outside), "holds outside any inspection with the unit."}}
	return s
}

// contradictionWords name a kind of contradiction, and what is written and logged for it.
var contradictionWords = map[string]struct{ name, unit string }{
	queries.ClearWithMovement:     {"called clear, strong movement logged", "of the hold"},
	queries.ActiveWithoutMovement: {"called active, no movement logged", "of the hold"},
	queries.UnrecordedHold:        {"hold that nobody wrote down", "s"},
	queries.OtherGain:             {"other gain logged than written", ""},
	queries.ShortHold:             {"held shorter than written", "s"},
	queries.OtherLevel:            {"other level logged than written", "%"},
}

func contradictionCounts(b *queries.Book) map[string]int64 {
	n := map[string]int64{}
	for _, r := range b.Contradictions {
		n[r.Kind]++
	}
	return n
}

func contradictionHeading(b *queries.Book) string {
	all, n := logTotals(b), contradictionCounts(b)
	switch against := n[queries.ClearWithMovement] + n[queries.ActiveWithoutMovement]; {
	case all.Days == 0:
		return "No log exists, so nothing can contradict what was written"
	case all.Matched == 0:
		return "No reading is matched with a hold, so no call can be set against a log"
	case against == 0:
		return fmt.Sprintf("No log speaks against a call, of %s", counted(all.Matched, "matched reading", "matched readings"))
	default:
		return fmt.Sprintf("The log speaks against %s of the calls of %s: %s clear with strong movement, %s active without any",
			queries.Count(against), counted(all.Matched, "matched reading", "matched readings"), queries.Count(n[queries.ClearWithMovement]), queries.Count(n[queries.ActiveWithoutMovement]))
	}
}

// shownContradictions bounds those of a kind on the page; all are in the CSV.
const shownContradictions = 12

func contradictionSection(b *queries.Book) Section {
	s := Section{ID: "contradictions", Heading: contradictionHeading(b), Source: sourceOf(b, "log_contradictions", ""),
		Sub: fmt.Sprintf("Strong is at least %s of a hold above the noise band of its day and gain, none is at most %s: the house's choice.",
			queries.Percent(queries.Figure(b.LogSettings.Value("strong_share"))), queries.Percent(queries.Figure(b.LogSettings.Value("quiet_share"))))}
	if len(b.Contradictions) == 0 {
		return s
	}
	t := Table{ID: "contradictions-table", Caption: fmt.Sprintf("Up to %d of each kind, the newest; all are in the CSV", shownContradictions), Sortable: true, Folded: true,
		Columns: []Column{{Head: "What"}, {Head: "Date"}, {Head: "Unit"}, {Head: "Inspection"}, {Head: "Point"}, {Head: "Written", Numeric: true}, {Head: "Logged", Numeric: true}}}
	n := contradictionCounts(b)
	for _, kind := range queries.Contradictions {
		words := contradictionWords[kind]
		s.Margin = append(s.Margin, Note{queries.Count(n[kind]), words.name + "."})
		shown := 0
		for _, r := range slices.Backward(b.Contradictions) {
			if r.Kind != kind || shown == shownContradictions {
				continue
			}
			shown++
			t.Rows = append(t.Rows, Row{Cells: []Cell{text(words.name), day(r.Date), text(r.UnitID), {Text: r.InspectionID, Href: inspectionLink(b, r.InspectionID)}, text(r.PointID),
				text(r.Written), text(loggedWords(r))}})
		}
	}
	s.Tables = []Table{t}
	return s
}

func loggedWords(r queries.ContradictionRow) string {
	unit := contradictionWords[r.Kind].unit
	switch r.Kind {
	case queries.ClearWithMovement, queries.ActiveWithoutMovement:
		return queries.Percent(r.Logged) + " " + unit
	case queries.OtherGain:
		return figure(r.Logged, 0)
	}
	return figure(r.Logged, 1) + " " + unit
}

func logClockHeading(b *queries.Book) string {
	all := logTotals(b)
	switch {
	case all.Days == 0:
		return "No log exists, so no clock can be checked"
	case all.DaysKnown == 0:
		return "Too few readings fit a log to tell how far any clock is off"
	case all.DaysOff == 0:
		return fmt.Sprintf("No clock was off by a minute or more, on %s", counted(all.DaysKnown, "unit-day", "unit-days"))
	}
	return fmt.Sprintf("Clocks were off by a minute or more on %s of %s", queries.Count(all.DaysOff), counted(all.DaysKnown, "unit-day", "unit-days"))
}

func logClockSection(b *queries.Book) Section {
	s := Section{ID: "log-clock", Heading: strings.ReplaceAll(logClockHeading(b), "a minute", clockLimit(b)), Source: sourceOf(b, "log_match", ""),
		Sub: "Offset at which the most readings and holds of a unit-day agree; positive where the unit's clock is slow."}
	t := Table{ID: "log-clock-table", Caption: "Clocks that were off, by unit and month", Sortable: true, Columns: []Column{{Head: "Unit"}, {Head: "Month"}, {Head: "Days off", Numeric: true},
		{Head: "Days known", Numeric: true}, {Head: "Largest offset", Unit: "min", Numeric: true}}}
	for _, r := range b.LogMatch {
		if r.DaysOff > 0 {
			t.Rows = append(t.Rows, Row{Cells: []Cell{text(r.UnitID), text(monthName(r.Month)), count(r.DaysOff), count(r.DaysKnown), decimal(r.LargestOffset/60, 1)}})
		}
	}
	if len(t.Rows) > 0 {
		s.Tables = []Table{t}
	}
	return s
}

// clockLimit is from when on a clock is said to be off.
func clockLimit(b *queries.Book) string {
	if s := b.LogSettings.Value("offset_say_s"); s != 60 {
		return fixed(s, 0) + " seconds"
	}
	return "a minute"
}

func logHabitsHeading(b *queries.Book) string {
	var judged, unusual, left int64
	for _, r := range b.LogHabits {
		left += r.LeftOn
		if r.Charge != queries.ChargeTooFew {
			judged++
		}
		if r.Charge == queries.ChargeShorter || r.Charge == queries.ChargeLonger {
			unusual++
		}
	}
	var charge string
	switch {
	case len(b.LogHabits) == 0:
		return "No log exists, so nothing is known of how units are used"
	case judged == 0:
		charge = "Too little battery was used to say how long a charge lasts"
	case unusual == 0:
		charge = fmt.Sprintf("A charge lasts as is usual in %s judged", counted(judged, "unit", "units"))
	default:
		charge = fmt.Sprintf("A charge lasts unusually long or short in %s judged", ofAll(unusual, judged))
	}
	if left == 0 {
		return charge + "; no unit was left sensing"
	}
	return charge + fmt.Sprintf("; units were left sensing %s", counted(left, "time", "times"))
}

func logHabitsSection(b *queries.Book) Section {
	set := b.LogSettings
	s := Section{ID: "log-habits", Heading: logHabitsHeading(b), Source: sourceOf(b, "log_habits", ""),
		Sub: fmt.Sprintf("Usual is a charge of %g to %g hours of use and shutting down after %g idle minutes: common practice, no source. Left sensing is one hold of over %g minutes: the house's choice.",
			set.Value("charge_low_h"), set.Value("charge_high_h"), set.Value("idle_min"), set.Value("left_on_min"))}
	if len(b.LogHabits) == 0 {
		return s
	}
	t := Table{ID: "log-habits-table", Caption: "Use by unit", Sortable: true, Dense: true, Columns: []Column{{Head: "Unit"}, {Head: "Days", Numeric: true}, {Head: "Hours on", Numeric: true}, {Head: "Sensing", Unit: "h", Numeric: true},
		{Head: "A charge lasts", Unit: "h, 95% interval", Numeric: true}, {Head: "Against usual"}, {Head: "Idle ends", Numeric: true}, {Head: "After", Unit: "min, 95% interval", Numeric: true}, {Head: "Did not shut down", Numeric: true}, {Head: "Left sensing", Numeric: true}}}
	for _, r := range b.LogHabits {
		t.Rows = append(t.Rows, Row{Held: r.Charge == queries.ChargeTooFew, Cells: []Cell{text(r.UnitID), count(r.Days), decimal(r.HoursOn, 1), decimal(r.HoursSense, 1), spanned(r.ChargeHours, r.ChargeLow, r.ChargeHigh, 1),
			text(r.Charge), count(r.IdleSpells), spanned(r.IdleMedian, r.IdleLow, r.IdleHigh, 0), count(r.IdleOver), count(r.LeftOn)}})
	}
	s.Tables = []Table{t}
	return s
}
