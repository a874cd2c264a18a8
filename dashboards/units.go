package dashboards

import (
	"fmt"
	"html/template"
	"strings"

	"scanledger/dashboards/chart"
	"scanledger/queries"
)

func unitsPage(b *queries.Book, _ Business) Page {
	return Page{
		Title:   "Units",
		Heading: unitsHeading(b),
		Lead: "Each unit against what the other units in service would give at the same points, with the same materials, seasons and technicians. " +
			"Outside a limit asks for the unit to be looked at; it is no proof of a fault.",
		Sections: []Section{unitAlarmsSection(b), serviceSection(b), levelSection(b), clockSection(b), chargeSection(b)},
	}
}

// unitStanding is how a unit is drawn: not judged where its false alarms are too few and nothing else is
// known against it.
func unitStanding(r queries.UnitRow) string {
	if !r.Enough && r.Standing == queries.InLine {
		return tooFew
	}
	return r.Standing
}

func unitsHeading(b *queries.Book) string {
	n := map[string]int64{}
	for _, r := range b.Units {
		n[unitStanding(r)]++
	}
	all := int64(len(b.Units))
	switch {
	case all == 0:
		return "No unit has been used yet"
	case n[queries.Act]+n[queries.Watch] == 0 && n[tooFew] == all:
		return fmt.Sprintf("Too little was tested to judge any of %s", counted(all, "unit", "units"))
	case n[queries.Act]+n[queries.Watch] == 0:
		return fmt.Sprintf("Nothing asks for a look at any of the %s judged", counted(all-n[tooFew], "unit", "units"))
	case n[queries.Act] == 0:
		return fmt.Sprintf("%d of %s %s to be watched", n[queries.Watch], counted(all, "unit", "units"), isAre(n[queries.Watch]))
	case n[queries.Watch] == 0:
		return fmt.Sprintf("%d of %s %s for a look", n[queries.Act], counted(all, "unit", "units"), asks(n[queries.Act]))
	}
	return fmt.Sprintf("%d of %s %s for a look, %d more %s to be watched", n[queries.Act], counted(all, "unit", "units"), asks(n[queries.Act]), n[queries.Watch], isAre(n[queries.Watch]))
}

func asks(n int64) string {
	if n == 1 {
		return "asks"
	}
	return "ask"
}

func isAre(n int64) string {
	if n == 1 {
		return "is"
	}
	return "are"
}

func unitAlarmsHeading(b *queries.Book) string {
	var out []string
	judged := int64(0)
	for _, r := range b.Units {
		if !r.Enough {
			continue
		}
		judged++
		if r.Alarms == queries.AlarmsMore && r.Standing == queries.Act {
			out = append(out, fmt.Sprintf("%s raised %s times the false alarms expected (%s against %s; 95%% interval %s times)",
				r.UnitID, figure(r.Ratio, 1), queries.Count(r.Observed), figure(r.Expected, 1), span(r.Low, r.High, 1)))
		}
	}
	switch {
	case judged == 0:
		return "Too few false alarms are expected of any unit to judge one"
	case len(out) == 0:
		return fmt.Sprintf("None of %s judged raised more false alarms than the outer limits allow", counted(judged, "unit", "units"))
	}
	return strings.Join(out, "; ")
}

func unitAlarmsSection(b *queries.Book) Section {
	s := Section{ID: "unit-alarms", Heading: unitAlarmsHeading(b), Source: sourceOf(b, "unit_health", ""), Figure: unitDots(b),
		Sub: "False alarms observed over expected, 95% intervals widened by how much sites differ. A unit past its service date is judged on what was tested since, where that is enough."}
	if len(b.Units) == 0 {
		return s
	}
	t := Table{ID: "unit-table", Caption: "False alarms by unit", Sortable: true, Columns: []Column{{Head: "Unit"}, {Head: "Standing"}, {Head: "Judged"},
		{Head: "Points", Numeric: true}, {Head: "Observed", Numeric: true}, {Head: "Expected", Numeric: true}, {Head: "Ratio", Unit: "95% interval", Numeric: true}, {Head: "q", Numeric: true}}}
	for _, r := range b.Units {
		standing := unitStanding(r)
		words := standingWords[standing]
		if r.Why != "" {
			words += ": " + r.Why
		}
		t.Rows = append(t.Rows, Row{Held: !r.Enough, Cells: []Cell{text(r.UnitID), {Text: words, Mark: mark(standing)}, text(judgedWords[r.JudgedOn]), count(r.Points), count(r.Observed), decimal(r.Expected, 1),
			spanned(r.Ratio, r.Low, r.High, 2), chanceCell(r.Q)}})
	}
	s.Tables, s.Paragraphs, s.Margin = []Table{t, peopleTable(b)}, draggedWords(b), alarmNotes(b)
	return s
}

var judgedWords = map[string]string{queries.JudgedOverdue: "overdue", queries.JudgedInService: "in service"}

// peopleTable tells with how many people a unit was above expected, and how much of it could be seen.
func peopleTable(b *queries.Book) Table {
	t := Table{ID: "unit-people", Caption: "Units by who used them and what was verified", Sortable: true, Columns: []Column{{Head: "Unit"}, {Head: "Model"}, {Head: "Technicians", Unit: "1 or more expected", Numeric: true},
		{Head: "Above expected", Numeric: true}, {Head: "Active calls verified", Numeric: true}, {Head: "Other units'", Numeric: true}, {Head: "Left out", Unit: "points", Numeric: true}}}
	for _, r := range b.Units {
		t.Rows = append(t.Rows, Row{Held: !r.Enough, Cells: []Cell{text(r.UnitID), text(r.Model), count(int64(r.Technicians)), count(int64(r.TechniciansAbove)),
			percent(r.VerifiedShare), percent(r.OthersVerifiedShare), count(r.NotCompared)}})
	}
	return t
}

// alarmNotes count the units by what their false alarms say.
func alarmNotes(b *queries.Book) []Note {
	var judged, out int64
	for _, r := range b.Units {
		if r.Enough {
			judged++
		}
		if r.Enough && r.Alarms != queries.AlarmsExpected {
			out++
		}
	}
	return []Note{{ofAll(out, judged), "units judged are outside the 95% limits. By chance alone one in twenty would be."},
		{queries.Count(int64(len(b.Units)) - judged), "units not judged: too few points, sites or expected false alarms (open circles)."}}
}

// draggedWords tell of a unit that pulls up the false alarms of several people.
func draggedWords(b *queries.Book) []string {
	var out []string
	for _, r := range b.Units {
		if r.Enough && r.Alarms == queries.AlarmsMore && r.TechniciansAbove > 1 {
			out = append(out, fmt.Sprintf("%s was above what was expected with %d of %s: before a technician's false alarms are judged, see whether they were made with it.",
				r.UnitID, r.TechniciansAbove, counted(int64(r.Technicians), "technician", "technicians")))
		}
	}
	return out
}

func unitDots(b *queries.Book) template.HTML {
	f := chart.Dots{Frame: chart.Frame{ID: "unit-dots", Title: "False alarms observed over expected, by unit", Desc: "False alarms observed over expected, by unit, with 95% intervals."},
		Ratio: true, Reference: true, ReferenceAt: 1, ReferenceLabel: "as expected", NLabel: "observed"}
	for _, r := range b.Units {
		f.Rows = append(f.Rows, chart.DotRow{Label: r.UnitID, Value: number(r.Ratio), Low: number(r.Low), High: number(r.High), N: int(r.Observed), Enough: r.Enough, Standing: alarmStanding(r),
			Title: fmt.Sprintf("%s: %s observed, %s expected; %s", r.UnitID, queries.Count(r.Observed), figure(r.Expected, 1), standingWords[unitStanding(r)])})
	}
	return f.SVG()
}

// alarmStanding is the standing that false alarms alone give.
func alarmStanding(r queries.UnitRow) string {
	switch {
	case !r.Enough:
		return tooFew
	case r.Alarms == queries.AlarmsExpected:
		return queries.InLine
	}
	return r.Standing
}

func overdueUnits(b *queries.Book) (overdue, known []queries.UnitRow) {
	for _, r := range b.Units {
		if r.ServiceOverdue == nil {
			continue
		}
		known = append(known, r)
		if *r.ServiceOverdue || r.ReadingsOverdue > 0 {
			overdue = append(overdue, r)
		}
	}
	return overdue, known
}

func serviceHeading(b *queries.Book) string {
	overdue, known := overdueUnits(b)
	var readings int64
	for _, r := range overdue {
		readings += r.ReadingsOverdue
	}
	switch {
	case len(known) == 0:
		return "No service dates are known"
	case len(overdue) == 0:
		return fmt.Sprintf("No reading was made past its unit's service date, of %s with one", counted(int64(len(known)), "unit", "units"))
	}
	return fmt.Sprintf("%s made past the service date of %s", counted(readings, "reading was", "readings were"), counted(int64(len(overdue)), "unit", "units"))
}

func serviceSection(b *queries.Book) Section {
	overdue, _ := overdueUnits(b)
	s := Section{ID: "unit-service", Heading: serviceHeading(b), Source: sourceOf(b, "unit_health", ""),
		Sub: "False alarms over expected before the service date and past it. Expected counts come from the other units in service."}
	if len(overdue) == 0 {
		return s
	}
	t := Table{ID: "service-table", Caption: "Units past their service date", Columns: []Column{{Head: "Unit"}, {Head: "Service due"}, {Head: "Readings", Numeric: true}, {Head: "Past the date", Numeric: true},
		{Head: "In service", Unit: "observed / expected false alarms", Numeric: true}, {Head: "Past the date", Unit: "observed / expected false alarms", Numeric: true}}}
	for _, r := range overdue {
		t.Rows = append(t.Rows, Row{Held: !r.Enough, Cells: []Cell{text(r.UnitID), text(*r.ServiceDueOn), count(r.Readings), count(r.ReadingsOverdue),
			overExpected(r.ObservedInService, r.ExpectedInService, r.RatioInService), overExpected(r.ObservedOverdue, r.ExpectedOverdue, r.RatioOverdue)}})
	}
	s.Tables = []Table{t}
	return s
}

// overExpected writes both counts before their ratio.
func overExpected(observed int64, expected, ratio queries.Figure) Cell {
	c := decimal(ratio, 2)
	if ratio.Known() {
		c.Text = fmt.Sprintf("%s / %s = %s", queries.Count(observed), figure(expected, 1), c.Text)
	}
	return c
}

func levelHeading(b *queries.Book) string {
	var moving []string
	judged := int64(0)
	for _, r := range b.Units {
		switch r.Level {
		case queries.LevelRises, queries.LevelFalls:
			moving = append(moving, r.UnitID+" "+r.Level)
			judged++
		case queries.LevelSteady:
			judged++
		}
	}
	switch {
	case judged == 0:
		return "Too few months with readings on clear places to say whether any unit's level creeps"
	case len(moving) == 0:
		return fmt.Sprintf("On places known to be clear, the level of none of %s creeps beyond what chance gives", counted(judged, "unit", "units"))
	}
	return "On places known to be clear, the level creeps: " + strings.Join(moving, ", ")
}

func levelSection(b *queries.Book) Section {
	s := Section{ID: "unit-level", Heading: levelHeading(b), Source: sourceOf(b, "unit_level", ""),
		Sub: "Median level of control readings by month, at the step they were most made at; slope by Sen (1968), rank test by Mann (1945) and Kendall (1975), q over units."}
	if len(b.Units) == 0 {
		return s
	}
	t := Table{ID: "level-table", Caption: "Level on places known to be clear", Sortable: true, Columns: []Column{{Head: "Unit"}, {Head: "Months", Numeric: true},
		{Head: "Change in a month", Unit: "% of full scale, 95% interval", Numeric: true}, {Head: "q", Numeric: true}, {Head: "Level"}}}
	for _, r := range b.Units {
		t.Rows = append(t.Rows, Row{Held: r.Level == queries.LevelTooFew, Cells: []Cell{text(r.UnitID), count(int64(r.ControlMonths)), spanned(r.LevelSlope, r.LevelLow, r.LevelHigh, 2), chanceCell(r.LevelQ), text(r.Level)}})
	}
	s.Tables = []Table{t}
	return s
}

func clockHeading(b *queries.Book) string {
	var off []string
	judged := int64(0)
	for _, r := range b.UnitUse {
		switch r.Clock {
		case queries.ClockEarly, queries.ClockLate:
			off = append(off, r.UnitID+" "+r.Clock)
			judged++
		case queries.ClockOnTime:
			judged++
		}
	}
	switch {
	case judged == 0:
		return "Too few visits to say whether any unit's clock is off"
	case len(off) == 0:
		return fmt.Sprintf("No clock of %s seems off by more than a minute", counted(judged, "unit", "units"))
	}
	return "Clocks that seem off by more than a minute: " + strings.Join(off, ", ")
}

func clockSection(b *queries.Book) Section {
	s := Section{ID: "unit-clock", Heading: clockHeading(b), Source: sourceOf(b, "unit_use", ""),
		Sub: "Time from the start of an inspection to the unit's first reading, less what the same technician takes with other units; median and its 95% interval by ranks."}
	if len(b.UnitUse) == 0 {
		return s
	}
	t := Table{ID: "clock-table", Caption: "Clocks", Sortable: true, Columns: []Column{{Head: "Unit"}, {Head: "Visits", Numeric: true}, {Head: "Later than usual", Unit: "minutes, 95% interval", Numeric: true},
		{Head: "Outside the inspection", Unit: "readings", Numeric: true}, {Head: "Clock"}}}
	for _, r := range b.UnitUse {
		t.Rows = append(t.Rows, Row{Held: r.Clock == queries.ClockTooFew, Cells: []Cell{text(r.UnitID), count(r.Visits), spanned(r.Delay, r.DelayLow, r.DelayHigh, 1),
			{Text: ofAll(r.Outside, r.Readings), Class: "num"}, text(r.Clock)}})
	}
	s.Tables = []Table{t}
	return s
}

func chargeHeading(b *queries.Book) string {
	least, most, n := queries.Unknown, queries.Unknown, int64(0)
	for _, r := range b.UnitUse {
		if !r.ChargeEnough {
			continue
		}
		if n == 0 || r.ChargeHours < least {
			least = r.ChargeHours
		}
		if n == 0 || r.ChargeHours > most {
			most = r.ChargeHours
		}
		n++
	}
	switch n {
	case 0:
		return "Batteries were noted too seldom to say how long a charge lasts"
	case 1:
		return fmt.Sprintf("At the rate seen during visits, one charge of the one unit that can be judged would last %s hours", figure(least, 1))
	}
	return fmt.Sprintf("At the rate seen during visits, one charge would last %s to %s hours, by unit", figure(least, 1), figure(most, 1))
}

func chargeSection(b *queries.Book) Section {
	s := Section{ID: "unit-charge", Heading: chargeHeading(b), Source: sourceOf(b, "unit_use", ""),
		Sub: "From the battery noted with readings, first to last of a visit. What happens between visits is not seen; a unit's own log would show it. A working day of 8 to 10 hours on one charge is common practice, no source."}
	if len(b.UnitUse) == 0 {
		return s
	}
	t := Table{ID: "charge-table", Caption: "Hours on one charge", Sortable: true, Columns: []Column{{Head: "Unit"}, {Head: "Visits", Numeric: true}, {Head: "Hours", Unit: "95% interval", Numeric: true}}}
	for _, r := range b.UnitUse {
		t.Rows = append(t.Rows, Row{Held: !r.ChargeEnough, Cells: []Cell{text(r.UnitID), count(r.ChargeVisits), spanned(r.ChargeHours, r.ChargeLow, r.ChargeHigh, 1)}})
	}
	s.Tables = []Table{t}
	return s
}
