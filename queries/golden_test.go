package queries

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"scanledger/ingest/demo"
	"scanledger/ingest/store"
	"scanledger/transform"
	"scanledger/transform/engine"
	"scanledger/transform/settle"
)

// smallStore takes in four months of the demo's invented records below dir.
func smallStore(t *testing.T, dir string, threads int) string {
	t.Helper()
	ctx := context.Background()
	if _, err := demo.Write(ctx, filepath.Join(dir, "records"), demo.Options{Inspections: 240, Months: 4}); err != nil {
		t.Fatal(err)
	}
	storeDir, opt := filepath.Join(dir, "store"), engine.Options{Threads: threads}
	if _, err := settle.Load(ctx, storeDir, []string{filepath.Join(dir, "records")}, settle.Options{ReceivedAt: time.Unix(0, 0), Engine: opt}); err != nil {
		t.Fatal(err)
	}
	return storeDir
}

// smallDemo analyses the small store with the given threads.
func smallDemo(t *testing.T, threads int) *Book {
	t.Helper()
	b, _ := smallDemoEngine(t, threads)
	return b
}

// smallDemoEngine is smallDemo with the engine it was analysed on.
func smallDemoEngine(t *testing.T, threads int) (*Book, *engine.Engine) {
	t.Helper()
	ctx, dir := context.Background(), t.TempDir()
	storeDir, opt := smallStore(t, dir, threads), engine.Options{Threads: threads}
	st, err := store.Open(storeDir)
	if err != nil {
		t.Fatal(err)
	}
	e, err := engine.Open(ctx, opt)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = e.Close() })
	if err := settle.Views(ctx, e, st, 1); err != nil {
		t.Fatal(err)
	}
	if _, err := transform.Facts(ctx, e, filepath.Join(dir, "facts"), transform.Options{Describe: DescribeLogs(nil)}, func(string) {}); err != nil {
		t.Fatal(err)
	}
	b, err := Analyse(ctx, e, st, 1, Options{AsOf: time.Unix(0, 0), InspectionPages: 8})
	if err != nil {
		t.Fatal(err)
	}
	return b, e
}

// TestGoldenResults compares every result on a small demo, as CSV, with the one kept; one thread and two
// give the same bytes.
func TestGoldenResults(t *testing.T) {
	one, two := smallDemo(t, 1), smallDemo(t, 2)
	if len(one.Results) != len(rowTypes) {
		t.Errorf("%d results, %d analyses", len(one.Results), len(rowTypes))
	}
	for i, r := range one.Results {
		got, err := r.CSV()
		if err != nil {
			t.Fatal(err)
		}
		again, err := two.Results[i].CSV()
		if err != nil || !bytes.Equal(got, again) {
			t.Errorf("%s: two threads give other bytes (%v)", r.Analysis, err)
		}
		path := filepath.Join("testdata", "results", r.Analysis+".csv")
		if *update {
			if err := os.MkdirAll(filepath.Dir(path), 0o750); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, got, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil || !bytes.Equal(got, want) {
			t.Errorf("%s differs from its golden file (%v); look at it and run go test ./queries -update", r.Analysis, err)
		}
	}
}

// TestPartsSumToTheWhole: the cuts of one analysis add up to its "all" row.
func TestPartsSumToTheWhole(t *testing.T) {
	b := smallDemo(t, 2)
	visits, active := map[string]int64{}, map[string]int64{}
	for _, r := range b.Detection {
		visits[r.By] += r.N()
		active[r.By] += r.Active
	}
	for _, by := range []string{"material", "season", "region", "month", "model", "thickness_band", "purpose", "material+season", "region+season"} {
		if visits[by] != visits["all"] || active[by] != active["all"] {
			t.Errorf("by %s: %d point-visits and %d active, all: %d and %d", by, visits[by], active[by], visits["all"], active["all"])
		}
	}
	if visits["gain"] != visits["material+gain"] || visits["gain"] != visits["gain+season"] || visits["gain"] < visits["all"] {
		t.Errorf("readings by gain %d, by material and gain %d", visits["gain"], visits["material+gain"])
	}
	sums := map[string][4]int64{}
	for _, r := range b.Accuracy {
		s := sums[r.By]
		sums[r.By] = [4]int64{s[0] + r.ActiveCalls, s[1] + r.Confirmed, s[2] + r.ClearCalls, s[3] + r.Missed}
	}
	for _, by := range []string{"material", "density_class", "gain", "season", "region", "month", "model", "thickness_band", "material+gain"} {
		if sums[by] != sums["all"] || sums["all"][0] != active["all"] {
			t.Errorf("accuracy by %s: %v, all: %v", by, sums[by], sums["all"])
		}
	}
	for _, measure := range []string{"detections", "false_alarms"} {
		var observed int64
		for _, r := range b.Consistency {
			if r.Measure == measure {
				observed += r.Observed
			}
		}
		if want := map[string]int64{"detections": active["all"], "false_alarms": b.Accuracy[0].FalseAlarms}[measure]; observed != want {
			t.Errorf("%s by technician: %d, want %d", measure, observed, want)
		}
	}
}
