package engine

import (
	"context"
	"errors"
	"testing"
	"time"
)

func TestBytes(t *testing.T) {
	for text, want := range map[string]int64{"512MiB": 512 << 20, "1GiB": 1 << 30, "2GB": 2_000_000_000, "1.5 kib": 1536, "7b": 7} {
		if got, err := Bytes(text); err != nil || got != want {
			t.Errorf("%s is %d, %v; want %d", text, got, err, want)
		}
	}
	for _, text := range []string{"", "much", "-1MB", "0GB", "1e30TiB", "12", "5 apples", "NaNMB"} {
		if got, err := Bytes(text); err == nil {
			t.Errorf("%q is %d", text, got)
		}
	}
}

// TestLeftEngine: a statement that does not listen is left after its time, and the engine then takes no other.
func TestLeftEngine(t *testing.T) {
	e, err := Open(context.Background(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	deaf := make(chan struct{})
	defer close(deaf)
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Millisecond)
	defer cancel()
	began := time.Now()
	if err := e.bounded(ctx, func(context.Context) error { <-deaf; return nil }); !errors.Is(err, context.DeadlineExceeded) || time.Since(began) > 10*time.Second {
		t.Errorf("%v after %s", err, time.Since(began))
	}
	if err := e.bounded(context.Background(), func(context.Context) error { return nil }); err == nil {
		t.Error("a busy engine took another statement")
	}
	if err := e.Close(); err != nil {
		t.Error(err)
	}
}

// TestMemoryCeiling: a process that has grown beyond its ceiling ends the statement with ErrMemory.
func TestMemoryCeiling(t *testing.T) {
	e, err := Open(context.Background(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = e.Close() }()
	if resident() == 0 {
		t.Fatal("the system does not tell the process's memory")
	}
	e.ceiling = 1
	if err := e.bounded(context.Background(), func(ctx context.Context) error { <-ctx.Done(); return ctx.Err() }); !errors.Is(err, ErrMemory) {
		t.Errorf("%v", err)
	}
}
