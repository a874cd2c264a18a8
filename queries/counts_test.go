package queries

import (
	"context"
	"fmt"
	"math"
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

// sums lists what each count table adds up to, beside the same from the rows it counts: the first query of each reads the count
// table. SITE,
// CIRCUMSTANCE and POOLED stand for the cluster of a row.
var sums = []struct{ table, counted, plain string }{
	{"inspection_counts",
		"SELECT month, inspection_id, CAST(readings AS BIGINT), CAST(controls AS BIGINT) FROM inspection_counts WHERE readings + controls > 0",
		"SELECT month, inspection_id, CAST(sum(CASE WHEN control THEN 0 ELSE readings END) AS BIGINT), CAST(sum(CASE WHEN control THEN readings ELSE 0 END) AS BIGINT) FROM reading_cells GROUP BY ALL"},
	{"inspection_counts",
		"SELECT month, inspection_id, site_key, points, active, clear, unsure, active_verified, confirmed, false_alarms, clear_verified, missed FROM inspection_counts WHERE points > 0",
		`SELECT month, inspection_id, site_key, count(*), count(*) FILTER (call = 'active'), count(*) FILTER (call = 'clear'), count(*) FILTER (call = 'unsure'),
			count(*) FILTER (call = 'active' AND verified_by = 'decisive'), count(*) FILTER (call = 'active' AND verified_by = 'decisive' AND truth = 'active'),
			count(*) FILTER (false_alarm AND verified_by = 'decisive'), count(*) FILTER (call = 'clear' AND verified_by = 'decisive'), count(*) FILTER (missed AND verified_by = 'decisive') FROM point_visits GROUP BY ALL`},
	{"call_counts",
		`SELECT month, site_key, material, season, region, n, active, unsure FROM call_counts WHERE "by" = 'circumstances'`,
		"SELECT month, SITE AS site_key, material, season, region, count(*), count(*) FILTER (call = 'active'), count(*) FILTER (call = 'unsure') FROM point_visits GROUP BY ALL"},
	{"call_counts",
		`SELECT "by", month, coalesce(model, thickness_band, purpose), CAST(sum(n) AS BIGINT), CAST(sum(active) AS BIGINT) FROM call_counts WHERE "by" <> 'circumstances' GROUP BY ALL`,
		`SELECT 'model', month, model, count(*), count(*) FILTER (call = 'active') FROM point_visits GROUP BY ALL
			UNION ALL SELECT 'thickness_band', month, thickness_band, count(*), count(*) FILTER (call = 'active') FROM point_visits GROUP BY ALL
			UNION ALL SELECT 'purpose', month, purpose, count(*), count(*) FILTER (call = 'active') FROM point_visits GROUP BY ALL`},
	{"gain_counts",
		"SELECT month, site_key, material, gain, season, region, readings, active, unsure FROM gain_counts",
		"SELECT month, SITE, material, gain, season, region, count(*), count(*) FILTER (call = 'active'), count(*) FILTER (call = 'unsure') FROM readings WHERE NOT control GROUP BY ALL"},
	{"accuracy_counts",
		`SELECT "by", month, material, called_elsewhere, coalesce(CAST(gain AS VARCHAR), season || region, model, thickness_band), CAST(sum(confirmed) AS BIGINT), CAST(sum(false_alarms) AS BIGINT),
			CAST(sum(active_unverified) AS BIGINT), CAST(sum(missed) AS BIGINT), CAST(sum(cleared) AS BIGINT), CAST(sum(clear_unverified) AS BIGINT) FROM accuracy_counts GROUP BY ALL`,
		`SELECT k."by", month, material, called_elsewhere, CASE k."by" WHEN 'gain' THEN CAST(gain AS VARCHAR) WHEN 'season+region' THEN season || region WHEN 'model' THEN model ELSE thickness_band END,
			count(*) FILTER (call = 'active' AND verified_by = 'decisive' AND truth = 'active'), count(*) FILTER (call = 'active' AND verified_by = 'decisive' AND truth = 'not_active'),
			count(*) FILTER (call = 'active' AND verified_by <> 'decisive'), count(*) FILTER (call = 'clear' AND verified_by = 'decisive' AND truth = 'active'),
			count(*) FILTER (call = 'clear' AND verified_by = 'decisive' AND truth = 'not_active'), count(*) FILTER (call = 'clear' AND verified_by <> 'decisive')
			FROM point_visits, (VALUES ('gain'), ('season+region'), ('model'), ('thickness_band')) AS k ("by") WHERE call <> 'unsure' GROUP BY ALL`},
	{"people_counts",
		"SELECT month, technician_id, unit_id, unit_overdue, region, season, material, site_key, n, active, active_verified - confirmed, clear_verified, missed FROM people_counts",
		`SELECT month, technician_id, unit_id, unit_overdue, region, season, material, CIRCUMSTANCE, count(*), count(*) FILTER (call = 'active'), count(*) FILTER (false_alarm),
			count(*) FILTER (call = 'clear' AND verified_by = 'decisive'), count(*) FILTER (missed AND verified_by = 'decisive') FROM point_visits GROUP BY ALL`},
	{"condition_counts",
		`SELECT month, technician_id, site_key, material, thickness_band, season, region, purpose, called_elsewhere, gain, first_gain, CAST(sum(n) AS BIGINT), CAST(sum(active) AS BIGINT),
			CAST(sum(n) FILTER (false_alarm_known) AS BIGINT), CAST(sum(false_alarms) AS BIGINT), CAST(sum(clear) AS BIGINT), CAST(sum(missed) AS BIGINT) FROM condition_counts GROUP BY ALL`,
		`SELECT month, technician_id, POOLED, material, thickness_band, season, region, purpose, called_elsewhere, gain, first_gain, count(*), count(*) FILTER (call = 'active'),
			nullif(count(*) FILTER (call = 'active' AND verified_by = 'decisive'), 0), count(*) FILTER (false_alarm), count(*) FILTER (call = 'clear'),
			count(*) FILTER (missed AND verified_by = 'decisive') FROM point_visits GROUP BY ALL`},
	{"habit_counts",
		"SELECT month, technician_id, unit_id, gain, CAST(sum(readings) AS BIGINT), CAST(sum(holds) AS BIGINT) FROM habit_counts GROUP BY ALL",
		"SELECT month, technician_id, unit_id, gain, count(*), count(hold_s) FROM readings WHERE NOT control GROUP BY ALL"},
	{"habit_counts",
		"SELECT month, technician_id, CAST(sum(found) AS BIGINT), CAST(sum(missed) AS BIGINT) FROM habit_counts GROUP BY ALL HAVING sum(found) > 0",
		`SELECT month, technician_id, count(*), count(*) FILTER (call = 'clear') FROM point_visits
			WHERE call <> 'unsure' AND truth = 'active' AND verified_by = 'decisive' AND NOT called_elsewhere GROUP BY ALL`},
	{"unit_counts",
		"SELECT month, unit_id, unit_overdue, readings, inspections, last_day FROM unit_counts",
		"SELECT month, unit_id, unit_overdue, count(*), count(DISTINCT inspection_id), max(local_date) FROM readings GROUP BY ALL"},
	{"stepping_counts",
		"SELECT month, technician_id, site_key, points, started_elsewhere, may_step, stepped_up FROM stepping_counts",
		`SELECT month, technician_id, SITE AS site_key, count(*), count(*) FILTER (started_elsewhere), count(*) FILTER (stepped_up IS NOT NULL), count(*) FILTER (stepped_up)
			FROM point_visits GROUP BY ALL`},
	{"stepping_counts",
		"SELECT month, technician_id, CAST(sum(mixes) AS BIGINT) FROM stepping_counts GROUP BY ALL",
		"SELECT month, technician_id, count(DISTINCT (inspection_id, material, model, gain_min, gain_max)) FROM readings WHERE NOT control GROUP BY ALL"},
	{"gain_mixes",
		"SELECT month, technician_id, site_key, material, model, gain, CAST(sum(readings) AS BIGINT) FROM gain_mixes GROUP BY ALL",
		"SELECT month, technician_id, POOLED, material, coalesce(model, ''), gain, count(*) FROM readings WHERE NOT control GROUP BY ALL"},
	{"check_counts",
		"SELECT month, check_id, technician_id, CAST(sum(chances) AS BIGINT), CAST(sum(breaches) AS BIGINT) FROM check_counts GROUP BY ALL",
		"SELECT month, check_id, technician_id, CAST(sum(n) AS BIGINT), CAST(coalesce(sum(n) FILTER (breach), 0) AS BIGINT) FROM checks GROUP BY ALL"},
	{"inspection_breaches",
		"SELECT month, inspection_id, check_id, breaches FROM inspection_breaches",
		"SELECT month, inspection_id, check_id, count(*) FROM checks WHERE breach GROUP BY ALL"},
}

const allChecks = "SELECT * FROM protocol_readings UNION ALL SELECT * FROM protocol_points UNION ALL SELECT * FROM protocol_calls UNION ALL SELECT * FROM copied_levels UNION ALL SELECT * FROM protocol_visits"

// countedDemo is an engine with the facts of the small demo, in which so many sites are clusters each for themselves.
func countedDemo(t *testing.T, mostSites int) (*engine.Engine, *store.Store) {
	t.Helper()
	ctx, dir := context.Background(), t.TempDir()
	st, err := store.Open(smallStore(t, dir, 2))
	if err != nil {
		t.Fatal(err)
	}
	e, err := engine.Open(ctx, engine.Options{Threads: 2})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = e.Close() })
	if err := settle.Views(ctx, e, st, 1); err != nil {
		t.Fatal(err)
	}
	if _, err := transform.Facts(ctx, e, filepath.Join(dir, "facts"), transform.Options{Describe: DescribeLogs(nil), MostSites: mostSites}, func(string) {}); err != nil {
		t.Fatal(err)
	}
	return e, st
}

// TestCountsAddUp: count tables hold what the rows below them say, whether every site is a cluster or groups of sites are, and
// no table of counts is left out here.
func TestCountsAddUp(t *testing.T) {
	for _, mostSites := range []int{0, 10} {
		e, _ := countedDemo(t, mostSites)
		clusters, err := transform.ClustersOf(t.Context(), e)
		if err != nil || clusters.Grouped() != (mostSites > 0) {
			t.Fatalf("clusters %+v with at most %d sites (%v)", clusters, mostSites, err)
		}
		if err := e.Define(t.Context(), "checks", allChecks); err != nil {
			t.Fatal(err)
		}
		cluster := strings.NewReplacer("CIRCUMSTANCE", fmt.Sprint("site_key % ", clusters.Circumstances), "POOLED", fmt.Sprint("site_key % ", clusters.Pooled), "SITE", fmt.Sprint("site_key % ", clusters.Sites))
		for _, s := range sums {
			var rows, more, fewer int
			plain := cluster.Replace(s.plain)
			query := fmt.Sprintf("SELECT (SELECT count(*) FROM (%[1]s)), (SELECT count(*) FROM (%[1]s EXCEPT ALL (%[2]s))), (SELECT count(*) FROM ((%[2]s) EXCEPT ALL %[1]s))", s.counted, plain)
			if err := e.Each(t.Context(), query, nil, func(scan func(...any) error) error { return scan(&rows, &more, &fewer) }); err != nil {
				t.Fatalf("%s: %v", s.table, err)
			}
			if rows == 0 || more+fewer > 0 {
				t.Errorf("%s with at most %d sites: %d of %d rows are not in the plain count, and %d there are not in the table", s.table, mostSites, more, rows, fewer)
			}
		}
	}
	for _, table := range transform.Tables() {
		counted := strings.HasSuffix(table, "_counts") || strings.HasSuffix(table, "_mixes") || strings.HasSuffix(table, "_breaches")
		if counted && table != "visit_counts" && !slices.ContainsFunc(sums, func(s struct{ table, counted, plain string }) bool { return s.table == table }) {
			t.Errorf("%s is not tested", table)
		}
	}
}

// TestGroupsOfSites: a book whose sites are put into groups has the same counts and rates as one where every site is a cluster;
// what differs is how sure they are.
func TestGroupsOfSites(t *testing.T) {
	book := func(mostSites int) *Book {
		e, st := countedDemo(t, mostSites)
		b, err := Analyse(t.Context(), e, st, 1, Options{AsOf: time.Unix(0, 0)})
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	plain, grouped := book(0), book(10)
	if len(plain.Detection) != len(grouped.Detection) || len(plain.Accuracy) != len(grouped.Accuracy) || len(plain.Protocol) != len(grouped.Protocol) ||
		len(plain.Cuts) != len(grouped.Cuts) || len(plain.Units) != len(grouped.Units) || len(plain.GainUse) != len(grouped.GainUse) {
		t.Fatal("groups of sites make other rows")
	}
	narrower := 0
	for i, p := range plain.Detection {
		g := grouped.Detection[i]
		if p.N() != g.N() || p.Active != g.Active || p.Unsure != g.Unsure || p.Rate != g.Rate || g.Sites > p.Sites {
			t.Errorf("detection %v: %+v in groups, %+v by site", p.Cut, g, p)
		}
		if p.By == "all" && !(g.High > g.Rate && g.Low < g.Rate) {
			t.Errorf("detection in groups: %v from %v to %v", g.Rate, g.Low, g.High)
		}
		if g.Low != p.Low {
			narrower++
		}
	}
	if narrower == 0 {
		t.Error("no interval is another in groups: the test groups nothing")
	}
	for i, p := range plain.Accuracy {
		g := grouped.Accuracy[i]
		if p.Confirmed != g.Confirmed || p.FalseAlarms != g.FalseAlarms || p.Missed != g.Missed || p.ActiveCalls != g.ActiveCalls || p.ClearCalls != g.ClearCalls ||
			p.Strata != g.Strata || p.Sensitivity.Known() != g.Sensitivity.Known() {
			t.Errorf("accuracy by %s: %+v in groups, %+v by site", p.By, g, p)
		}
	}
	for i, p := range plain.Protocol {
		if g := grouped.Protocol[i]; p.Chances != g.Chances || p.Breaches != g.Breaches {
			t.Errorf("check %s of %s: %d of %d in groups, %d of %d by site", p.Check, p.TechnicianID, g.Breaches, g.Chances, p.Breaches, p.Chances)
		}
	}
	for i, p := range plain.Units {
		if g := grouped.Units[i]; p.Points != g.Points || p.Observed != g.Observed || math.Abs(float64(p.Expected-g.Expected)) > 1e-9 {
			t.Errorf("unit %s: %d of %d, expected %v, in groups; %d of %d, expected %v, by site", p.UnitID, g.Observed, g.Points, g.Expected, p.Observed, p.Points, p.Expected)
		}
	}
}

// TestNewestBreaches: a list that is cut short has the newest breaches of all, and of every technician and check.
func TestNewestBreaches(t *testing.T) {
	e, _ := countedDemo(t, 0)
	if err := e.Define(t.Context(), "checks", allChecks); err != nil {
		t.Fatal(err)
	}
	q, err := Lookup("protocol_breaches")
	if err != nil {
		t.Fatal(err)
	}
	rows := func(query string, most int) (out []string) {
		const scanned = 8
		args := []any{engine.Arg("from", "0000-00"), engine.Arg("to", "9999-99"), engine.Arg("off", "no_control"), engine.Arg("most", most)}
		err := e.Each(t.Context(), query, args, func(scan func(...any) error) error {
			row := make([]string, scanned)
			to := make([]any, scanned)
			for i := range row {
				to[i] = &row[i]
			}
			err := scan(to...)
			out = append(out, strings.Join(row, "|"))
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		slices.Sort(out)
		return out
	}
	const plain = `SELECT check_id, technician_id, site_id, inspection_id, coalesce(point_id, ''), coalesce(reading_id, ''), CAST(local_date AS VARCHAR), seen FROM (
		SELECT *, row_number() OVER (ORDER BY local_date DESC, inspection_id DESC, check_id, point_id, reading_id, seen) AS nth,
			row_number() OVER (PARTITION BY check_id, technician_id ORDER BY local_date DESC, inspection_id DESC, point_id, reading_id, seen) AS nth_of_one
		FROM checks WHERE breach AND month BETWEEN $from AND $to AND check_id <> $off) WHERE nth <= $most OR nth_of_one <= 50`
	lengths := map[int]bool{}
	for _, most := range []int{0, 40, 300, mostListed} {
		got, want := rows(q.SQL, most), rows(plain, most)
		if len(want) == 0 || !slices.Equal(got, want) {
			t.Errorf("with at most %d: %d breaches, want %d", most, len(got), len(want))
		}
		lengths[len(want)] = true
	}
	if len(lengths) < 3 {
		t.Errorf("lists of %v breaches: the test cuts nothing short", lengths)
	}
}
