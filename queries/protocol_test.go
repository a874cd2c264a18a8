package queries

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"scanledger/transform/protocol"
)

// probe is one inspection of the protocol's tests: 60 minutes from 9:00 on a site of its own. The zero
// value of a field means nothing out of the ordinary.
type probe struct {
	name, site, date, tech, outcome, areas string
	minutes                                int
	readings                               []string // point mm:ss material gain hold level call, then unit=…, battery=… or control
}

// ledgerOf collects record files.
type ledgerOf struct {
	inspections, readings strings.Builder
	n                     int
}

func (l *ledgerOf) add(p probe) {
	or := func(a, b string) string {
		if a == "" {
			return b
		}
		return a
	}
	if p.minutes == 0 {
		p.minutes = 60
	}
	date := or(p.date, "2026-03-02")
	start, _ := time.Parse(time.RFC3339, date+"T09:00:00+11:00")
	fmt.Fprintf(&l.inspections, "%s,%s,S,%s,%s,%s,routine,\"%s\",%s\n", p.name, or(p.site, "site of "+p.name), or(p.tech, "T1"),
		start.Format(time.RFC3339), start.Add(time.Duration(p.minutes)*time.Minute).Format(time.RFC3339), p.areas, or(p.outcome, "clear"))
	for _, line := range p.readings {
		l.n++
		f := strings.Fields(line)
		unit, battery, control := "U1", "80", "false"
		for _, extra := range f[7:] {
			switch key, value, _ := strings.Cut(extra, "="); key {
			case "unit":
				unit = value
			case "battery":
				battery = value
			default:
				control = "true"
			}
		}
		fmt.Fprintf(&l.readings, "R%d,%s,%s,%s,%sT09:%s+11:00,%s,%s,%s,%s,%s,%s,%s\n", l.n, p.name, unit, f[0], date, f[1], f[2], f[3],
			strings.Trim(f[4], "-"), strings.Trim(f[5], "-"), f[6], battery, control)
	}
}

// crowd are inspections with nothing out of the ordinary, by whoever: enough levels for a usual threshold
// and for last digits. step parts the levels: 0.1 for those of a reader, 0.5 for one who rounds.
func (l *ledgerOf) crowd(tech string, sites int, step float64) {
	for i := range sites {
		level := func(j int, low float64) string { // never the same pair twice, every last digit as often
			return fmt.Sprintf("%.1f", low+step*float64((i*7+j*(3+i/10))%int(19.5/step)))
		}
		l.add(probe{name: fmt.Sprintf("%s-%d", tech, i), tech: tech, outcome: "active", readings: []string{
			"known 03:10 board 2 20 - clear control",
			"P1 05:20 board 2 20 " + level(0, 1) + " clear", "P1 06:30 board 3 20 " + level(1, 1) + " clear",
			"P2 09:40 board 3 20 " + level(2, 60) + " active", "P2 11:00 board 2 20 " + level(3, 60) + " active",
		}})
	}
}

// breaching is one inspection for each check that breaches it and nothing else; sound is one that has the same
// chance and breaches nothing.
func breaching() (breaching, sound []probe) {
	control := "known 03:10 board 2 20 - clear control"
	steps := func(levels ...string) []string {
		return []string{"P1 05:20 brick 2 20 " + levels[0] + " clear", "P1 06:30 brick 4 20 " + levels[1] + " clear"}
	}
	bad := func(p probe) { breaching = append(breaching, p) }
	good := func(p probe) { sound = append(sound, p) }
	bad(probe{name: "outcome_unbacked", outcome: "active", readings: steps("1.13", "2.17")})
	good(probe{name: "backed", outcome: "active", readings: []string{control, "P1 05:20 board 2 20 61.3 active", "P1 06:30 board 2 20 65.2 active"}})
	bad(probe{name: "no_readings"})
	good(probe{name: "no access", outcome: "inconclusive", areas: "all of it: gate locked"})
	bad(probe{name: "copied_levels", readings: []string{"P1 05:20 board 2 20 1.41 clear", "P1 06:30 board 3 20 2.43 clear", "P2 08:20 board 2 25 1.41 clear", "P2 09:30 board 3 30 2.43 clear"}})
	good(probe{name: "own levels", readings: []string{"P1 05:20 board 2 20 1.51 clear", "P1 06:30 board 3 20 2.53 clear", "P2 08:20 board 2 25 1.51 clear", "P2 09:30 board 3 30 2.55 clear"}})
	bad(probe{name: "against_level", readings: steps("1.61", "66.63")})
	good(probe{name: "near the threshold", readings: steps("1.71", "33.73")})
	bad(probe{name: "against_log", readings: []string{"P1 05:20 board 2 20 4.51 clear unit=U5"}})
	good(probe{name: "borne out by the log", date: "2026-03-20", readings: []string{"P1 05:20 board 2 20 4.61 clear unit=U5"}})
	bad(probe{name: "not_stepped_up", readings: []string{"P1 05:20 brick 2 20 1.81 clear", "P1 06:30 brick 3 20 2.83 clear"}})
	good(probe{name: "light stays low", readings: []string{"P1 05:20 board 2 20 1.91 clear"}})
	bad(probe{name: "unrepeated_active", outcome: "active", readings: []string{control, "P1 05:20 board 3 20 62.1 active"}})
	bad(probe{name: "high_gain_only", outcome: "active", readings: []string{control, "P1 05:20 board 2 20 2.01 clear", "P1 06:30 board 5 20 62.3 active", "P1 07:50 board 5 20 63.4 active"}})
	good(probe{name: "repeated lower", outcome: "active", readings: []string{control, "P1 05:20 board 2 20 2.11 clear", "P1 06:30 board 5 20 62.5 active", "P1 07:50 board 4 20 63.6 active"}})
	bad(probe{name: "left_unsure", outcome: "inconclusive", readings: []string{"P1 05:20 board 2 20 30.2 unsure", "P1 06:30 board 3 20 31.3 unsure"}})
	good(probe{name: "settled", readings: []string{"P1 05:20 board 2 20 30.4 unsure", "P1 06:30 board 3 20 2.21 clear"}})
	bad(probe{name: "start_step", readings: []string{"P1 05:20 board 5 20 2.31 clear"}})
	good(probe{name: "starts in guidance", readings: []string{"P1 05:20 brick 5 20 2.41 clear"}})
	bad(probe{name: "short_hold", readings: []string{"P1 05:20 board 2 14.9 2.51 clear"}})
	good(probe{name: "long enough", readings: []string{"P1 05:20 board 2 15 2.61 clear", "P2 09:20 board 2 - 2.62 clear"}})
	bad(probe{name: "too_close", readings: []string{"P1 05:20 board 2 20 2.71 clear", "P2 05:43 board 2 30 2.72 clear"}})
	good(probe{name: "moved", readings: []string{"P1 05:20 board 2 20 2.81 clear", "P2 05:45 board 2 30 2.82 clear", "P2 06:10 board 3 20 2.83 clear", "P2 06:20 board 4 20 2.84 clear unit=U2"}})
	good(probe{name: "whole minutes", readings: []string{"P1 05:00 board 2 70 2.91 clear", "P2 06:00 board 2 70 2.92 clear"}})
	bad(probe{name: "short_visit", minutes: 9, readings: []string{"P1 01:20 board 2 20 3.01 clear", "P2 02:30 board 2 20 3.02 clear", "P3 03:40 board 2 20 3.03 clear", "P4 04:50 board 2 20 3.04 clear",
		"P5 05:20 board 2 20 3.05 clear", "P6 05:50 board 2 20 3.06 clear", "P7 06:20 board 2 20 3.07 clear", "P8 06:50 board 2 20 3.08 clear", "P9 07:20 board 2 20 3.09 clear", "P0 07:50 board 2 20 3.10 clear"}})
	good(probe{name: "brisk", minutes: 2, readings: []string{"P1 00:20 board 2 20 3.11 clear", "P2 01:00 board 2 20 3.12 clear"}})
	bad(probe{name: "no_control", outcome: "active", readings: []string{"P1 05:20 board 2 20 64.1 active", "P1 06:30 board 2 20 64.2 active"}})
	bad(probe{name: "areas_unexplained", areas: "roof void: hot\nsub-floor", readings: steps("3.21", "3.22")})
	good(probe{name: "explained", areas: "roof void: hot\nsub-floor - locked; garage (full)", readings: steps("3.31", "3.32")})
	bad(probe{name: "overdue_unit", readings: []string{"P1 05:20 board 2 20 3.41 clear unit=U3"}})
	good(probe{name: "due that day", readings: []string{"P1 05:20 board 2 20 3.51 clear unit=U4"}})
	bad(probe{name: "low_battery", readings: []string{"P1 05:20 board 2 20 3.61 clear battery=19.9"}})
	good(probe{name: "low but enough", readings: []string{"P1 05:20 board 2 20 3.71 clear battery=20"}})
	bad(probe{name: "lapsed_accreditation", tech: "T4", date: "2026-03-03", readings: steps("3.81", "3.82")})
	good(probe{name: "last day", tech: "T4", readings: steps("3.91", "3.92")})
	bad(probe{name: "own_finding", site: "seen again by the same", readings: steps("4.01", "4.02")})
	good(probe{name: "again by the same", site: "seen again by the same", date: "2026-03-20", readings: steps("4.11", "4.12")})
	good(probe{name: "seen by another", site: "seen again by another", readings: steps("4.21", "4.22")})
	good(probe{name: "again by another", site: "seen again by another", tech: "T2", date: "2026-03-20", readings: steps("4.31", "4.32")})
	return breaching, sound
}

func protocolBook(t *testing.T, opt Options) *Book {
	t.Helper()
	var l ledgerOf
	l.inspections.WriteString("inspection_id,site_id,region,technician_id,started_at,ended_at,purpose,areas_not_inspected,outcome\n")
	l.readings.WriteString("reading_id,inspection_id,unit_id,point_id,taken_at,material,gain,hold_s,level_pct,call,battery_pct,control\n")
	l.crowd("T1", 45, 0.1)
	l.crowd("T3", 35, 0.5)
	bad, good := breaching()
	for _, p := range append(bad, good...) {
		l.add(p)
	}
	files := map[string]string{
		"inspections.csv": l.inspections.String(), "readings.csv": l.readings.String(),
		"findings.csv":    "finding_id,site_id,point_id,found_on,method,result\nF1,seen again by the same,P1,2026-03-20,return_visit,nothing\nF2,seen again by another,P1,2026-03-20,return_visit,active\n",
		"unit_log.csv":    sampleHeader + samplesOf("U5", time.Date(2026, 3, 1, 22, 5, 0, 0, time.UTC), 2, 80, 60, 100) + samplesOf("U5", time.Date(2026, 3, 19, 22, 5, 0, 0, time.UTC), 2, 80, 0, 0),
		"regions.csv":     "region,season_scheme,time_zone\nS,south_four,Australia/Sydney\n",
		"technicians.csv": "technician_id,accredited_until\nT1,2030-01-01\nT2,\nT3,2030-01-01\nT4,2026-03-02\n",
		"units.csv":       "unit_id,model,gain_min,gain_max,gain_start,service_due_on\nU1,M1,0,6,2,2030-01-01\nU2,M1,0,6,2,\nU3,M1,0,6,2,2026-03-01\nU4,M1,0,6,2,2026-03-02\nU5,M1,0,6,2,2030-01-01\n",
		"materials.csv":   "material,density_class,gain_low,gain_high\nboard,light,2,4\nbrick,dense,4,6\n",
	}
	dir := t.TempDir()
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	opt.AsOf = time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)
	b, _ := analyseFolder(t, dir, opt)
	return b
}

// TestEachCheckThroughRecords: each inspection breaches the check it is named after and no other; the sound
// ones breach nothing, though they have the chance.
func TestEachCheckThroughRecords(t *testing.T) {
	b := protocolBook(t, Options{})
	found, seen := map[string][]string{}, map[string]string{}
	for _, r := range b.Breaches {
		found[r.InspectionID] = append(found[r.InspectionID], r.Check)
		seen[r.InspectionID] = r.Seen
		if r.Seen == "" || r.Asked == "" || r.TechnicianID == "" {
			t.Errorf("incomplete: %+v", r)
		}
	}
	if digits := found[""]; len(digits) != 2 || digits[0] != digitCheck {
		t.Errorf("last digits: %v, want 0 and 5 of the technician who rounds", digits)
	}
	delete(found, "")
	bad, good := breaching()
	checked := []string{digitCheck}
	for _, p := range bad {
		if !slices.Equal(found[p.name], []string{p.name}) {
			t.Errorf("%s: breaches %v (%s)", p.name, found[p.name], seen[p.name])
		}
		checked = append(checked, p.name)
		delete(found, p.name)
	}
	for id, checks := range found {
		t.Errorf("%s has nothing out of the ordinary, but breaches %v: %s", id, checks, seen[id])
	}
	for _, c := range protocol.Checks {
		if !slices.Contains(checked, c.ID) {
			t.Errorf("no record set breaches %s", c.ID)
		}
	}
	if len(good) < 15 {
		t.Errorf("only %d sound inspections", len(good))
	}
}

// TestProtocolCounts: rates are breaches by chances, breaches are as many as are listed, and a check that is
// switched off is gone from both.
func TestProtocolCounts(t *testing.T) {
	b := protocolBook(t, Options{Protocol: protocol.Settings{Off: []string{"short_hold", digitCheck}}})
	listed := map[[2]string]int64{}
	for _, r := range b.Breaches {
		listed[[2]string{r.Check, r.TechnicianID}]++
	}
	for _, r := range b.Protocol {
		if r.Check == "short_hold" || r.Check == digitCheck {
			t.Errorf("%s is switched off", r.Check)
		}
		if r.Breaches != listed[[2]string{r.Check, r.TechnicianID}] || r.Breaches > r.Chances || r.Chances == 0 {
			t.Errorf("%s, %s: %d breaches of %d, %d listed", r.Check, r.TechnicianID, r.Breaches, r.Chances, listed[[2]string{r.Check, r.TechnicianID}])
		}
		if (r.Sites > 1) != r.Low.Known() || r.Low > r.Rate || r.Rate > r.High || r.Enough != (r.Chances >= 30) || !r.Enough && r.Standing != "" {
			t.Errorf("%+v", r)
		}
		delete(listed, [2]string{r.Check, r.TechnicianID})
	}
	if len(listed) > 0 {
		t.Errorf("breaches without a row: %v", listed)
	}
	for check, want := range map[string]int64{"outcome_unbacked": 80 + 6, "lapsed_accreditation": 2, "own_finding": 2} {
		var chances int64
		for _, r := range b.Protocol {
			if r.Check == check && (check != "lapsed_accreditation" || r.TechnicianID == "T4") {
				chances += r.Chances
			}
		}
		if chances != want {
			t.Errorf("%s: %d chances, want %d", check, chances, want)
		}
	}
}

// TestSettingsMoveTheChecks: each setting reaches the records.
func TestSettingsMoveTheChecks(t *testing.T) {
	count := func(b *Book) map[string]int {
		out := map[string]int{}
		for _, r := range b.Breaches {
			out[r.Check]++
		}
		return out
	}
	usual := count(protocolBook(t, Options{}))
	strict := count(protocolBook(t, Options{Protocol: protocol.Settings{Values: map[string]float64{
		"hold_s": 20.5, "move_s": 600, "point_s": 1800, "battery_pct": 90}}}))
	for _, check := range []string{"short_hold", "too_close", "short_visit", "low_battery"} {
		if strict[check] <= usual[check] {
			t.Errorf("%s: %d breaches, with a stricter setting %d", check, usual[check], strict[check])
		}
	}
	lax := count(protocolBook(t, Options{Protocol: protocol.Settings{Values: map[string]float64{
		"hold_s": 1, "move_s": 0, "point_s": 1, "battery_pct": 1, "level_margin_pct": 90, "level_cases": 1e6, "copy_chance": 1e-9, "digit_levels": 1e6}}}))
	for _, check := range []string{"short_hold", "too_close", "short_visit", "low_battery", "against_level", "copied_levels", digitCheck} {
		if lax[check] >= usual[check] {
			t.Errorf("%s: %d breaches, with a laxer setting %d", check, usual[check], lax[check])
		}
	}
}
