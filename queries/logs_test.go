package queries

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// logged is one hold of 20 s: what the reading of it says, and what its log says. Written call "" is a hold
// that nobody wrote down.
type logged struct {
	call             string
	gain, loggedGain int
	holdS            float64
	level            float64 // written
	moves            bool
}

const sampleHeader = "unit_id,logged_at,sensing,gain,level_pct,battery_pct\n"

// samplesOf are the samples of a hold of 20 s, five a second; those in [from, to) are far above the others.
func samplesOf(unit string, start time.Time, gain, battery, from, to int) string {
	var out strings.Builder
	for k := range 101 {
		level := 8 + k%3
		if from <= k && k < to {
			level = 60
		}
		fmt.Fprintf(&out, "%s,%s,true,%d,%d,%d\n", unit, start.Add(time.Duration(k)*200*time.Millisecond).Format("2006-01-02T15:04:05.000Z"), gain, level, battery)
	}
	return out.String()
}

// logBook takes in one inspection with the holds, two minutes apart and a little more each time, the unit's clock
// slow by so much, and analyses it.
func logBook(t *testing.T, holds []logged, slow time.Duration) *Book {
	t.Helper()
	dir, nine := t.TempDir(), time.Date(2026, 3, 1, 22, 0, 0, 0, time.UTC)
	readings, samples := &strings.Builder{}, &strings.Builder{}
	readings.WriteString("reading_id,inspection_id,unit_id,point_id,taken_at,material,gain,hold_s,level_pct,call\n")
	samples.WriteString(sampleHeader)
	at := nine
	for i, h := range holds {
		at = at.Add(2*time.Minute + time.Duration(i*i%7*11)*time.Second)
		from, to := 0, 0
		if h.moves {
			from, to = 20, 80
		}
		samples.WriteString(samplesOf("U1", at.Add(-slow), h.loggedGain, 90-i, from, to))
		if h.call != "" {
			fmt.Fprintf(readings, "R%d,I1,U1,P%d,%s,board,%d,%g,%g,%s\n", i, i, at.Add(24*time.Second).Format(time.RFC3339), h.gain, h.holdS, h.level, h.call)
		}
	}
	files := map[string]string{"inspections.csv": "inspection_id,site_id,region,technician_id,started_at,purpose,outcome\nI1,A,S,T1,2026-03-02T09:00:00+11:00,routine,clear\n",
		"readings.csv": readings.String(), "unit_log.csv": samples.String()}
	for name, content := range referenceFiles {
		files[name] = content
	}
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	b, _ := analyseFolder(t, dir, Options{AsOf: time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)})
	return b
}

// plain are quiet holds that their readings agree with.
func plain(n int) (out []logged) {
	for range n {
		out = append(out, logged{call: "clear", gain: 3, loggedGain: 3, holdS: 20, level: 10})
	}
	return out
}

func TestContradictions(t *testing.T) {
	cases := []struct {
		name string
		odd  logged
		want string // kinds with what was written and logged
	}{
		{"agrees", logged{"clear", 3, 3, 20, 10, false}, ""},
		{"active and moving", logged{"active", 3, 3, 20, 60, true}, ""},
		{"active, nothing moved", logged{"active", 3, 3, 20, 10, false}, "active_without_movement active 0"},
		{"clear, much moved", logged{"clear", 3, 3, 20, 60, true}, "clear_with_movement clear 0.594059405940594"},
		{"shorter than written", logged{"clear", 3, 3, 40, 10, false}, "short_hold 40.0 20"},
		{"within what is borne", logged{"clear", 3, 3, 24, 15, false}, ""},
		{"another gain", logged{"clear", 4, 3, 20, 10, false}, "other_gain 4 3"},
		{"another level", logged{"clear", 3, 3, 20, 45, false}, "other_level 45.0 10"},
		{"not written down", logged{"", 3, 3, 20, 10, false}, "unrecorded_hold  20"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			b := logBook(t, append(append(plain(4), c.odd), plain(3)...), 10*time.Minute)
			var got []string
			for _, r := range b.Contradictions {
				got = append(got, fmt.Sprintf("%s %s %g", r.Kind, r.Written, float64(r.Logged)))
			}
			if strings.Join(got, "; ") != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
			m := b.LogMatch[0]
			if m.DaysOff != 1 || m.LargestOffset != 604 || m.Readings != m.Matched+m.NoLog+m.Ambiguous || m.Holds != m.HoldsMatched+m.Unrecorded+m.HoldsAmbiguous+m.Outside || m.Holds != 8 {
				t.Errorf("match %+v", m)
			}
		})
	}
}

// TestHabits: a charge is judged only from twenty unit-days on, and only where its whole interval is unusual.
func TestHabits(t *testing.T) {
	day := func(hours int64, drop int64, idle string) loggedDay {
		return loggedDay{unit: "U1", spells: 1, ms: hours * 3600000, charged: true, batteryMS: hours * 3600000, milli: drop * 1000, idles: idle, leftOn: 1, leftOnMS: 1800000}
	}
	for _, c := range []struct {
		days  int
		drop  int64
		want  string
		hours Figure
	}{{19, 50, ChargeTooFew, Unknown}, {20, 44, ChargeUsual, 4.0 / 44 * 100}, {20, 80, ChargeShorter, 5}, {20, 20, ChargeLonger, 20}} {
		var days []loggedDay
		for range c.days {
			days = append(days, day(4, c.drop, "29.5"))
		}
		rows, err := logHabitsRows(days, nil)
		if err != nil || len(rows) != 1 {
			t.Fatal(rows, err)
		}
		if r := rows[0]; r.Charge != c.want || r.ChargeHours.Known() != c.hours.Known() || math.Abs(float64(r.ChargeHours-c.hours)) > 1e-9 || r.IdleMedian != 29.5 || r.LeftOn != int64(c.days) {
			t.Errorf("%d days with a fall of %d%%: %+v", c.days, c.drop, r)
		}
	}
}
