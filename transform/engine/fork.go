package engine

import (
	"context"
	"errors"
	"fmt"
	"sync/atomic"
)

// Fork runs work at the same time on so many connections to this engine's database, and returns what went wrong. Each
// sees the engine's tables and views, and may put views and temporary tables of its own over them, which the others
// do not see. One statement over little data keeps one core busy: that is what forks are for. Memory and cores stay
// those of the engine. The engine itself must not be used until Fork returns.
func (e *Engine) Fork(ctx context.Context, connections int, work func(ctx context.Context, fork *Engine) error) (err error) {
	if connections > 1 {
		// As many of the engine's threads as there are forks wait for their work only: otherwise they wait in turns on fewer cores than they are.
		threads, err := e.threads(ctx)
		if err != nil {
			return err
		}
		if err := e.external(ctx, min(connections, threads)); err != nil {
			return err
		}
		defer func() { err = errors.Join(err, e.external(context.WithoutCancel(ctx), 1)) }()
	}
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	done := make(chan error)
	for range connections {
		go func() {
			err := e.onConnection(ctx, work)
			if err != nil {
				stop(err)
			}
			done <- err
		}()
	}
	var errs []error
	for range connections {
		errs = append(errs, <-done)
	}
	if cause := context.Cause(ctx); cause != nil {
		return cause // the first; the others were stopped for it
	}
	return errors.Join(errs...)
}

// external says how many of the engine's threads are connections' own.
func (e *Engine) external(ctx context.Context, threads int) error {
	return e.Exec(ctx, fmt.Sprintf("SET external_threads = %d", threads))
}

func (e *Engine) onConnection(ctx context.Context, work func(ctx context.Context, fork *Engine) error) (err error) {
	conn, err := e.db.Conn(ctx)
	if err != nil {
		return ended(ctx, fmt.Errorf("open a connection to the engine: %w", err))
	}
	defer func() { err = errors.Join(err, conn.Close()) }()
	fork := *e
	fork.conn, fork.own = conn, true
	return work(ctx, &fork)
}

// Spread runs pieces of work on at most so many forks at the same time, as many as there are threads.
func (e *Engine) Spread(ctx context.Context, pieces, most int, work func(ctx context.Context, fork SQL, nth int) error) error {
	threads, err := e.threads(ctx)
	if err != nil {
		return err
	}
	var begun atomic.Int64
	return e.Fork(ctx, min(threads, pieces, most), func(ctx context.Context, fork *Engine) error {
		for {
			nth := int(begun.Add(1)) - 1
			if nth >= pieces {
				return nil
			}
			if err := ctx.Err(); err != nil {
				return err
			}
			if err := work(ctx, fork, nth); err != nil {
				return err
			}
		}
	})
}

func (e *Engine) threads(ctx context.Context) (n int, err error) {
	err = e.Each(ctx, "SELECT current_setting('threads')", nil, func(scan func(...any) error) error { return scan(&n) })
	return n, err
}
