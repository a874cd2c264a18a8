package engine

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/duckdb/duckdb-go/v2"
)

// ErrMemory says that a statement took more memory than the engine may.
var ErrMemory = errors.New("it takes more memory than it may")

const (
	// besideEngine is what the process may take beside what it had and the engine's own limit: rows on their way
	// out, and lists, which the engine does not count. (House's choice.)
	besideEngine = 256 << 20
	// grace is how long a statement has to end once it is told to. Most do at once; a few functions never listen.
	grace = 500 * time.Millisecond
	// between is the time between two looks at the memory. At 1 GB a second, 20 MB are missed.
	between = 20 * time.Millisecond
)

// bounded runs work until it ends, its context ends, or the process has grown to the engine's ceiling.
// Work that goes on all the same is left to itself, and so is the engine.
func (e *Engine) bounded(ctx context.Context, work func(context.Context) error) error {
	if e.left {
		return errors.New("the engine is still busy with an earlier statement; open another")
	}
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	done := make(chan error, 1)
	go func() { done <- work(ctx) }()
	look := time.NewTicker(between)
	defer look.Stop()
	for {
		select {
		case err := <-done:
			return boundsError(ctx, err)
		case <-look.C:
			if e.ceiling > 0 && resident() > e.ceiling {
				cancel(ErrMemory)
			}
		case <-ctx.Done():
			wait := grace
			if errors.Is(context.Cause(ctx), ErrMemory) {
				wait = between // what grows would go on growing
			}
			select {
			case err := <-done:
				return boundsError(ctx, err)
			case <-time.After(wait):
				e.left = true
				return context.Cause(ctx)
			}
		}
	}
}

// boundsError tells a statement that met a bound from one that failed.
func boundsError(ctx context.Context, err error) error {
	var failed *duckdb.Error
	switch {
	case err != nil && ctx.Err() != nil:
		return context.Cause(ctx)
	case errors.As(err, &failed) && failed.Type == duckdb.ErrorTypeOutOfMemory:
		return fmt.Errorf("%w: %w", ErrMemory, err)
	}
	return err
}

// resident is the memory that the process holds, in bytes; 0 where the system does not say.
func resident() int64 {
	raw, err := os.ReadFile("/proc/self/statm")
	if err != nil {
		return 0
	}
	fields := strings.Fields(string(raw))
	if len(fields) < 2 {
		return 0
	}
	pages, err := strconv.ParseInt(fields[1], 10, 64)
	if err != nil {
		return 0
	}
	return pages * int64(os.Getpagesize())
}

// units of memory: by thousands, and by 1024 (IEC 80000-13).
var units = map[string]float64{"b": 1, "kb": 1e3, "mb": 1e6, "gb": 1e9, "tb": 1e12, "kib": 1 << 10, "mib": 1 << 20, "gib": 1 << 30, "tib": 1 << 40}

// Bytes reads an amount of memory, such as 512MiB.
func Bytes(text string) (int64, error) {
	number := strings.TrimRight(text, "BKMGTibkmgtI ")
	unit, known := units[strings.ToLower(strings.TrimSpace(text[len(number):]))]
	n, err := strconv.ParseFloat(number, 64)
	if bytes := n * unit; err == nil && known && bytes >= 1 && bytes <= math.MaxInt64/4 {
		return int64(bytes), nil
	}
	return 0, fmt.Errorf("%q is no amount of memory; give one such as 512MiB", text)
}
