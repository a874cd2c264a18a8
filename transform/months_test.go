package transform_test

import (
	"bytes"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"scanledger/ingest/store"
	"scanledger/transform"
	"scanledger/transform/engine"
	"scanledger/transform/settle"
)

// growing is a store that takes in files load by load.
type growing struct {
	t     *testing.T
	store string
	loads int
	bad   bool // rows may be rejected or wait
}

// load takes in files: a name line, then CSV, repeated.
func (g *growing) load(files string) {
	g.t.Helper()
	dir := g.t.TempDir()
	var name string
	content := map[string]string{}
	for line := range strings.Lines(strings.TrimSpace(files) + "\n") {
		if trimmed := strings.TrimSpace(line); strings.HasSuffix(trimmed, ".csv") {
			name = trimmed
			continue
		}
		content[name] += line
	}
	for name, text := range content {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			g.t.Fatal(err)
		}
	}
	rep, err := settle.Load(g.t.Context(), g.store, []string{dir}, settle.Options{ReceivedAt: time.Unix(0, 0)})
	if err != nil {
		g.t.Fatal(err)
	}
	if !g.bad && rep.Total.Rejected+rep.Total.Waiting > 0 {
		g.t.Fatalf("load %d: %+v", g.loads+1, rep.Total)
	}
	g.loads++
}

// facts makes the facts, with those in the folder earlier at hand.
func (g *growing) facts(earlier string, opt transform.Options) (dir string, made transform.Made) {
	g.t.Helper()
	st, err := store.Open(g.store)
	if err != nil {
		g.t.Fatal(err)
	}
	e, err := engine.Open(g.t.Context(), engine.Options{})
	if err != nil {
		g.t.Fatal(err)
	}
	defer func() { _ = e.Close() }()
	if err := settle.Views(g.t.Context(), e, st, g.loads); err != nil {
		g.t.Fatal(err)
	}
	dir, opt.Earlier = filepath.Join(g.t.TempDir(), "facts"), earlier
	if made, err = transform.Facts(g.t.Context(), e, dir, opt, func(string) {}); err != nil {
		g.t.Fatal(err)
	}
	return dir, made
}

// sameTree compares two folders byte by byte.
func sameTree(t *testing.T, got, want string) {
	t.Helper()
	if g, w := tree(t, got), tree(t, want); !slices.Equal(g, w) {
		t.Errorf("files\n %v\nnot\n %v", g, w)
	}
	for _, name := range tree(t, want) {
		a, errA := os.ReadFile(filepath.Join(got, name))
		b, errB := os.ReadFile(filepath.Join(want, name))
		if errA != nil || errB != nil || !bytes.Equal(a, b) {
			t.Errorf("%s differs: %v %v", name, errA, errB)
		}
	}
}

func tree(t *testing.T, dir string) (names []string) {
	t.Helper()
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			names = append(names, strings.TrimPrefix(path, dir))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return names
}

// monthOfVisits writes two inspections of the same two sites in a month of 2026, each with three points read four times or more. Those of the
// sixth month have the levels of the fourth.
func monthOfVisits(month int) string {
	var inspections, readings strings.Builder
	for v := range 2 {
		day := 5 + 9*v
		fmt.Fprintf(&inspections, "I%d-%d,S%d,S,T1,2026-%02d-%02dT09:00:00+11:00,2026-%02d-%02dT11:00:00+11:00,routine,clear\n", month, v, v, month, day, month, day)
		for k := range 13 {
			of := month
			if month == 6 { // copies from the fourth
				of = 4
			}
			call, level := "clear", 3+(5*k+11*of+7*v)%29
			if (k+of+v)%4 == 0 {
				call, level = "active", 60+(3*k+5*of+v)%31
			}
			fmt.Fprintf(&readings, "R%d-%d-%d,I%d-%d,U1,P%d,2026-%02d-%02dT09:%02d:00+11:00,board,%d,20,%d,%s\n", month, v, k, month, v, k%3, month, day, 5+2*k, 2+k/3, level, call)
		}
	}
	return fmt.Sprintf("inspections-%02d.csv\ninspection_id,site_id,region,technician_id,started_at,ended_at,purpose,outcome\n%s"+
		"readings-%02d.csv\nreading_id,inspection_id,unit_id,point_id,taken_at,material,gain,hold_s,level_pct,call\n%s", month, inspections.String(), month, readings.String())
}

func finding(id, site, point, found, result string) string {
	return fmt.Sprintf("findings-%s.csv\nfinding_id,site_id,point_id,found_on,method,result\n%s,%s,%s,%s,opened,%s\n", id, id, site, point, found, result)
}

// sameFile tells whether a month of a table was taken over and not made again.
func sameFile(t *testing.T, a, b, table, month string) bool {
	t.Helper()
	first, errA := os.Stat(filepath.Join(a, table, month+".parquet"))
	second, errB := os.Stat(filepath.Join(b, table, month+".parquet"))
	if errA != nil || errB != nil {
		t.Fatal(errA, errB)
	}
	return os.SameFile(first, second)
}

// TestMonthsAreMadeOnce: whatever comes in, in whatever order, facts made with those of an earlier run at hand have the bytes
// of facts made from nothing, and only the months that were touched have been read.
func TestMonthsAreMadeOnce(t *testing.T) {
	g := &growing{t: t, store: filepath.Join(t.TempDir(), "store")}
	first := header
	for month := 1; month <= 6; month++ {
		first += monthOfVisits(month)
	}
	g.load(first + finding("F1", "S0", "P1", "2026-02-20", "active"))
	before, made := g.facts("", transform.Options{})
	if made != (transform.Made{Months: 6, Fresh: 6}) {
		t.Errorf("made from nothing: %+v", made)
	}
	if n := breaches(t, before, "copied_levels", "2026-06"); n == 0 {
		t.Error("no levels are copied: nothing tells whether those of other months are seen")
	}
	for _, step := range []struct {
		what, files     string
		fresh           int
		touched, spared []string // months of point_visits
		bad             bool     // rows may be rejected or wait
	}{
		{"nothing new", "", 0, nil, []string{"2026-01", "2026-06"}, false},
		{"a month", monthOfVisits(7), 1, []string{"2026-07"}, []string{"2026-01", "2026-02", "2026-03"}, false},
		{"a late finding", finding("F2", "S0", "P0", "2026-05-10", "nothing"), 0, []string{"2026-05"}, []string{"2026-01", "2026-02", "2026-07"}, false},
		{"a finding corrected", finding("F2", "S0", "P0", "2026-05-10", "active"), 0, []string{"2026-05"}, []string{"2026-01", "2026-02", "2026-07"}, false},
		{"a reading corrected", "readings-again.csv\nreading_id,inspection_id,unit_id,point_id,taken_at,material,gain,hold_s,level_pct,call\n" +
			"R2-0-0,I2-0,U1,P0,2026-02-05T09:05:00+11:00,board,2,20,88,active\n", 1, []string{"2026-02"}, nil, false},
		{"a month of before", strings.ReplaceAll(monthOfVisits(12), "2026-12", "2025-12"), 1, []string{"2025-12"}, nil, false},
		{"someone new with a new unit", "technicians-new.csv\ntechnician_id,name,started_on\nT9,Nine,2026-01-01\n" +
			"units-new.csv\nunit_id,gain_min,gain_max,gain_start,service_due_on\nU9,0,6,2,2026-06-01\n", 0, nil, []string{"2026-01", "2026-04", "2026-07"}, false},
		{"a reading that waits for its unit", "readings-waiting.csv\nreading_id,inspection_id,unit_id,point_id,taken_at,material,gain,hold_s,level_pct,call\n" +
			"R4-W,I4-0,U8,P1,2026-04-05T09:50:00+11:00,board,2,20,90,active\n", 0, nil, []string{"2026-01", "2026-04", "2026-07"}, true},
		{"the unit", "units-late.csv\nunit_id,gain_min,gain_max,gain_start,service_due_on\nU8,0,6,2,2026-06-01\n", 1, []string{"2026-04"}, nil, false},
		{"an inspection of another technician", "inspections-again.csv\ninspection_id,site_id,region,technician_id,started_at,ended_at,purpose,outcome\n" +
			"I5-1,S1,S,T9,2026-05-14T09:00:00+11:00,2026-05-14T11:00:00+11:00,routine,clear\n", 1, []string{"2026-05"}, nil, false},
		{"an inspection in another month, without its readings", "inspections-moved.csv\ninspection_id,site_id,region,technician_id,started_at,ended_at,purpose,outcome\n" +
			"I1-1,S1,S,T1,2026-02-14T09:00:00+11:00,2026-02-14T11:00:00+11:00,routine,clear\n", 2, []string{"2026-01", "2026-02"}, []string{"2026-07"}, true},
		{"back again, and the readings with it", "inspections-back.csv\ninspection_id,site_id,region,technician_id,started_at,ended_at,purpose,outcome\n" +
			"I1-1,S1,S,T1,2026-01-14T09:00:00+11:00,2026-01-14T11:00:00+11:00,routine,active\n", 2, []string{"2026-01", "2026-02"}, []string{"2026-07"}, false},
		{"a reading of another inspection, of a month that is otherwise the same", "readings-other.csv\nreading_id,inspection_id,unit_id,point_id,taken_at,material,gain,hold_s,level_pct,call\n" +
			"R3-0-0,I6-0,U1,P0,2026-06-05T09:05:00+11:00,board,2,20,88,active\n", 2, []string{"2026-03", "2026-06"}, []string{"2026-01"}, false},
		{"a technician's name", "technicians-again.csv\ntechnician_id,name,started_on\nT9,Number Nine,2026-01-01\n", 1, []string{"2026-05"}, []string{"2026-01", "2026-07"}, false},
		{"a unit's service", "units-again.csv\nunit_id,gain_min,gain_max,gain_start,service_due_on\nU1,0,6,2,2026-06-01\n", 8, []string{"2026-01", "2026-07"}, nil, false},
	} {
		t.Run(step.what, func(t *testing.T) {
			g.t, g.bad = t, step.bad
			if step.files != "" {
				g.load(step.files)
			}
			after, made := g.facts(before, transform.Options{})
			whole, _ := g.facts("", transform.Options{})
			sameTree(t, after, whole)
			if made.Fresh != step.fresh {
				t.Errorf("readings of %d months were read again, not of %d", made.Fresh, step.fresh)
			}
			for _, month := range step.touched {
				if _, err := os.Stat(filepath.Join(before, "point_visits", month+".parquet")); err == nil && sameFile(t, before, after, "point_visits", month) {
					t.Errorf("%s was not made again", month)
				}
			}
			for _, month := range step.spared {
				if !sameFile(t, before, after, "point_visits", month) {
					t.Errorf("%s was made again", month)
				}
			}
			before = keep(t, g, after)
		})
	}
	t.Run("other settings", func(t *testing.T) {
		g.t = t
		after, made := g.facts(before, transform.Options{TruthDays: 30})
		whole, _ := g.facts("", transform.Options{TruthDays: 30})
		sameTree(t, after, whole)
		if made.Fresh != made.Months {
			t.Errorf("with other settings %d of %d months were read", made.Fresh, made.Months)
		}
	})
	t.Run("more sites than clusters", func(t *testing.T) {
		g.t = t
		after, made := g.facts(before, transform.Options{MostSites: 1})
		whole, _ := g.facts("", transform.Options{MostSites: 1})
		sameTree(t, after, whole)
		if made.Fresh != 0 || !sameFile(t, before, after, "point_visits", "2026-03") {
			t.Errorf("to count sites in groups, %d months were read again", made.Fresh)
		}
		for _, table := range []string{"people_counts", "check_counts"} {
			if sameFile(t, before, after, table, "2026-03") {
				t.Errorf("%s has the sites of before, not groups of them", table)
			}
		}
	})
	t.Run("half of what was before", func(t *testing.T) {
		g.t = t
		if err := os.Remove(filepath.Join(before, "point_visits", "2026-03.parquet")); err != nil {
			t.Fatal(err)
		}
		after, _ := g.facts(before, transform.Options{})
		whole, _ := g.facts("", transform.Options{})
		sameTree(t, after, whole)
	})
}

// breaches counts those of a month of a table of checks.
func breaches(t *testing.T, facts, table, month string) (n int) {
	t.Helper()
	e, err := engine.Open(t.Context(), engine.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = e.Close() }()
	query := "SELECT count(*) FROM read_parquet(" + engine.Quote(filepath.Join(facts, table, month+".parquet")) + ") WHERE breach"
	if err := e.Each(t.Context(), query, nil, func(scan func(...any) error) error { return scan(&n) }); err != nil {
		t.Fatal(err)
	}
	return n
}

// keep moves facts to where they outlive a subtest.
func keep(t *testing.T, g *growing, dir string) string {
	t.Helper()
	to := filepath.Join(filepath.Dir(g.store), fmt.Sprint("facts-", g.loads, "-", filepath.Base(filepath.Dir(dir))))
	if err := os.Rename(dir, to); err != nil {
		t.Fatal(err)
	}
	return to
}
