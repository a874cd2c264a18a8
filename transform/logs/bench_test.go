package logs_test

import (
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"runtime/debug"
	"strings"
	"testing"

	"scanledger/queries"
	"scanledger/transform/engine"
	"scanledger/transform/logs"
)

// fleetSamples is how many samples the fleet of the benchmark wrote in its month: 100 units, five samples a second.
// Run with -log-samples=100000000 for the full size; it needs 4 GB of disk.
var fleetSamples = flag.Int64("log-samples", 1_000_000, "samples of the benchmark's fleet")

// fleet writes the month's samples as the store would hold them and makes the views of an engine over them.
// Units take turns of 20 s at one of seven gains with 20 s between; every tenth hold moves. Every hold was written down.
func fleet(b *testing.B) *engine.Engine {
	b.Helper()
	ctx := context.Background()
	e, err := engine.Open(ctx, engine.Options{MemoryLimit: "640MiB", TempDir: b.TempDir()})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = e.Close() })
	dir := b.TempDir()
	perUnit := *fleetSamples / 100
	perDay := perUnit/30 + 1
	for part := range int64(10) {
		samples := fmt.Sprintf(`SELECT 'U' || lpad(CAST(i // %d AS VARCHAR), 3, '0') AS unit_id,
			make_timestamptz(CAST(1772400000000000 + (i %% %d) // %d * 86400000000 + (i %% %d) %% %d * 200000 AS BIGINT)) AS logged_at,
			(i // 100) %% 2 = 0 AS sensing, CAST((i // 200) %% 7 AS INTEGER) AS gain,
			CASE WHEN (i // 200) %% 10 = 3 AND i %% 100 > 40 THEN 60.0 ELSE 8 + hash(i) %% 40 / 10.0 END AS level_pct,
			CAST(90 - (i %% %d) %% %d * 60.0 / %d AS DOUBLE) AS battery_pct, 1 AS _file, i AS _line
			FROM range(%d, %d) r(i)`, perUnit, perUnit, perDay, perUnit, perDay, perUnit, perDay, perDay, part**fleetSamples/10, (part+1)**fleetSamples/10)
		if err := e.Save(ctx, samples, filepath.Join(dir, fmt.Sprintf("part-%d.parquet", part))); err != nil {
			b.Fatal(err)
		}
	}
	files, err := filepath.Glob(filepath.Join(dir, "*.parquet"))
	if err != nil {
		b.Fatal(err)
	}
	if err := e.View(ctx, "held_unit_log", files, ""); err != nil {
		b.Fatal(err)
	}
	for _, q := range []string{
		"CREATE TEMP TABLE visits AS SELECT 'I' AS inspection_id, 'Australia/Sydney' AS time_zone, make_timestamptz(1772400000000000) AS started_at, make_timestamptz(1775000000000000) AS ended_at",
		"CREATE TEMP TABLE readings AS SELECT unit_id, CAST(_line AS VARCHAR) AS reading_id, 'I' AS inspection_id, gain, logged_at + INTERVAL 4 SECOND AS taken_at FROM held_unit_log WHERE _line % 200 = 99",
	} {
		if err := e.Exec(ctx, q); err != nil {
			b.Fatal(err)
		}
	}
	return e
}

// forgetPeak makes the kernel count the process's peak memory anew (Linux), so that the making of samples is not in it.
func forgetPeak(b *testing.B) {
	b.Helper()
	debug.FreeOSMemory()
	if err := os.WriteFile("/proc/self/clear_refs", []byte("5"), 0o600); err != nil {
		b.Log("peak memory includes the making of samples:", err)
	}
}

// reportPeak reports the process's peak memory since forgetPeak.
func reportPeak(b *testing.B) {
	b.Helper()
	raw, err := os.ReadFile("/proc/self/status")
	if err != nil {
		b.Log("peak memory is not known:", err)
		return
	}
	for line := range strings.Lines(string(raw)) {
		var kB float64
		if n, _ := fmt.Sscanf(line, "VmHWM: %g kB", &kB); n == 1 {
			b.ReportMetric(kB/1024, "peak-MiB")
		}
	}
}

// BenchmarkPlain scans the samples and puts one window over them, sorted as every sessionising needs it, and counts
// what it finds: the least that a query engine does.
func BenchmarkPlain(b *testing.B) {
	e := fleet(b)
	forgetPeak(b)
	defer reportPeak(b)
	for b.Loop() {
		err := e.Exec(context.Background(), `CREATE OR REPLACE TEMP TABLE plain AS SELECT unit_id, count(*) AS stretches, max(level_pct) AS peak FROM (
			SELECT unit_id, level_pct, logged_at - lag(logged_at) OVER w AS gap, gain <> lag(gain) OVER w OR sensing <> lag(sensing) OVER w AS other
			FROM held_unit_log WINDOW w AS (PARTITION BY unit_id ORDER BY logged_at)) WHERE gap > INTERVAL 2 SECOND OR other GROUP BY unit_id`)
		if err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkMake makes spells, holds and looks of movement of the same samples, finds the offsets, and matches holds with readings.
func BenchmarkMake(b *testing.B) {
	ctx, e, dir := context.Background(), fleet(b), b.TempDir()
	forgetPeak(b)
	defer reportPeak(b)
	for b.Loop() {
		made, err := logs.Make(ctx, e, dir, "", nil, queries.DescribeLogs(nil))
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(made.Fresh), "unit-days")
		for _, table := range []string{"log_offsets", "log_matches"} {
			query, err := os.ReadFile(filepath.Join("..", "sql", table+".sql"))
			if err != nil {
				b.Fatal(err)
			}
			path := filepath.Join(dir, table+".parquet")
			if err := e.Save(ctx, string(query), path); err != nil {
				b.Fatal(err)
			}
			if err := e.View(ctx, table, []string{path}, ""); err != nil {
				b.Fatal(err)
			}
		}
	}
	counted := "SELECT count(*) FILTER (WHERE status = 'matched') FROM log_matches"
	if err := e.Each(ctx, counted, nil, func(scan func(...any) error) error {
		var matched int64
		defer func() { b.ReportMetric(float64(matched), "matched") }()
		return scan(&matched)
	}); err != nil {
		b.Fatal(err)
	}
}
