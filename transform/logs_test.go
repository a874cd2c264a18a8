package transform_test

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

// oneVisit is an inspection from 9 to 11 in Sydney; its readings follow.
const oneVisit = `
inspections.csv
inspection_id,site_id,region,technician_id,started_at,ended_at,purpose,outcome
1,A,S,T1,2026-03-02T09:00:00+11:00,2026-03-02T11:00:00+11:00,routine,clear
readings.csv
reading_id,inspection_id,unit_id,point_id,taken_at,material,gain,call
`

// hold writes samples of one hold, five a second from start on, with the level given by at.
func hold(unit string, start time.Time, seconds float64, gain int, at func(i int) float64) []string {
	var out []string
	for i := range int(seconds*5) + 1 {
		moment := start.Add(time.Duration(i) * 200 * time.Millisecond)
		out = append(out, fmt.Sprintf("%s,%s,true,%d,%g,%g", unit, moment.UTC().Format("2006-01-02T15:04:05.000Z"), gain, at(i), 80.0))
	}
	return out
}

// quiet is noise of two points of full scale.
func quiet(i int) float64 { return float64(8 + i%3) }

func logFile(samples ...[]string) string {
	return "unit_log.csv\nunit_id,logged_at,sensing,gain,level_pct,battery_pct\n" + strings.Join(join(samples), "\n") + "\n"
}

func join(parts [][]string) (out []string) {
	for _, p := range parts {
		out = append(out, p...)
	}
	return out
}

const holdsText = `SELECT unit_day || ' ' || hold_no || ' ' || spell_no || ' gain ' || gain || ' ' || hold_s || ' s, ' || samples || ' samples, peak ' || peak_pct || ', '
	|| above || ' above in ' || bursts FROM log_holds ORDER BY unit_id, unit_day, hold_no`

var nine = time.Date(2026, 3, 1, 22, 0, 0, 0, time.UTC) // in Sydney's summer time

func TestHolds(t *testing.T) {
	moving := func(i int) float64 {
		if i >= 10 && i < 20 || i >= 30 && i < 35 {
			return 50
		}
		return quiet(i)
	}
	first, second := hold("U1", nine, 20, 2, moving), hold("U1", nine.Add(30*time.Second), 20, 3, quiet)
	idle := strings.Split(strings.ReplaceAll(strings.Join(hold("U1", nine.Add(20200*time.Millisecond), 9, 2, quiet), "\n"), "true", "false"), "\n")
	cases := []struct {
		name    string
		samples [][]string
		want    []string
	}{
		{"two gains and the head off between", [][]string{first, idle, second}, []string{
			"2026-03-02 1 1 gain 2 20.0 s, 101 samples, peak 50.0, 15 above in 2", "2026-03-02 2 1 gain 3 20.0 s, 101 samples, peak 10.0, 0 above in 0"}},
		{"files out of order", [][]string{second, first}, []string{
			"2026-03-02 1 1 gain 2 20.0 s, 101 samples, peak 50.0, 15 above in 2", "2026-03-02 2 1 gain 3 20.0 s, 101 samples, peak 10.0, 0 above in 0"}},
		{"a leap of the clock ends hold and spell", [][]string{hold("U1", nine, 10, 2, quiet), hold("U1", nine.Add(time.Hour), 10, 2, quiet)}, []string{
			"2026-03-02 1 1 gain 2 10.0 s, 51 samples, peak 10.0, 0 above in 0", "2026-03-02 2 2 gain 2 10.0 s, 51 samples, peak 10.0, 0 above in 0"}},
		{"a short stretch is no hold", [][]string{hold("U1", nine, 1, 2, quiet)}, nil},
		{"midnight in Sydney", [][]string{hold("U1", time.Date(2026, 3, 2, 12, 59, 55, 0, time.UTC), 10, 2, quiet)}, []string{
			"2026-03-02 1 1 gain 2 10.0 s, 51 samples, peak 10.0, 0 above in 0"}},
		{"midnight in UTC", [][]string{hold("U1", time.Date(2026, 3, 1, 23, 59, 55, 0, time.UTC), 10, 2, quiet)}, []string{
			"2026-03-02 1 1 gain 2 10.0 s, 51 samples, peak 10.0, 0 above in 0"}},
		{"the hour that occurs twice when summer time ends", [][]string{hold("U1", time.Date(2026, 4, 4, 15, 59, 55, 0, time.UTC), 10, 2, quiet)}, []string{
			"2026-04-04 1 1 gain 2 10.0 s, 51 samples, peak 10.0, 0 above in 0"}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			e := facts(t, oneVisit+"R1,1,U1,P,2026-03-02T09:00:20+11:00,board,2,clear\n"+logFile(c.samples...))
			same(t, "holds", table(t, e, holdsText), c.want...)
		})
	}
}

const matchesText = `SELECT coalesce(reading_id, '-') || ' ' || coalesce(CAST(hold_no AS VARCHAR), '-') || ' ' || status || CASE WHEN NOT same_gain THEN ' other gain' ELSE '' END
	|| CASE WHEN NOT logged THEN ' no log that day' ELSE '' END FROM log_matches ORDER BY reading_id, hold_no`

func TestMatches(t *testing.T) {
	at := func(minute int) time.Time { return nine.Add(time.Duration(minute) * time.Minute) }
	read := func(id string, taken time.Time, gain int) string {
		return fmt.Sprintf("%s,1,U1,P%s,%s,board,%d,clear\n", id, id, taken.Format(time.RFC3339), gain)
	}
	uneven := []int{0, 3, 4, 9, 15, 17} // minutes with no beat
	var written string
	var logged, late [][]string
	for i, minute := range uneven {
		written += read(fmt.Sprint("R", i), at(minute).Add(25*time.Second), 2)
		logged = append(logged, hold("U1", at(minute), 20, 2, quiet))
		late = append(late, hold("U1", at(minute).Add(-17*time.Minute), 20, 2, quiet))
	}
	all := []string{"R0 1 matched", "R1 2 matched", "R2 3 matched", "R3 4 matched", "R4 5 matched", "R5 6 matched"}
	cases := []struct {
		name, readings string
		samples        [][]string
		want           []string
		offset         string
	}{
		{"plain", written, logged, all, "5.0 false"},
		{"a clock 17 minutes slow", written, late, all, "1025.0 true"},
		{"no hold for a reading", written + read("R9", at(40), 2), logged, append(all[:6:6], "R9 - no_log"), "5.0 false"},
		{"a hold nobody wrote down", written, append(logged[:6:6], hold("U1", at(40), 20, 2, quiet)), append(all[:6:6], "- 7 unrecorded"), "5.0 false"},
		{"a hold after hours", written, append(logged[:6:6], hold("U1", at(300), 20, 2, quiet)), append(all[:6:6], "- 7 outside"), "5.0 false"},
		{"another gain than written", written + read("R9", at(40).Add(25*time.Second), 3), append(logged[:6:6], hold("U1", at(40), 20, 2, quiet)), append(all[:6:6], "R9 7 matched other gain"), "5.0 false"},
		{"two readings at one moment", written + read("R9", at(17).Add(26*time.Second), 2), logged, append(all[:5:5], "R5 - ambiguous", "R9 - ambiguous", "- 6 ambiguous"), "5.0 false"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			e := facts(t, oneVisit+c.readings+logFile(c.samples...))
			same(t, "matches", table(t, e, matchesText), c.want...)
			same(t, "offset", table(t, e, "SELECT offset_s || ' ' || said FROM log_offsets"), c.offset)
		})
	}
}

func TestNoLog(t *testing.T) {
	visit := oneVisit + "R1,1,U1,P,2026-03-02T09:00:20+11:00,board,2,clear\n"
	same(t, "matches of a unit without a log", table(t, facts(t, visit), matchesText))
	nextDay := hold("U1", time.Date(2026, 3, 3, 9, 0, 0, 0, time.FixedZone("", 11*3600)), 20, 2, quiet)
	same(t, "matches of a day without a log", table(t, facts(t, visit+logFile(nextDay)), matchesText), "R1 - no_log no log that day", "- 1 outside")
}
