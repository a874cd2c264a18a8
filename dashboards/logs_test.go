package dashboards

import (
	"slices"
	"strings"
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
	b.Signatures = queries.Signatures{Searched: 20, Moved: []queries.SignatureRow{
		{UnitID: "U1", InspectionID: "I1", PointID: "P2", ReadingID: "R7", Date: "2026-07-03", HoldNo: 2, Call: "active", Truth: "not_active", AboveShare: 0.5, Periodic: true, PeriodS: 2.04, Q: 0.0004, Steadiness: 0.97, Onset: "none"},
		{UnitID: "U1", InspectionID: "I2", PointID: "P3", ReadingID: "R8", Date: "2026-07-04", HoldNo: 3, Call: "clear", AboveShare: 0.1, Onset: queries.LookHandling, Full: true, FullShare: 0.08},
		{UnitID: "U2", Date: "2026-07-04", HoldNo: 9, AboveShare: 0.2, Onset: "none", Together: true, PointsNear: 5, PointsMoved: 4},
		{UnitID: "U2", Date: "2026-07-04", HoldNo: 10, AboveShare: 0.2, Onset: "none"}}}
	checked := queries.SignatureCheckRow{Look: queries.LookPeriodic, Calls: 200, With: 40, WithFalse: 30, WithRate: 0.75, WithLow: 0.6, WithHigh: 0.87, WithEnough: true,
		Without: 160, WithoutFalse: 40, WithoutRate: 0.25, WithoutLow: 0.19, WithoutHigh: 0.33, WithoutEnough: true, Difference: 0.5, DifferenceLow: 0.33, DifferenceHigh: 0.64, Says: queries.LookMore}
	full := queries.SignatureCheckRow{Look: queries.LookFull, Calls: 200, With: 3, WithRate: 0, Without: 197, WithoutFalse: 70, WithoutRate: 0.36, WithoutLow: 0.29, WithoutHigh: 0.43, WithoutEnough: true, Says: queries.LookTooFew}
	b.SignatureCheck = []queries.SignatureCheckRow{checked, full}
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
	b.Signatures = queries.Signatures{Moved: b.Signatures.Moved[:1]}
	b.SignatureCheck = []queries.SignatureCheckRow{{Look: queries.LookPeriodic, Calls: 4, With: 1, Without: 3, Says: queries.LookTooFew}}
}

// quietLogs agree with all that was written.
func quietLogs(b *queries.Book) {
	b.LogMatch = []queries.LogMatchRow{{UnitID: "U1", Month: "2026-07", Readings: 1, Matched: 1, Holds: 1, HoldsMatched: 1, Days: 1, DaysKnown: 1, LargestOffset: queries.Unknown}}
	b.Signatures = queries.Signatures{Searched: 9, Moved: b.Signatures.Moved[1:]}
	b.SignatureCheck[0].Says = queries.LookNotShown
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
		{"looks", looksHeading, map[string]string{"strong": "Movement keeps time in 1 of 20 holds that were long enough to tell", "quiet": "Movement keeps time in none of 9 holds that were long enough to tell",
			"thin": "1 hold moved, none long enough to look for a period", "nothing": "No log exists, so no movement can be looked at"}},
		{"check of looks", lookCheckHeading, map[string]string{"strong": "False alarms are more frequent among calls with: “keeps time” (75% of 40 against 25% of 160)",
			"quiet": "No look is shown to go with more false alarms, of 200 checked active calls with a log", "thin": "Too few checked active calls with a log to say whether a look goes with false alarms: 4",
			"nothing": "No checked active call has a log yet, so no look can be set against findings"}},
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

func TestLookTexts(t *testing.T) {
	rows := foremostLooks(strong().Signatures.Moved)
	for i, want := range []string{"periodic movement, as a fan, pump or footsteps would give: every 2.0 s, q under 0.001, steadiness 0.97",
		"moved only as the hold began; 8.0% of it with a full scale", "4 of 5 points near moved as well"} {
		if got := lookText(rows[i]); got != want {
			t.Errorf("look %d says %q, want %q", i, got, want)
		}
	}
	if len(rows) != 3 {
		t.Errorf("%d holds with a look", len(rows))
	}
}

func TestLogOfInspection(t *testing.T) {
	b := strong()
	traces := []queries.TraceRow{
		{InspectionID: "I1", UnitID: "U1", Date: "2026-07-03", HoldNo: 1, Status: "matched", ReadingID: "R6", PointID: "P1", Call: "active", Gain: 3, HoldS: 30, BandPct: 12, OffsetS: 5},
		{InspectionID: "I1", UnitID: "U1", Date: "2026-07-03", HoldNo: 2, Minute: 3, Status: "matched", ReadingID: "R7", PointID: "P2", Call: "active", Gain: 4, HoldS: 30, BandPct: 12, AboveShare: 0.5, OffsetS: 5, Trace: "5 80 - 5"},
		{InspectionID: "I1", UnitID: "U1", Date: "2026-07-03", HoldNo: 3, Minute: 5, Status: "unrecorded", Gain: 4, HoldS: 30, BandPct: 12, AboveShare: 0.2, OffsetS: 5, Trace: "5 80"},
	}
	for i := range 30 {
		traces = append(traces, queries.TraceRow{InspectionID: "I1", UnitID: "U1", Date: "2026-07-03", HoldNo: int64(4 + i), Minute: queries.Figure(6 + i), Status: "matched", ReadingID: "R", PointID: "P9", Call: "clear", HoldS: 20})
	}
	v := visit{InspectionRow: queries.InspectionRow{InspectionID: "I1"}, traces: traces}
	s := v.logSection(b)
	if s.Heading != "The log shows 33 holds: 32 matched with a reading, 1 that nobody wrote down" {
		t.Error(s.Heading)
	}
	for _, want := range []string{"P2, gain 4, minute 3: periodic movement, as a fan, pump or footsteps would give: every 2.0 s, q under 0.001, steadiness 0.97.", "3 of 33 holds are drawn"} {
		if !slices.ContainsFunc(s.Paragraphs, func(p string) bool { return strings.Contains(p, want) }) {
			t.Errorf("no paragraph says %q: %q", want, s.Paragraphs)
		}
	}
	for _, want := range []string{"periodic: 2.0 s", "unrecorded;", "no movement above"} {
		if !strings.Contains(string(s.Figure), want) {
			t.Errorf("the figure does not say %q", want)
		}
	}
	if got := (visit{}).logSection(b).Heading; got != "No unit logged this inspection" {
		t.Error(got)
	}
	for _, r := range traces[:3] {
		r.Status = "matched"
		if got := logHeading([]queries.TraceRow{r}); got != "The log shows 1 hold, none left unrecorded" {
			t.Error(got)
		}
	}
}
