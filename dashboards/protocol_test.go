package dashboards

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"scanledger/queries"
	"scanledger/transform/protocol"
)

// habitsOf gives a book habits: T1 holds too short, an inspection with a missed point and a false alarm, and
// what is open.
func habitsOf(b *queries.Book) {
	row := func(check, tech string, chances, breaches int64, others queries.Figure, standing string) queries.ProtocolRow {
		rate := queries.Figure(float64(breaches) / float64(chances))
		return queries.ProtocolRow{Check: check, TechnicianID: tech, Chances: chances, Breaches: breaches, Rate: rate, Low: rate * 0.8, High: rate*1.1 + 0.01, Sites: 9,
			DesignEffect: 1.4, Others: others, P: 0.5, Q: 0.5, Enough: chances >= 30, Standing: standing}
	}
	few := row("high_gain_only", "T1", 4, 1, 0, "")
	few.Q, few.WhyNot = queries.Unknown, "fewer cases than the floor"
	b.Protocol = []queries.ProtocolRow{few,
		row("short_hold", "T1", 200, 120, 0.02, queries.Act), row("short_hold", "T2", 210, 4, 0.6, queries.InLine),
		row("no_control", "T1", 60, 20, 0.3, queries.InLine), row("no_control", "T2", 50, 15, 0.33, queries.Watch)}
	b.Breaches = []queries.BreachRow{
		{Check: "short_hold", TechnicianID: "T1", SiteID: "A", InspectionID: "I1", PointID: "P1", ReadingID: "R1", Date: "2026-08-02", Seen: "held 6.1 s", Asked: "at least 15 s"},
		{Check: "short_hold", TechnicianID: "T1", SiteID: "A", InspectionID: "I2", PointID: "P1", ReadingID: "R9", Date: "2026-08-03", Seen: "held 5 s", Asked: "at least 15 s"},
		{Check: "no_control", TechnicianID: "T2", SiteID: "B", InspectionID: "I3", Date: "2026-08-01", Seen: "2 points called active, no control reading", Asked: "a reading on a place known to be clear"},
	}
	b.Digits = []queries.DigitRow{{TechnicianID: "T1", Model: "M1", Place: "tenths", Levels: 500, D0: 250, D5: 250, Q: 0.0001, Size: 2, Enough: true, Standing: queries.Act},
		{TechnicianID: "T2", Model: "M1", Place: "tenths", Levels: 500, D0: 50, D1: 50, D2: 50, D3: 50, D4: 50, D5: 50, D6: 50, D7: 50, D8: 50, D9: 50, Q: 0.9, Size: 0, Enough: true, Standing: queries.InLine}}
	b.Paged = []string{"I1"}
	b.Inspections = []queries.InspectionRow{
		{InspectionID: "I1", SiteID: "A", TechnicianID: "T1", Region: "N", Date: "2026-08-02", Start: "09:10", Minutes: 34, Purpose: "pre_purchase", Outcome: "active", AirTempC: 21.5, WindKmh: queries.Unknown,
			Areas: "roof void: hot", Units: "U1", Readings: 4, Controls: 1, Points: 2, CalledActive: 1, FalseAlarms: 1, Missed: 1, Breaches: 1, Checks: "short_hold", Weight: 19, Page: true},
		{InspectionID: "I2", SiteID: "A", TechnicianID: "T1", Region: "N", Date: "2026-08-03", Start: "11:00", Minutes: queries.Unknown, AirTempC: queries.Unknown, WindKmh: 12, FalseAlarms: 1, Points: 1, Weight: 6}}
	read := func(point, id string, minute queries.Figure, gain int, call, pointCall string, set func(r *queries.InspectionReadingRow)) queries.InspectionReadingRow {
		r := queries.InspectionReadingRow{InspectionID: "I1", PointID: point, ReadingID: id, Minute: minute, UnitID: "U1", Material: "board", ThicknessMM: 13, Gain: gain, HoldS: 20, LevelPct: 4, Call: call,
			BatteryPct: 80, PointCall: pointCall, Truth: "unverified", VerifiedBy: "none"}
		set(&r)
		return r
	}
	alarm := func(r *queries.InspectionReadingRow) {
		r.Truth, r.VerifiedBy, r.Found, r.Cause, r.Method, r.DaysToFinding = "not_active", "decisive", "other_movement", "water_pipe", "opened", ptr[int64](3)
	}
	miss := func(r *queries.InspectionReadingRow) {
		r.Truth, r.VerifiedBy, r.Found, r.Method, r.DaysToFinding, r.LevelPct = "active", "decisive", "active", "borescope", ptr[int64](1), queries.Unknown
	}
	b.InspectionReadings = []queries.InspectionReadingRow{
		read("K", "R0", 3, 2, "clear", "", func(r *queries.InspectionReadingRow) { r.Control = true }),
		read("P1", "R1", 5.5, 2, "unsure", "active", alarm), read("P1", "R2", 7, 3, "active", "active", alarm), read("P2", "R3", 9, 2, "clear", "clear", miss),
	}
	b.Matters = []queries.MatterRow{
		{Matter: "missed_point", Consequence: 6, Subject: "P2", TechnicianID: "T1", InspectionID: "I1", Cases: 1, Of: 1, Text: "Called clear on 2026-08-02; activity found one day later (borescope).", Evidence: "auditor.html#inspections"},
		{Matter: "missed_point", Consequence: 6, Subject: "P2", TechnicianID: "T1", InspectionID: "I7", Cases: 1, Of: 1, Text: "Called clear on 2026-08-02; activity found one day later (borescope).", Evidence: "auditor.html#inspections"},
		{Matter: "protocol", Consequence: 3, Subject: "short_hold", TechnicianID: "T1", Cases: 120, Of: 200, Text: "Hold too short: 120 of 200.", Evidence: "protocol.html#short_hold"},
		{Matter: "consistency", Consequence: 7, Subject: "false_alarms", TechnicianID: "T1", Cases: 33, Of: 60, Text: "33 of 60.", Evidence: "technicians.html#false_alarms"},
		{Matter: "pattern", Consequence: 6, Subject: "Board, wind 35 km/h or more", Cases: 22, Of: 40, Text: "22 of 40 checked calls were wrong where 9.6 would be expected (by chance 5 to 15).", Evidence: "patterns.html#pattern-1"},
		{Matter: "rejected_rows", Consequence: 2, Subject: "readings.csv", Cases: 4, Of: 1010, Text: "4 of 1010 rows were rejected and count in no figure.", Evidence: "quality.html#files"},
	}
}

// fewHabits is habitsOf with too few chances everywhere.
func fewHabits(b *queries.Book) {
	for i := range b.Protocol {
		b.Protocol[i].Enough, b.Protocol[i].Standing, b.Protocol[i].Q = false, "", queries.Unknown
	}
	for i := range b.Digits {
		b.Digits[i].Enough, b.Digits[i].Standing = false, ""
	}
}

// sameHabits is habitsOf with nobody apart from the others.
func sameHabits(b *queries.Book) {
	for i := range b.Protocol {
		if b.Protocol[i].Standing != "" {
			b.Protocol[i].Standing = queries.InLine
		}
	}
	for i := range b.Digits {
		b.Digits[i].Standing = queries.InLine
	}
}

func TestProtocolHeadings(t *testing.T) {
	short, _ := protocol.Lookup("short_hold")
	headings := []struct {
		name string
		of   func(b *queries.Book) string
		want map[string]string
	}{
		{"protocol", protocolHeading, map[string]string{"strong": "On 1 of 2 checks someone breaches clearly more often than the others",
			"level": "On none of 2 checks does anyone breach clearly more often than the others", "thin": "Too few chances to compare how technicians work",
			"nothing": "No check has had a chance to be breached yet"}},
		{"habits", habitsHeading, map[string]string{"strong": "1 habit stands out, 1 to watch", "level": "No technician stands out on any check", "thin": "No technician stands out on any check",
			"nothing": "There is nothing to compare yet"}},
		{"check", func(b *queries.Book) string { return checkHeading(short, ofCheck(b, "short_hold")) }, map[string]string{
			"strong": "Hold too short: 124 of 410; clearly more often by T1 than by the others", "level": "Hold too short: 124 of 410", "thin": "Hold too short: 124 of 410", "nothing": "Hold too short: 0 of 0"}},
		{"compared", func(b *queries.Book) string { return comparedHeading(ofCheck(b, "short_hold")) }, map[string]string{
			"strong": "1 of 2 technicians stand out", "level": "None of 2 technicians stands out", "thin": "Nobody is judged by this check", "nothing": "Nobody is judged by this check"}},
		{"digits", digitsHeading, map[string]string{"strong": "Last digits of levels: 1 of 2 technicians differ from the others", "level": "Last digits of levels: nobody of 2 differs from the others",
			"thin": "Too few levels to judge their last digits", "nothing": "Too few levels to judge their last digits"}},
		{"matters", mattersHeading, map[string]string{"strong": "6 matters are open, 1 of consequence 7 or more", "level": "6 matters are open, 1 of consequence 7 or more",
			"thin": "6 matters are open, 1 of consequence 7 or more", "nothing": "No matter is open"}},
		{"inspections", inspectionsHeading, map[string]string{"strong": "2 inspections are flagged: 1 with a missed point, 2 with a false alarm", "level": "2 inspections are flagged: 1 with a missed point, 2 with a false alarm",
			"thin": "2 inspections are flagged: 1 with a missed point, 2 with a false alarm", "nothing": "No inspection is flagged"}},
	}
	for _, h := range headings {
		for name, b := range books() {
			if got := h.of(b); got != h.want[name] {
				t.Errorf("%s, %s figures:\ngot  %q\nwant %q", h.name, name, got, h.want[name])
			}
		}
	}
}

func TestInspectionHeadings(t *testing.T) {
	for want, v := range map[string]visit{
		"I1: 1 point called clear was found active, 2 active calls were found to be something else": {InspectionRow: queries.InspectionRow{InspectionID: "I1", Missed: 1, FalseAlarms: 2, Breaches: 9}},
		"I1: 1 active call was found to be something else, 1 breach of the protocol":                {InspectionRow: queries.InspectionRow{InspectionID: "I1", FalseAlarms: 1, Breaches: 1}},
		"I1: 2 points drawn for an audit": {InspectionRow: queries.InspectionRow{InspectionID: "I1", Sampled: 2}},
		"I1: 3 breaches of the protocol":  {InspectionRow: queries.InspectionRow{InspectionID: "I1", Breaches: 3}},
	} {
		if got := v.heading(); got != want {
			t.Errorf("got  %q\nwant %q", got, want)
		}
	}
	for want, r := range map[string]queries.InspectionRow{"No point was read": {Controls: 1}, "1 reading at 1 point, no control reading": {Readings: 1, Points: 1}, "9 readings at 3 points, 2 control readings": {Readings: 9, Points: 3, Controls: 2}} {
		if got := stripHeading(r); got != want {
			t.Errorf("got  %q\nwant %q", got, want)
		}
	}
	for want, r := range map[string]queries.InspectionRow{"When the visit ended is not recorded": {Minutes: queries.Unknown, Points: 3}, "The visit took 30 minutes, 10.0 a point": {Minutes: 30, Points: 3}, "The visit took 30 minutes": {Minutes: 30}} {
		if got := tookHeading(r); got != want {
			t.Errorf("got  %q\nwant %q", got, want)
		}
	}
	if got := breachHeading(nil); got != "No check was breached" {
		t.Error(got)
	}
	if got := breachHeading(strong().Breaches); got != "2 checks were breached, 3 times in all" {
		t.Error(got)
	}
}

// TestManyBreachesStaySmall: thousands of breaches, points and matters by many technicians still make pages
// that open, and the pages say how many more there are.
func TestManyBreachesStaySmall(t *testing.T) {
	b := strong()
	row, breach, inspection, reading, matter, digits := b.Protocol[1], b.Breaches[0], b.Inspections[0], b.InspectionReadings[1], b.Matters[0], b.Digits[0]
	b.Protocol, b.Breaches, b.Matters, b.Digits = nil, nil, nil, nil
	for _, c := range protocol.Checks {
		for tech := range 900 {
			row.Check, row.TechnicianID, row.Standing = c.ID, fmt.Sprintf("T%05d", tech), []string{queries.InLine, queries.Watch}[tech%2]
			b.Protocol = append(b.Protocol, row)
			for i := range 3 {
				breach.Check, breach.TechnicianID, breach.Date = c.ID, row.TechnicianID, fmt.Sprintf("2026-08-%02d", i+1)
				b.Breaches = append(b.Breaches, breach)
			}
		}
	}
	for i := range 3000 {
		reading.PointID, reading.ReadingID = fmt.Sprintf("P%d", i/2), fmt.Sprintf("RR%d", i)
		inspection.InspectionID, inspection.Page = fmt.Sprintf("J%05d", i), i < 3
		digits.TechnicianID = fmt.Sprintf("T%05d", i)
		b.InspectionReadings, b.Inspections, b.Matters, b.Digits = append(b.InspectionReadings, reading), append(b.Inspections, inspection), append(b.Matters, matter), append(b.Digits, digits)
	}
	dir := t.TempDir()
	if err := Write(dir, b, Business{Name: "House"}); err != nil {
		t.Fatal(err)
	}
	for name, more := range map[string]string{"protocol.html": "880 others are in the CSV", "auditor.html": "2980 more are in the CSV", pageFile("check", "short_hold"): "2100 more are in the CSV", pageFile("inspection", "I1"): "The first 300; the CSV below holds all."} {
		raw, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		if len(raw) > 400<<10 {
			t.Errorf("%s: %d kB", name, len(raw)>>10)
		}
		if !bytes.Contains(bytes.ReplaceAll(raw, []byte("\u202f"), nil), []byte(more)) {
			t.Errorf("%s does not say %q", name, more)
		}
	}
}

func TestSubjectPagesAgainstGolden(t *testing.T) {
	b := strong()
	const evil = `"><script>alert(1)</script>'&{{.}}`
	for _, p := range allPages(b, Business{}) {
		if p.Parent == "" {
			continue
		}
		raw, err := Render(Site{Business: "House", AsOf: b.AsOf, Caution: caution}, p)
		if err != nil {
			t.Fatal(err)
		}
		raw = said(raw)
		if !bytes.Contains(raw, []byte("A clear reading never proves absence")) || forbidden.Match(raw) || bytes.Contains(raw, []byte("NaN")) {
			t.Errorf("%s: lacks its caution, or says too much", p.File)
		}
		if strings.HasPrefix(p.File, "inspection-") || p.File == pageFile("check", "short_hold") {
			golden(t, p.File, raw)
		}
	}
	b.Breaches[0].Seen, b.Inspections[0].Areas, b.InspectionReadings[1].PointID, b.Inspections[0].TechnicianID = evil, evil, evil, evil
	for _, p := range allPages(b, Business{}) {
		if raw, err := Render(Site{}, p); err != nil || bytes.Contains(raw, []byte("<script>alert")) {
			t.Errorf("%s: hostile text came through as markup (%v)", p.File, err)
		}
	}
}

func TestInspectionLinksOnlyWhereThereIsAPage(t *testing.T) {
	b := strong()
	if got := inspectionLink(b, "I1"); got != pageFile("inspection", "I1") {
		t.Errorf("I1: %q", got)
	}
	for _, id := range []string{"I2", "I3", ""} {
		if got := inspectionLink(b, id); got != "" {
			t.Errorf("%q has no page, yet a link to %s", id, got)
		}
	}
}

// TestNewestTakesTurns: one with many breaches does not crowd out the others.
func TestNewestTakesTurns(t *testing.T) {
	var rows []queries.BreachRow
	for i := range 9 {
		rows = append(rows, queries.BreachRow{TechnicianID: "A", Date: fmt.Sprint(i)})
	}
	rows = append(rows, queries.BreachRow{TechnicianID: "B", Date: "7"})
	var got []string
	for _, r := range newest(rows, 4) {
		got = append(got, r.TechnicianID+r.Date)
	}
	if want := "A8 A7 A6 B7"; strings.Join(got, " ") != want {
		t.Errorf("got %v, want %s", got, want)
	}
	if len(newest(rows, 50)) != 10 || newest(nil, 5) != nil {
		t.Error("all of them, or none, are not as many as there are")
	}
}
