package queries

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"math/big"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"scanledger/ingest/store"
	"scanledger/transform"
	"scanledger/transform/engine"
	"scanledger/transform/engine/fleet"
	"scanledger/transform/engine/fleet/fleettest"
	"scanledger/transform/settle"
)

// fleetStore compares the engines on a store that is there, in the folder "store" of the given one.
var fleetStore = flag.String("fleet-store", "", "folder with a store on which to compare a fleet with the embedded engine; otherwise a small demo's")

// both are the two engines with the facts of one store, each made there.
type both struct {
	embedded *engine.Engine
	fleet    *fleet.Fleet
	st       *store.Store
}

func makeBoth(t *testing.T, dsn, folder string) both {
	t.Helper()
	ctx := context.Background()
	st, err := store.Open(filepath.Join(folder, "store"))
	if err != nil {
		t.Fatal(err)
	}
	b := both{st: st}
	open := func() *engine.Engine {
		e, err := engine.Open(ctx, engine.Options{})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = e.Close() })
		if err := settle.Views(ctx, e, st, len(st.Manifest.Loads)); err != nil {
			t.Fatal(err)
		}
		return e
	}
	b.embedded = open()
	opt := transform.Options{Describe: DescribeLogs(nil)}
	if _, err := transform.Facts(ctx, b.embedded, filepath.Join(folder, "embedded"), opt, func(string) {}); err != nil {
		t.Fatal(err)
	}
	opt.Local = open()
	if b.fleet, err = fleet.Open(ctx, fleet.Options{DSN: dsn, Folder: folder, Name: "equal", Local: opt.Local}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := b.fleet.Close(); err != nil {
			t.Error(err)
		}
	})
	began := time.Now()
	if err := settle.Views(ctx, b.fleet, st, len(st.Manifest.Loads)); err != nil {
		t.Fatal(err)
	}
	if _, err := transform.Facts(ctx, b.fleet, filepath.Join(folder, "fleet"), opt, func(table string) { t.Logf("%4.0fs %s", time.Since(began).Seconds(), table) }); err != nil {
		t.Fatal(err)
	}
	return b
}

// TestFleetEqualsEmbedded: every fact table and every result is the same, row for row, whichever engine made it.
func TestFleetEqualsEmbedded(t *testing.T) {
	folder, small := *fleetStore, *fleetStore == ""
	if small {
		folder = t.TempDir()
		smallStore(t, folder, 2)
	}
	b := makeBoth(t, fleettest.Start(t, folder), folder)
	for _, table := range append(transform.Tables(), "log_readings") {
		t.Run(table, func(t *testing.T) {
			sameSums(t, b, table, filepath.Join(folder, "fleet", table))
			if small {
				sameRows(t, b, table)
			}
		})
	}
	opt := Options{AsOf: time.Unix(0, 0), InspectionPages: 8}
	ours, err := Analyse(context.Background(), b.embedded, b.st, len(b.st.Manifest.Loads), opt)
	if err != nil {
		t.Fatal(err)
	}
	theirs, err := Analyse(context.Background(), b.fleet, b.st, len(b.st.Manifest.Loads), opt)
	if err != nil {
		t.Fatal(err)
	}
	sameResults(t, ours, theirs)
}

// sameResults compares results as they are published.
func sameResults(t *testing.T, ours, theirs *Book) {
	t.Helper()
	for i, r := range ours.Results {
		want, err := r.CSV()
		if err != nil {
			t.Fatal(err)
		}
		got, err := theirs.Results[i].CSV()
		if err != nil {
			t.Fatal(err)
		}
		if string(got) != string(want) {
			t.Errorf("result %s differs%s", r.Analysis, firstDifference(string(want), string(got)))
		}
	}
}

func firstDifference(want, got string) string {
	w, g := strings.Split(want, "\n"), strings.Split(got, "\n")
	for i := range min(len(w), len(g)) {
		if w[i] != g[i] {
			return fmt.Sprintf(" in line %d:\nembedded %s\nfleet    %s", i+1, w[i], g[i])
		}
	}
	return fmt.Sprintf(": %d lines and %d", len(w), len(g))
}

// sameRows compares the rows of a table in both engines, in whatever order.
func sameRows(t *testing.T, b both, table string) {
	t.Helper()
	columns, err := columnNames(b.embedded, table)
	if err != nil {
		t.Fatal(err)
	}
	want, got := rowsOf(t, b.embedded, table, columns), rowsOf(t, b.fleet, table, columns)
	if d := firstDifference(strings.Join(want, "\n"), strings.Join(got, "\n")); len(want) != len(got) || !slices.Equal(want, got) {
		t.Errorf("%d rows and %d%s", len(want), len(got), d)
	}
}

// sameSums compares what the fleet wrote, read by the embedded engine, by the number of rows and the sum of their hashes.
func sameSums(t *testing.T, b both, table, folder string) {
	t.Helper()
	written, err := filepath.Glob(filepath.Join(folder, "*", "*"))
	if err != nil || len(written) == 0 {
		return // not made in a fleet, or nothing in it
	}
	var columns []string
	err = b.embedded.Each(context.Background(), "SELECT column_name, column_type FROM (DESCRIBE "+table+")", nil, func(scan func(...any) error) error {
		var name, kind string
		err := scan(&name, &kind)
		columns = append(columns, "CAST("+engine.Name(name)+" AS "+kind+") AS "+engine.Name(name))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	sum := func(from string) (sum string) {
		query := "SELECT count(*) || ' rows, ' || coalesce(sum(hash(t)), 0) FROM (SELECT " + strings.Join(columns, ", ") + " FROM " + from + ") t"
		if err := b.embedded.Each(context.Background(), query, nil, func(scan func(...any) error) error { return scan(&sum) }); err != nil {
			t.Fatal(err)
		}
		return sum
	}
	want, got := sum(table), sum("read_parquet("+engine.List(written)+", hive_partitioning = false)")
	t.Log(want)
	if want != got {
		t.Errorf("embedded %s, fleet %s", want, got)
	}
}

func columnNames(e *engine.Engine, table string) (names []string, err error) {
	err = e.Each(context.Background(), "SELECT column_name FROM (DESCRIBE "+table+")", nil, func(scan func(...any) error) error {
		var name string
		err := scan(&name)
		names = append(names, engine.Name(name))
		return err
	})
	return names, err
}

// rowsOf lists the rows as text, sorted.
func rowsOf(t *testing.T, e engine.SQL, table string, columns []string) (rows []string) {
	t.Helper()
	values, into := make([]any, len(columns)), make([]any, len(columns))
	for i := range values {
		into[i] = &values[i]
	}
	err := e.Each(context.Background(), "SELECT "+strings.Join(columns, ", ")+" FROM "+table, nil, func(scan func(...any) error) error {
		if err := scan(into...); err != nil {
			return err
		}
		var cells []string
		for i, v := range values {
			cells = append(cells, columns[i]+"="+asText(v))
		}
		rows = append(rows, strings.Join(cells, " "))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	slices.Sort(rows)
	return rows
}

// asText is a value as text, the same for the same value whichever driver gave it.
func asText(v any) string {
	switch v := v.(type) {
	case time.Time:
		return v.UTC().Format(time.RFC3339Nano)
	case *big.Int:
		return v.String()
	case json.Number: // in a list, the fleet's driver gives the text
		if f, err := v.Float64(); err == nil {
			return asText(f)
		}
	case []any:
		var out []string
		for _, e := range v {
			out = append(out, asText(e))
		}
		return "[" + strings.Join(out, " ") + "]"
	}
	return fmt.Sprint(v)
}

// TestFleetFaults: a query that is cancelled ends on the fleet too, and a worker that is killed leaves no half of a table.
func TestFleetFaults(t *testing.T) {
	folder := t.TempDir()
	dsn := fleettest.Start(t, folder)
	ctx := context.Background()
	local, err := engine.Open(ctx, engine.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = local.Close() }()
	f, err := fleet.Open(ctx, fleet.Options{DSN: dsn, Folder: folder, Name: "faults", Local: local})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := f.Close(); err != nil {
			t.Error(err)
		}
	}()
	const numbers = "SELECT a.n * 1000000 + b.n * 1000 + c.n AS n, 'x' AS s FROM UNNEST(sequence(0, 199)) AS a (n) CROSS JOIN UNNEST(sequence(0, 999)) AS b (n) CROSS JOIN UNNEST(sequence(0, 999)) AS c (n)"
	if err := f.Define(ctx, "numbers", numbers); err != nil { // 200 million
		t.Fatal(err)
	}
	t.Run("cancelled", func(t *testing.T) { cancelled(t, f) })
	t.Run("worker killed", func(t *testing.T) { workerKilled(t, f, folder) })
}

const running = "SELECT count(*) FROM system.runtime.queries WHERE state NOT IN ('FINISHED', 'FAILED') AND query LIKE '%max(a.n * b.n)%' AND query NOT LIKE '%system.runtime%'"

func cancelled(t *testing.T, f *fleet.Fleet) {
	ctx, cancel := context.WithCancel(context.Background())
	go func() {
		for count(t, f, running) == 0 {
			time.Sleep(100 * time.Millisecond)
		}
		cancel() // as Ctrl-C does
	}()
	began := time.Now()
	err := f.Each(ctx, "SELECT max(a.n * b.n) FROM numbers a JOIN numbers b ON a.n % 7 = b.n % 7", nil, func(func(...any) error) error { return nil })
	if !errors.Is(err, context.Canceled) || time.Since(began) > time.Minute {
		t.Fatalf("after %s: %v", time.Since(began), err)
	}
	for range 100 {
		if count(t, f, running) == 0 {
			return
		}
		time.Sleep(100 * time.Millisecond)
	}
	t.Error("the fleet goes on with a cancelled query")
}

func workerKilled(t *testing.T, f *fleet.Fleet, folder string) {
	ctx := context.Background()
	path := filepath.Join(folder, "facts", "halves", "2026-01.parquet")
	go func() {
		for count(t, f, "SELECT count(*) FROM system.runtime.queries WHERE state = 'RUNNING' AND query LIKE 'INSERT INTO%halves%'") == 0 {
			time.Sleep(100 * time.Millisecond)
		}
		time.Sleep(3 * time.Second) // it takes several times that
		kill(t, filepath.Join(folder, ".fleet", "worker", "pid"))
	}()
	err := f.Save(ctx, "SELECT n, s FROM numbers", path)
	if !errors.Is(err, fleet.ErrLost) {
		t.Fatalf("got %v", err)
	}
	fleettest.Worker(t, folder)
	if n := count(t, f, "SELECT count(*) FROM saved_halves"); n != 0 {
		t.Errorf("%d rows of a table are there that was not made", n)
	}
	if err := f.Save(ctx, "SELECT n, s FROM numbers WHERE n < 1000", path); err != nil {
		t.Fatal(err)
	}
	if err := f.View(ctx, "halves", []string{path}, ""); err != nil {
		t.Fatal(err)
	}
	if n := count(t, f, "SELECT count(*) FROM halves"); n != 1000 {
		t.Errorf("%d rows once it was made, want 1000", n)
	}
}

func count(t *testing.T, f *fleet.Fleet, query string) (n int) {
	t.Helper()
	if err := f.Each(context.Background(), query, nil, func(scan func(...any) error) error { return scan(&n) }); err != nil {
		t.Error(err)
	}
	return n
}

// kill ends the process whose number stands in a file, without a chance to tidy up.
func kill(t *testing.T, path string) {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Error(err)
		return
	}
	number, err := strconv.Atoi(strings.TrimSpace(string(text)))
	if err != nil {
		t.Error(err)
		return
	}
	if err := syscall.Kill(number, syscall.SIGKILL); err != nil {
		t.Error(err)
	}
}
