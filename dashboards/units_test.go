package dashboards

import (
	"strings"
	"testing"

	"scanledger/queries"
)

// fleet gives the book three units: one overdue with too many false alarms, one with a creeping level and
// a clock that is off, one hardly used.
func fleet(b *queries.Book) {
	unit := queries.UnitRow{UnitID: "U1", Model: "six-step", ServiceDueOn: ptr("2026-01-31"), ServiceOverdue: ptr(true), Readings: 4000, ReadingsOverdue: 900, JudgedOn: queries.JudgedOverdue, Points: 300, Observed: 40,
		Expected: 11.2, Ratio: 3.57, Low: 2.5, High: 4.9, Z: 7, P: 1e-9, Q: 1e-8, ObservedInService: 52, ExpectedInService: 50, RatioInService: 1.04, ObservedOverdue: 40, ExpectedOverdue: 11.2, RatioOverdue: 3.57,
		VerifiedShare: 0.7, OthersVerifiedShare: 0.75, Alarms: queries.AlarmsMore, Technicians: 4, TechniciansAbove: 4, ControlMonths: 12, LevelSlope: 0.02, LevelLow: -0.1, LevelHigh: 0.1, LevelQ: 0.7, Level: queries.LevelSteady,
		Clock: queries.ClockOnTime, Enough: true, Standing: queries.Act, Why: "more false alarms than expected; service overdue"}
	creeping := unit
	creeping.UnitID, creeping.ServiceDueOn, creeping.ServiceOverdue, creeping.ReadingsOverdue, creeping.JudgedOn = "U2", ptr("2027-01-31"), ptr(false), 0, queries.JudgedInService
	creeping.Observed, creeping.Expected, creeping.Ratio, creeping.Low, creeping.High, creeping.Z, creeping.Q, creeping.Alarms = 50, 52, 0.96, 0.7, 1.3, -0.2, 0.8, queries.AlarmsExpected
	creeping.ObservedOverdue, creeping.ExpectedOverdue, creeping.RatioOverdue = 0, queries.Unknown, queries.Unknown
	creeping.Level, creeping.LevelSlope, creeping.LevelLow, creeping.LevelHigh, creeping.LevelQ, creeping.Clock = queries.LevelRises, 0.5, 0.3, 0.8, 0.002, queries.ClockEarly
	creeping.Standing, creeping.Why = queries.Watch, "level on clear places rises; clock seems early"
	idle := queries.UnitRow{UnitID: "U3", JudgedOn: queries.JudgedInService, Points: 12, Observed: 0, Expected: 0.4, Ratio: 0, Low: 0, High: 8, Z: -0.4, P: 0.7, Q: queries.Unknown, Alarms: queries.AlarmsTooFew,
		ExpectedInService: 0.4, RatioInService: 0, ExpectedOverdue: queries.Unknown, RatioOverdue: queries.Unknown, VerifiedShare: queries.Unknown, OthersVerifiedShare: 0.75,
		LevelSlope: queries.Unknown, LevelLow: queries.Unknown, LevelHigh: queries.Unknown, LevelQ: queries.Unknown, Level: queries.LevelTooFew, Clock: queries.ClockTooFew, Standing: queries.InLine}
	b.Units = []queries.UnitRow{unit, creeping, idle}
	use := queries.UnitUseRow{UnitID: "U1", Visits: 90, Delay: 0.1, DelayLow: -0.3, DelayHigh: 0.4, Clock: queries.ClockOnTime, Readings: 4000, Outside: 0, OutsideShare: 0, ChargeVisits: 88, ChargeHours: 8.9, ChargeLow: 8.6, ChargeHigh: 9.2, ChargeEnough: true}
	early := use
	early.UnitID, early.Delay, early.DelayLow, early.DelayHigh, early.Clock, early.Outside, early.OutsideShare, early.ChargeHours, early.ChargeLow, early.ChargeHigh = "U2", -6, -7, -5, queries.ClockEarly, 120, 0.03, 6.1, 5.8, 6.4
	seldom := queries.UnitUseRow{UnitID: "U3", Visits: 2, Delay: 1, DelayLow: queries.Unknown, DelayHigh: queries.Unknown, Clock: queries.ClockTooFew, Readings: 30, ChargeHours: queries.Unknown, ChargeLow: queries.Unknown, ChargeHigh: queries.Unknown}
	b.UnitUse = []queries.UnitUseRow{use, early, seldom}
	b.UnitLevels = []queries.UnitLevelRow{{UnitID: "U2", Gain: 2, Month: "2026-07", Readings: 5, MedianLevel: 6.5, Used: true}}
}

func thinFleet(b *queries.Book) {
	for i := range b.Units {
		r := &b.Units[i]
		r.Enough, r.Alarms, r.Level, r.Clock, r.Standing, r.Why = false, queries.AlarmsTooFew, queries.LevelTooFew, queries.ClockTooFew, queries.InLine, ""
		r.ServiceDueOn, r.ServiceOverdue, r.ReadingsOverdue = nil, nil, 0
		b.UnitUse[i].Clock, b.UnitUse[i].ChargeEnough = queries.ClockTooFew, false
	}
}

func levelFleet(b *queries.Book) {
	for i := range b.Units[:2] {
		r := &b.Units[i]
		r.Alarms, r.Level, r.Clock, r.Standing, r.Why = queries.AlarmsExpected, queries.LevelSteady, queries.ClockOnTime, queries.InLine, ""
		r.ServiceOverdue, r.ReadingsOverdue = ptr(false), 0
		b.UnitUse[i].Clock = queries.ClockOnTime
	}
}

// TestUnitHeadings: a heading of the units page claims what its figures show and nothing else.
func TestUnitHeadings(t *testing.T) {
	for _, h := range []struct {
		name string
		of   func(b *queries.Book) string
		want map[string]string
	}{
		{"page", unitsHeading, map[string]string{"strong": "1 of 3 units asks for a look, 1 more is to be watched", "level": "Nothing asks for a look at any of the 2 units judged",
			"thin": "Too little was tested to judge any of 3 units", "nothing": "No unit has been used yet"}},
		{"false alarms", unitAlarmsHeading, map[string]string{"strong": "U1 raised 3.6 times the false alarms expected (40 against 11.2; 95% interval 2.5 to 4.9 times)",
			"level": "None of 2 units judged raised more false alarms than the outer limits allow",
			"thin":  "Too few false alarms are expected of any unit to judge one", "nothing": "Too few false alarms are expected of any unit to judge one"}},
		{"service", serviceHeading, map[string]string{"strong": "900 readings were made past the service date of 1 unit", "level": "No reading was made past its unit's service date, of 2 units with one",
			"thin": "No service dates are known", "nothing": "No service dates are known"}},
		{"level", levelHeading, map[string]string{"strong": "On places known to be clear, the level creeps: U2 rises", "level": "On places known to be clear, the level of none of 2 units creeps beyond what chance gives",
			"thin": "Too few months with readings on clear places to say whether any unit's level creeps", "nothing": "Too few months with readings on clear places to say whether any unit's level creeps"}},
		{"clock", clockHeading, map[string]string{"strong": "Clocks that seem off by more than a minute: U2 early", "level": "No clock of 2 units seems off by more than a minute",
			"thin": "Too few visits to say whether any unit's clock is off", "nothing": "Too few visits to say whether any unit's clock is off"}},
		{"charge", chargeHeading, map[string]string{"strong": "At the rate seen during visits, one charge would last 6.1 to 8.9 hours, by unit", "level": "At the rate seen during visits, one charge would last 6.1 to 8.9 hours, by unit",
			"thin": "Batteries were noted too seldom to say how long a charge lasts", "nothing": "Batteries were noted too seldom to say how long a charge lasts"}},
	} {
		for name, b := range books() {
			if got := h.of(b); got != h.want[name] {
				t.Errorf("%s, %s figures:\ngot  %q\nwant %q", h.name, name, got, h.want[name])
			}
		}
	}
}

// TestUnitsToWatch: without a unit that asks for a look, those to be watched are named; what drags
// several people's figures is said only where it is above expected.
func TestUnitsToWatch(t *testing.T) {
	b := strong()
	if words := strings.Join(draggedWords(b), " "); !strings.HasPrefix(words, "U1 was above what was expected with 4 of 4 technicians") || strings.Contains(words, "U2") {
		t.Error(words)
	}
	b.Units = b.Units[1:]
	if got := unitsHeading(b); got != "1 of 2 units is to be watched" {
		t.Error(got)
	}
	b.UnitUse = b.UnitUse[:1]
	if got := chargeHeading(b); got != "At the rate seen during visits, one charge of the one unit that can be judged would last 8.9 hours" {
		t.Error(got)
	}
}
