package logs_test

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"scanledger/transform/engine"
	"scanledger/transform/logs"
)

// world is an engine with samples of two units over three days, in the given order, and no readings.
func world(t *testing.T, order func(n int, swap func(i, j int))) *engine.Engine {
	t.Helper()
	ctx := context.Background()
	e, err := engine.Open(ctx, engine.Options{})
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(1, 2))
	var rows []string
	for unit := range 2 {
		for day := range 3 {
			at := int64(1772400000000000) + int64(day)*86400e6
			for range 6 {
				at += 120e6
				gain := rng.IntN(3)
				for range 60 {
					at += 200000
					rows = append(rows, fmt.Sprintf("('U%d', make_timestamptz(%d), %v, %d, %g, 80.0)", unit, at, rng.IntN(200) > 0, gain, float64(rng.IntN(100))/2))
				}
			}
		}
	}
	order(len(rows), func(i, j int) { rows[i], rows[j] = rows[j], rows[i] })
	for _, q := range []string{
		"CREATE TEMP TABLE held_unit_log (unit_id VARCHAR, logged_at TIMESTAMPTZ, sensing BOOLEAN, gain INTEGER, level_pct DOUBLE, battery_pct DOUBLE)",
		"CREATE TEMP TABLE readings (unit_id VARCHAR, reading_id VARCHAR, inspection_id VARCHAR, gain INTEGER, taken_at TIMESTAMPTZ)",
		"CREATE TEMP TABLE visits (inspection_id VARCHAR, time_zone VARCHAR)",
	} {
		if err := e.Exec(ctx, q); err != nil {
			t.Fatal(err)
		}
	}
	for i := 0; i < len(rows); i += 500 {
		q := "INSERT INTO held_unit_log VALUES "
		for j := i; j < min(i+500, len(rows)); j++ {
			if j > i {
				q += ","
			}
			q += rows[j]
		}
		if err := e.Exec(ctx, q); err != nil {
			t.Fatal(err)
		}
	}
	return e
}

// tables makes the tables and returns their bytes.
func tables(t *testing.T, e *engine.Engine, dir, earlier string) (logs.Made, []byte) {
	t.Helper()
	if err := os.MkdirAll(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	made, err := logs.Make(context.Background(), e, dir, earlier, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	var out [][]byte
	for _, table := range logs.Tables() {
		raw, err := os.ReadFile(filepath.Join(dir, table+".parquet"))
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, raw)
	}
	return made, bytes.Join(out, nil)
}

// TestAnyOrder: samples in any order give the same bytes.
func TestAnyOrder(t *testing.T) {
	dir := t.TempDir()
	e := world(t, func(int, func(i, j int)) {})
	defer func() { _ = e.Close() }()
	_, want := tables(t, e, filepath.Join(dir, "plain"), "")
	for seed := range uint64(5) {
		e := world(t, rand.New(rand.NewPCG(seed, 1)).Shuffle)
		if _, got := tables(t, e, filepath.Join(dir, fmt.Sprint(seed)), ""); !bytes.Equal(got, want) {
			t.Errorf("order %d gives other bytes", seed)
		}
		if err := e.Close(); err != nil {
			t.Error(err)
		}
	}
}

// TestNewDaysCostOnlyThemselves: with the tables of an earlier run only what changed is made, to the same bytes.
func TestNewDaysCostOnlyThemselves(t *testing.T) {
	ctx, dir := context.Background(), t.TempDir()
	e := world(t, func(int, func(i, j int)) {})
	defer func() { _ = e.Close() }()
	first := filepath.Join(dir, "first")
	if made, _ := tables(t, e, first, ""); made != (logs.Made{Days: 6, Fresh: 6}) {
		t.Errorf("made %+v", made)
	}
	if made, _ := tables(t, e, filepath.Join(dir, "same"), first); made != (logs.Made{Days: 6}) {
		t.Errorf("made %+v where nothing had changed", made)
	}
	for _, change := range []string{
		"INSERT INTO held_unit_log SELECT 'U9', logged_at, sensing, gain, level_pct, battery_pct FROM held_unit_log WHERE unit_id = 'U1' AND logged_at < make_timestamptz(1772480000000000)",
		"UPDATE held_unit_log SET level_pct = 99 WHERE unit_id = 'U0' AND logged_at < make_timestamptz(1772400125000000)",
	} {
		if err := e.Exec(ctx, change); err != nil {
			t.Fatal(err)
		}
	}
	made, kept := tables(t, e, filepath.Join(dir, "kept"), first)
	if made != (logs.Made{Days: 7, Fresh: 2}) {
		t.Errorf("made %+v for one new and one corrected unit-day", made)
	}
	if _, scratch := tables(t, e, filepath.Join(dir, "scratch"), ""); !bytes.Equal(kept, scratch) {
		t.Error("what was kept differs from what is made from scratch")
	}
}

// TestGuideListsAll: the README names every setting with its default.
func TestGuideListsAll(t *testing.T) {
	raw, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range logs.Parameters {
		row := fmt.Sprintf("| `logs.%s` | %s | %s; %s |\n", p.Name, strconv.FormatFloat(p.Default, 'f', -1, 64), p.About, p.Kind)
		if !bytes.Contains(raw, []byte(row)) {
			t.Errorf("the README lacks the line\n%s", row)
		}
	}
}

func TestRead(t *testing.T) {
	s, err := logs.Read(map[string]any{"match_s": int64(30)})
	if err != nil || s.Value("match_s") != 30 || s.Value("idle_min") != 30 {
		t.Errorf("read %v, %v", s, err)
	}
	for _, bad := range []map[string]any{{"match": 1.0}, {"match_s": int64(0)}, {"quiet_share": 0.5}, {"charge_low_h": 12.0}} {
		if _, err := logs.Read(bad); err == nil {
			t.Errorf("%v was read", bad)
		}
	}
}
