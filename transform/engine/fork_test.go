package engine_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"

	"scanledger/transform/engine"
)

// TestForks puts a view of each fork's own over one that all see.
func TestForks(t *testing.T) {
	e := open(t, engine.Options{})
	if err := errors.Join(e.Exec(t.Context(), "CREATE TABLE shared AS SELECT 7 AS n"), e.View(t.Context(), "seen", nil, "SELECT 1 AS n")); err != nil {
		t.Fatal(err)
	}
	var number atomic.Int64
	err := e.Fork(t.Context(), 3, func(ctx context.Context, fork *engine.Engine) error {
		own := number.Add(1)
		if err := fork.View(ctx, "seen", nil, fmt.Sprintf("SELECT n * %d AS n FROM shared", own)); err != nil {
			return err
		}
		if got, want := one(t, fork, "SELECT n FROM seen"), fmt.Sprint(7*own); got != want {
			return fmt.Errorf("fork %d sees %s, not %s", own, got, want)
		}
		if zone := one(t, fork, "SELECT current_setting('TimeZone')"); zone != "UTC" {
			return fmt.Errorf("fork %d is in zone %s", own, zone)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if got := one(t, e, "SELECT n FROM seen"); got != "1" {
		t.Errorf("the engine sees %s, what a fork put there", got)
	}
	if err := e.Fork(t.Context(), 1, func(_ context.Context, fork *engine.Engine) error {
		if got := one(t, fork, "SELECT n FROM seen"); got != "1" {
			return fmt.Errorf("a later fork sees %s, what an earlier one put there", got)
		}
		return nil
	}); err != nil {
		t.Error(err)
	}
}

// TestForksAreSetUpAlike: a setting that each connection has for itself has to be made on each.
func TestForksAreSetUpAlike(t *testing.T) {
	e := open(t, engine.Options{MemoryLimit: "300MiB", Threads: 2})
	const all = "SELECT string_agg(name || ' = ' || value, chr(10) ORDER BY name) FROM duckdb_settings() WHERE name NOT IN ('external_threads')"
	want := one(t, e, all)
	if err := e.Fork(t.Context(), 2, func(_ context.Context, fork *engine.Engine) error {
		if got := one(t, fork, all); got != want {
			return fmt.Errorf("a fork has\n%s\nnot\n%s", got, want)
		}
		return nil
	}); err != nil {
		t.Error(err)
	}
}

// TestForkFails stops the others when one fails, and tells what failed.
func TestForkFails(t *testing.T) {
	e := open(t, engine.Options{})
	var number atomic.Int64
	err := e.Fork(t.Context(), 2, func(ctx context.Context, fork *engine.Engine) error {
		if number.Add(1) == 1 {
			return fork.Exec(ctx, "SELECT * FROM nowhere")
		}
		<-ctx.Done()
		return ctx.Err()
	})
	if err == nil || !strings.Contains(err.Error(), "nowhere") {
		t.Errorf("got %v, want what failed", err)
	}
}

// TestSpread does every piece once, none beside more others than asked for.
func TestSpread(t *testing.T) {
	e := open(t, engine.Options{Threads: 2})
	for _, c := range []struct{ pieces, most, beside int }{{0, 3, 0}, {1, 3, 1}, {7, 1, 1}, {7, 7, 2}} {
		done := make([]atomic.Int64, c.pieces)
		var now, most atomic.Int64
		err := e.Spread(t.Context(), c.pieces, c.most, func(ctx context.Context, fork engine.SQL, nth int) error {
			done[nth].Add(1)
			most.Store(max(most.Load(), now.Add(1)))
			defer now.Add(-1)
			return fork.Define(ctx, "piece", fmt.Sprintf("SELECT %d AS n", nth))
		})
		if err != nil {
			t.Fatal(err)
		}
		for nth := range done {
			if n := done[nth].Load(); n != 1 {
				t.Errorf("%d pieces on %d forks: piece %d was done %d times", c.pieces, c.most, nth, n)
			}
		}
		if n := most.Load(); n > int64(c.beside) {
			t.Errorf("%d pieces on %d forks: %d at the same time", c.pieces, c.most, n)
		}
	}
}
