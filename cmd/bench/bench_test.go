package bench

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"scanledger/ingest/store"
	"scanledger/transform/engine"
	"scanledger/transform/settle"
)

// TestRecordsAreAsSaid: the same size gives the same bytes; every row is accepted but those that are made to be bad, one
// in a hundred readings; and the floors do their work on them.
func TestRecordsAreAsSaid(t *testing.T) {
	ctx, dir := context.Background(), t.TempDir()
	size := Size{Readings: 9000, Months: 3}
	readings, others, err := size.Write(filepath.Join(dir, "a"))
	if err != nil || len(readings) != 3 || len(others) != 4+2*3 {
		t.Fatalf("%d and %d files, %v", len(readings), len(others), err)
	}
	again, _, err := size.Write(filepath.Join(dir, "b"))
	if err != nil {
		t.Fatal(err)
	}
	for i := range readings {
		a, errA := os.ReadFile(readings[i])
		b, errB := os.ReadFile(again[i])
		if errA != nil || errB != nil || !bytes.Equal(a, b) {
			t.Errorf("%s differs: %v, %v", readings[i], errA, errB)
		}
	}
	storeDir := filepath.Join(dir, "store")
	rep, err := settle.Load(ctx, storeDir, []string{filepath.Join(dir, "a")}, settle.Options{ReceivedAt: time.Unix(0, 0)})
	if err != nil {
		t.Fatal(err)
	}
	if bad := rep.Total.Rejected; bad < 60 || bad > 130 || rep.Total.Accepted+bad != rep.Total.Rows || rep.Total.Rows < 9000 {
		t.Errorf("%+v", rep.Total)
	}
	parquet := filepath.Join(dir, "floor.parquet")
	if err := Floor(ctx, "load", append([]string{parquet}, readings...)); err != nil {
		t.Error(err)
	}
	if info, err := os.Stat(parquet); err != nil || info.Size() == 0 {
		t.Errorf("%v, %v", info, err)
	}
	if err := Floor(ctx, "build", []string{storeDir}); err != nil {
		t.Error(err)
	}
	if err := Floor(ctx, "load", nil); err == nil {
		t.Error("a floor of nothing")
	}
}

// TestFloorCountsPoints: the floor of build counts every point that was decided, once, and so do the fact tables that lead to
// the count table.
func TestFloorCountsPoints(t *testing.T) {
	ctx, dir := context.Background(), t.TempDir()
	if _, _, err := (Size{Readings: 3000, Months: 2}).Write(filepath.Join(dir, "records")); err != nil {
		t.Fatal(err)
	}
	storeDir := filepath.Join(dir, "store")
	if _, err := settle.Load(ctx, storeDir, []string{filepath.Join(dir, "records")}, settle.Options{ReceivedAt: time.Unix(0, 0)}); err != nil {
		t.Fatal(err)
	}
	st, err := store.Open(storeDir)
	if err != nil {
		t.Fatal(err)
	}
	e, err := engine.Open(ctx, engine.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = e.Close() }()
	if err := floorCounts(ctx, e, storeDir); err != nil {
		t.Fatal(err)
	}
	if err := settle.Views(ctx, e, st, 1); err != nil {
		t.Fatal(err)
	}
	var counted, points int64
	query := "SELECT (SELECT sum(n) FROM counts), (SELECT count(*) FROM (SELECT DISTINCT inspection_id, point_id FROM held_readings WHERE call <> 'unsure'))"
	if err := e.Each(ctx, query, nil, func(scan func(...any) error) error { return scan(&counted, &points) }); err != nil || counted != points || points < 900 {
		t.Errorf("%d of %d points counted, %v", counted, points, err)
	}
	facts := filepath.Join(dir, "facts")
	if err := Floor(ctx, "facts", []string{storeDir, facts}); err != nil {
		t.Fatal(err)
	}
	made := "SELECT CAST(sum(n) AS BIGINT) FROM read_parquet('" + facts + "/visit_counts/*.parquet') WHERE call <> 'unsure'"
	if err := e.Each(ctx, made, nil, func(scan func(...any) error) error { return scan(&counted) }); err != nil || counted != points {
		t.Errorf("%d of %d points in facts, %v", counted, points, err)
	}
}

func TestRatiosAreOfMedians(t *testing.T) {
	work, floor := []float64{1, 9, 3}, []float64{1, 1, 2}
	next := func(seconds *[]float64) func() (Run, error) {
		return func() (Run, error) {
			r := Run{(*seconds)[0], 10}
			*seconds = (*seconds)[1:]
			return r, nil
		}
	}
	c, err := compare(context.Background(), Compared{}, 3, next(&work), next(&floor))
	if err != nil || c.Ratio != 3 || c.Lowest != 1 || c.Highest != 9 || c.PeakMiB != 10 || len(c.Work) != 3 {
		t.Errorf("%+v, %v", c, err)
	}
}

func TestGrowth(t *testing.T) {
	runs := func(seconds ...float64) (out []Run) {
		for _, s := range seconds {
			out = append(out, Run{Seconds: s})
		}
		return out
	}
	got := Growths([]Compared{{Stage: "load", Rows: 1e6, Work: runs(2, 9, 3)}, {Stage: "build", Rows: 1e6, Work: runs(1)}, {Stage: "load", Rows: 1e7, Work: runs(60)}})
	want := []Growth{{"load", 1e6, 3, 0}, {"build", 1e6, 1, 0}, {"load", 1e7, 6, 2}}
	if !slices.Equal(got, want) {
		t.Errorf("got %+v, want %+v", got, want)
	}
}

func TestSizesRefused(t *testing.T) {
	for _, s := range []Size{{}, {Readings: 100}, {Readings: 1, Months: 1}, {Readings: 100, Months: 601}} {
		if _, _, err := s.Write(t.TempDir()); err == nil {
			t.Errorf("%+v is taken", s)
		}
	}
}
