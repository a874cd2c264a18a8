package engine_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"scanledger/transform/engine"
)

func open(t *testing.T, opt engine.Options) *engine.Engine {
	t.Helper()
	e, err := engine.Open(context.Background(), opt)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := e.Close(); err != nil {
			t.Error(err)
		}
	})
	return e
}

func one(t *testing.T, e *engine.Engine, query string, args ...any) string {
	t.Helper()
	var out string
	if err := e.Each(context.Background(), query, args, func(scan func(...any) error) error { return scan(&out) }); err != nil {
		t.Fatal(err)
	}
	return out
}

func TestSaveAndView(t *testing.T) {
	ctx, e := context.Background(), open(t, engine.Options{Threads: 2})
	path := filepath.Join(t.TempDir(), "it's a table.parquet")
	if err := e.Save(ctx, "-- two rows\nSELECT * FROM (VALUES (1, 'a'), (2, NULL)) AS t (n, s) ORDER BY n -- the end", path); err != nil {
		t.Fatal(err)
	}
	if err := e.View(ctx, `odd "name"`, []string{path}, ""); err != nil {
		t.Fatal(err)
	}
	if got := one(t, e, `SELECT string_agg(coalesce(s, '?'), ',' ORDER BY n) FROM "odd ""name""" WHERE n >= $least`, engine.Arg("least", 1)); got != "a,?" {
		t.Errorf("got %q", got)
	}
	if err := e.View(ctx, "none", nil, "SELECT 1 AS n WHERE false"); err != nil {
		t.Fatal(err)
	}
	if got := one(t, e, "SELECT CAST(count(*) AS VARCHAR) FROM none"); got != "0" {
		t.Errorf("an empty view has %s rows", got)
	}
}

// TestZoneIsUTC: what the machine's zone is must not matter. 29 February 2024, 23:30 in New York.
func TestZoneIsUTC(t *testing.T) {
	t.Setenv("TZ", "Asia/Tokyo")
	e := open(t, engine.Options{})
	if got := one(t, e, "SELECT CAST(TIMESTAMPTZ '2024-02-29 23:30:00-05:00' AS VARCHAR)"); got != "2024-03-01 04:30:00+00" {
		t.Errorf("got %s", got)
	}
	if got := one(t, e, "SELECT CAST(CAST(TIMESTAMPTZ '2024-02-29 23:30:00-05:00' AT TIME ZONE 'America/New_York' AS DATE) AS VARCHAR)"); got != "2024-02-29" {
		t.Errorf("got %s", got)
	}
}

func TestErrorsNameTheQuery(t *testing.T) {
	e := open(t, engine.Options{})
	err := e.Exec(context.Background(), "-- a comment\nSELECT nothing FROM nowhere")
	if err == nil || !strings.Contains(err.Error(), "SELECT nothing FROM nowhere") {
		t.Errorf("got %v", err)
	}
}

func TestCancelStopsAQuery(t *testing.T) {
	e := open(t, engine.Options{})
	ctx, cancel := context.WithTimeout(context.Background(), 200*time.Millisecond)
	defer cancel()
	start := time.Now()
	err := e.Exec(ctx, "SELECT count(*) FROM range(10000000000) a, range(1000) b WHERE a.range % 7 = b.range")
	if !errors.Is(err, context.DeadlineExceeded) || time.Since(start) > 10*time.Second {
		t.Errorf("went on for %v: %v", time.Since(start), err)
	}
}

func TestCloseRemovesTheScratchFolder(t *testing.T) {
	dir := t.TempDir()
	e, err := engine.Open(context.Background(), engine.Options{TempDir: dir})
	if err != nil {
		t.Fatal(err)
	}
	if err := e.Close(); err != nil {
		t.Fatal(err)
	}
	if left, err := os.ReadDir(dir); err != nil || len(left) > 0 {
		t.Errorf("left: %v (%v)", left, err)
	}
}
