package transform_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"scanledger/ingest/store"
	"scanledger/transform"
	"scanledger/transform/engine"
	"scanledger/transform/settle"
)

const header = `
regions.csv
region,label,season_scheme,time_zone,latitude
S,South,south_four,Australia/Sydney,-27
N,North,north_four,America/New_York,27
W,Wet,south_wet_dry,Australia/Darwin,-12
M,Mirror,north_wet_dry,America/Panama,9
technicians.csv
technician_id,accredited_until
T1,2026-03-02
units.csv
unit_id,gain_min,gain_max,gain_start,service_due_on
U1,0,6,2,2026-03-01
materials.csv
material,density_class
board,light
`

// facts takes in files (a name line, then CSV, repeated) and makes the fact tables from them.
func facts(t *testing.T, files string) *engine.Engine {
	t.Helper()
	ctx, dir := context.Background(), t.TempDir()
	var current *os.File
	for _, line := range strings.Split(strings.TrimSpace(header+files), "\n") {
		if strings.HasSuffix(line, ".csv") {
			f, err := os.Create(filepath.Join(dir, line))
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { _ = f.Close() })
			current = f
			continue
		}
		if _, err := fmt.Fprintln(current, strings.TrimSpace(line)); err != nil {
			t.Fatal(err)
		}
	}
	storeDir := filepath.Join(t.TempDir(), "store")
	rep, err := settle.Load(ctx, storeDir, []string{dir}, settle.Options{ReceivedAt: time.Unix(0, 0)})
	if err != nil {
		t.Fatal(err)
	}
	if rep.Total.Accepted != rep.Total.Rows {
		t.Fatalf("not every row was accepted: %+v, %d rules broken", rep.Total, rep.Broken)
	}
	st, err := store.Open(storeDir)
	if err != nil {
		t.Fatal(err)
	}
	e, err := engine.Open(ctx, engine.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = e.Close() })
	if err := settle.Views(ctx, e, st, 1); err != nil {
		t.Fatal(err)
	}
	if _, err := transform.Facts(ctx, e, filepath.Join(t.TempDir(), "facts"), transform.Options{}, func(string) {}); err != nil {
		t.Fatal(err)
	}
	return e
}

// table runs a query of one text column and returns its rows.
func table(t *testing.T, e *engine.Engine, query string) []string {
	t.Helper()
	var out []string
	err := e.Each(context.Background(), query, nil, func(scan func(...any) error) error {
		var s string
		err := scan(&s)
		out = append(out, s)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func same(t *testing.T, what string, got []string, want ...string) {
	t.Helper()
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("%s:\ngot  %q\nwant %q", what, got, want)
	}
}

// TestSeasons: meteorological seasons are whole months, December to February being summer in the south
// and winter in the north (WMO and Bureau of Meteorology definition); DJF carries the year of its January.
// Dry season of northern Australia May to September (Bureau of Meteorology); its northern mirror is common
// practice, no source.
func TestSeasons(t *testing.T) {
	e := facts(t, `
inspections.csv
inspection_id,site_id,region,technician_id,started_at,purpose,outcome
1,A,S,T1,2024-01-01T12:00:00Z,routine,clear
2,A,N,T1,2024-01-01T12:00:00Z,routine,clear
3,A,S,T1,2024-02-29T12:00:00+11:00,routine,clear
4,A,N,T1,2023-12-31T23:30:00-05:00,routine,clear
5,A,S,T1,2024-02-29T14:00:00Z,routine,clear
6,A,W,T1,2024-05-01T00:00:00+09:30,routine,clear
7,A,W,T1,2023-12-01T00:00:00+09:30,routine,clear
8,A,M,T1,2024-05-01T00:00:00-05:00,routine,clear
9,A,M,T1,2023-12-01T00:00:00-05:00,routine,clear
10,A,S,T1,2024-03-31T23:30:00,routine,clear
`)
	same(t, "month season year", table(t, e, "SELECT inspection_id || ' ' || month || ' ' || season || ' ' || season_year FROM visits ORDER BY CAST(inspection_id AS INTEGER)"),
		"1 2024-01 summer 2024", "2 2024-01 winter 2024", "3 2024-02 summer 2024", "4 2023-12 winter 2024",
		"5 2024-03 autumn 2024", // 29 February in UTC, 1 March in Sydney's summer time
		"6 2024-05 dry 2024", "7 2023-12 wet 2024", "8 2024-05 wet 2024", "9 2023-12 dry 2024",
		"10 2024-03 autumn 2024")
}

func TestCircumstances(t *testing.T) {
	e := facts(t, `
inspections.csv
inspection_id,site_id,region,technician_id,started_at,purpose,outcome,wind_kmh
1,A,S,T1,2026-03-01T23:00:00+11:00,routine,clear,14.9
2,A,S,T1,2026-03-03T09:00:00+11:00,routine,clear,
readings.csv
reading_id,inspection_id,unit_id,point_id,taken_at,material,gain,call,thickness_mm,control
1,1,U1,P,2026-03-01T23:05:00+11:00,board,3,clear,15,
2,2,U1,P,2026-03-03T09:05:00+11:00,board,6,clear,15.1,true
`)
	same(t, "visits", table(t, e, "SELECT inspection_id || ' ' || accredited || ' ' || wind_band FROM visits ORDER BY inspection_id"), "1 yes under 15", "2 no unknown")
	same(t, "readings", table(t, e, "SELECT reading_id || ' ' || unit_overdue || ' ' || thickness_band || ' ' || gain_share || ' ' || control FROM readings ORDER BY reading_id"),
		"1 no up to 15 0.5 false", "2 yes over 15 to 30 1.0 true")
}

// TestTruth follows the definition of truth in the record contract, one point a case.
func TestTruth(t *testing.T) {
	cases := []struct{ calls, findings, want string }{
		{"clear active", "2026-03-02 opened active", "active active decisive"},
		{"active", "2026-05-01 drilled nothing", "active not_active decisive false alarm"}, // day 60
		{"active", "2026-05-02 drilled nothing", "active unverified none"},                 // day 61
		{"active", "2026-03-01 drilled nothing", "active unverified none"},                 // the day before
		{"clear", "2026-03-05 opened nothing;2026-03-20 borescope active", "clear active decisive missed"},
		{"active", "2026-03-05 return_visit nothing", "active unverified none"}, // not decisive
		{"clear", "2026-03-05 occupant_report active", "clear active report missed"},
		{"clear", "2026-03-05 occupant_report active;2026-03-06 opened old_damage", "clear not_active decisive"},
		{"active unsure", "", "active unverified none"},
		{"unsure unsure", "2026-03-05 opened active", "unsure active decisive"},
		{"active clear", "2026-03-05 opened other_movement", "clear not_active decisive"},
	}
	readings := "readings.csv\nreading_id,inspection_id,unit_id,point_id,taken_at,material,gain,call,control\n"
	findings := "findings.csv\nfinding_id,site_id,point_id,found_on,method,result\nx,A,nowhere,2026-03-02,opened,active\n"
	var want []string
	for i, c := range cases {
		for j, call := range append(strings.Fields(c.calls), "clear") {
			control := j == len(strings.Fields(c.calls)) // a control reading comes last and does not count
			readings += fmt.Sprintf("%d-%d,1,U1,P%02d,2026-03-02T09:%02d:00+11:00,board,%d,%s,%v\n", i, j, i, 10+j, j, call, control)
		}
		for j, f := range strings.Split(c.findings, ";") {
			if f != "" {
				findings += fmt.Sprintf("%d-%d,A,P%02d,%s\n", i, j, i, strings.ReplaceAll(f, " ", ","))
			}
		}
		want = append(want, fmt.Sprintf("P%02d %s", i, c.want))
	}
	e := facts(t, "inspections.csv\ninspection_id,site_id,region,technician_id,started_at,purpose,outcome\n"+
		"1,A,S,T1,2026-03-02T09:00:00+11:00,routine,clear\n"+readings+findings)
	same(t, "point-visits", table(t, e, `SELECT point_id || ' ' || call || ' ' || truth || ' ' || verified_by
		|| CASE WHEN false_alarm THEN ' false alarm' ELSE '' END || CASE WHEN missed THEN ' missed' ELSE '' END
		FROM point_visits ORDER BY point_id`), want...)
}

// TestCalledElsewhere: a point that another visit called active within 60 days is opened for that call.
func TestCalledElsewhere(t *testing.T) {
	e := facts(t, `
inspections.csv
inspection_id,site_id,region,technician_id,started_at,purpose,outcome
1,A,S,T1,2026-01-02T09:00:00+11:00,routine,clear
2,A,S,T1,2026-03-03T09:00:00+11:00,routine,active
3,A,S,T1,2026-05-03T09:00:00+10:00,routine,clear
4,B,S,T1,2026-03-04T09:00:00+11:00,routine,clear
readings.csv
reading_id,inspection_id,unit_id,point_id,taken_at,material,gain,call
1,1,U1,P,2026-01-02T09:05:00+11:00,board,3,clear
2,2,U1,P,2026-03-03T09:05:00+11:00,board,3,active
3,2,U1,Q,2026-03-03T09:06:00+11:00,board,3,clear
4,3,U1,P,2026-05-03T09:05:00+10:00,board,3,clear
5,4,U1,P,2026-03-04T09:05:00+11:00,board,3,clear
`)
	same(t, "called elsewhere", table(t, e, "SELECT inspection_id || point_id || ' ' || called_elsewhere FROM point_visits ORDER BY inspection_id, point_id"),
		"1P true", "2P false", "2Q false", "3P false", "4P false") // 60 days before, 61 days after, another point, another site
}
