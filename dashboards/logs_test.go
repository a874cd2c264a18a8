package dashboards

import (
	"testing"

	"scanledger/queries"
)

// logsOf adds logs of two units: one with a slow clock, both with contradictions.
func logsOf(b *queries.Book) {
	b.LogMatch = []queries.LogMatchRow{
		{UnitID: "U1", Month: "2026-07", Readings: 300, Matched: 280, NoLog: 15, DayWithoutLog: 5, Ambiguous: 5, Holds: 300, HoldsMatched: 280, Unrecorded: 8, HoldsAmbiguous: 2, Outside: 10,
			Days: 20, DaysKnown: 18, DaysOff: 3, LargestOffset: 1020},
		{UnitID: "U2", Month: "2026-07", Readings: 100, Matched: 90, NoLog: 10, Holds: 95, HoldsMatched: 90, Unrecorded: 5, Days: 8, DaysKnown: 8, LargestOffset: queries.Unknown},
	}
	b.Contradictions = []queries.ContradictionRow{
		{Kind: queries.ActiveWithoutMovement, UnitID: "U1", InspectionID: "I1", PointID: "P1", ReadingID: "R1", Date: "2026-07-03", Written: "active"},
		{Kind: queries.ClearWithMovement, UnitID: "U1", InspectionID: "I2", PointID: "P1", ReadingID: "R2", Date: "2026-07-04", Written: "clear", Logged: 0.6},
		{Kind: queries.OtherGain, UnitID: "U2", InspectionID: "I2", PointID: "P2", ReadingID: "R3", Date: "2026-07-04", Written: "3", Logged: 4},
	}
	b.LogHabits = []queries.LogHabitsRow{
		{UnitID: "U1", Days: 20, Spells: 40, HoursOn: 60, HoursSense: 20, ChargeDays: 20, ChargeHours: 5, ChargeLow: 4.5, ChargeHigh: 5.5, Charge: queries.ChargeShorter,
			IdleSpells: 10, IdleMedian: 30, IdleLow: 29, IdleHigh: 31, LeftOn: 2, LeftOnHours: 1},
		{UnitID: "U2", Days: 8, Spells: 8, HoursOn: 20, HoursSense: 6, ChargeHours: queries.Unknown, ChargeLow: queries.Unknown, ChargeHigh: queries.Unknown, Charge: queries.ChargeTooFew,
			IdleMedian: queries.Unknown, IdleLow: queries.Unknown, IdleHigh: queries.Unknown},
	}
}

func thinLogs(b *queries.Book) {
	b.LogMatch = []queries.LogMatchRow{{UnitID: "U1", Month: "2026-07", Readings: 3, NoLog: 3, DayWithoutLog: 3, Days: 1, LargestOffset: queries.Unknown}}
	b.Contradictions, b.LogHabits = nil, b.LogHabits[1:]
}

// quietLogs agree with all that was written.
func quietLogs(b *queries.Book) {
	b.LogMatch = []queries.LogMatchRow{{UnitID: "U1", Month: "2026-07", Readings: 1, Matched: 1, Holds: 1, HoldsMatched: 1, Days: 1, DaysKnown: 1, LargestOffset: queries.Unknown}}
	b.Contradictions, b.LogHabits[0].Charge, b.LogHabits[0].LeftOn = nil, queries.ChargeUsual, 0
}

func TestLogHeadings(t *testing.T) {
	quiet, sparse := strong(), strong()
	quietLogs(quiet)
	thinLogs(sparse)
	books := map[string]*queries.Book{"strong": strong(), "quiet": quiet, "thin": sparse, "nothing": {}}
	for _, h := range []struct {
		name string
		of   func(*queries.Book) string
		want map[string]string
	}{
		{"page", logsHeading, map[string]string{"strong": "Of 395 readings made on a day with a log, the log shows 370", "quiet": "Of 1 reading made on a day with a log, the log shows 1",
			"thin": "Logs cover 1 unit-day, and no reading is of any of them", "nothing": "No unit log has been received yet"}},
		{"match", logMatchHeading, map[string]string{"strong": "Of 385 holds during inspections, nobody wrote down 13", "quiet": "No hold of an inspection was left unrecorded, of 1 hold",
			"thin": "The logs show no hold during an inspection, on 1 unit-day", "nothing": "No log exists, so no reading can be looked up in one"}},
		{"contradictions", contradictionHeading, map[string]string{"strong": "The log speaks against 2 of the calls of 370 matched readings: 1 clear with strong movement, 1 active without any",
			"quiet": "No log speaks against a call, of 1 matched reading", "thin": "No reading is matched with a hold, so no call can be set against a log",
			"nothing": "No log exists, so nothing can contradict what was written"}},
		{"clock", logClockHeading, map[string]string{"strong": "Clocks were off by a minute or more on 3 of 26 unit-days", "quiet": "No clock was off by a minute or more, on 1 unit-day",
			"thin": "Too few readings fit a log to tell how far any clock is off", "nothing": "No log exists, so no clock can be checked"}},
		{"habits", logHabitsHeading, map[string]string{"strong": "A charge lasts unusually long or short in 1 of 1 judged; units were left sensing 2 times", "quiet": "A charge lasts as is usual in 1 unit judged; no unit was left sensing",
			"thin": "Too little battery was used to say how long a charge lasts; no unit was left sensing", "nothing": "No log exists, so nothing is known of how units are used"}},
	} {
		for name, b := range books {
			if got := h.of(b); got != h.want[name] {
				t.Errorf("%s, %s figures:\ngot  %q\nwant %q", h.name, name, got, h.want[name])
			}
		}
	}
}
