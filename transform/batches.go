package transform

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"scanledger/transform/engine"
)

// together is how many visits and readings the months have that are made by one statement: where there are few, most of what a statement
// costs is its beginning.
const together = 100_000

// apart is from how many rows on months are made one after another, since two of them would not fit into memory.
const apart = 1_000_000

// staleMonth is a month with passes, by name, whose tables have to be made again.
type staleMonth struct {
	*month
	passes []string
}

// stale takes over what need not be made again, and lists the other months in order.
func (m *maker) stale(passes []pass, pick func(pass) []string) (out []staleMonth, err error) {
	for _, at := range m.months {
		s := staleMonth{month: at}
		for _, p := range passes {
			tables := pick(p)
			if len(tables) == 0 {
				continue
			}
			taken, err := m.takeOver(at, p.name, tables)
			if err != nil {
				return nil, err
			}
			if !taken {
				s.passes = append(s.passes, p.name)
			}
		}
		if len(s.passes) > 0 {
			out = append(out, s)
		}
	}
	return out, nil
}

// batches parts months into those that are made by the same statements.
func batches(months []staleMonth) (out [][]staleMonth) {
	var n int64
	for _, s := range months {
		if n += s.size; len(out) == 0 || n > together {
			out, n = append(out, nil), s.size
		}
		out[len(out)-1] = append(out[len(out)-1], s)
	}
	return out
}

func rows(batch []staleMonth) (n int64) {
	for _, s := range batch {
		n += s.size
	}
	return n
}

// span names the months of a batch.
func span(batch []staleMonth) string {
	first, last := batch[0].name, batch[len(batch)-1].name
	if first == last {
		return first
	}
	return first + " to " + last
}

// eachBatch has batches made, spread over the engine: one is too little for a statement to keep more than one core busy.
func (m *maker) eachBatch(batches [][]staleMonth, work func(w *maker, batch []staleMonth) error) error {
	most := len(batches)
	if slices.ContainsFunc(batches, func(batch []staleMonth) bool { return rows(batch) > apart }) {
		most = 1
	}
	return m.e.Spread(m.ctx, len(batches), most, func(ctx context.Context, fork engine.SQL, nth int) error {
		w := *m
		w.ctx, w.e = ctx, fork
		return work(&w, batches[nth])
	})
}

// takeOver reports whether the given tables of a month, as the earlier run left them, are what they would be
// now, and takes them over if so.
func (m *maker) takeOver(at *month, pass string, tables []string) (bool, error) {
	if at.earlier[pass] == "" || at.earlier[pass] != at.digests[pass] {
		return false, nil
	}
	for _, table := range tables {
		from := filepath.Join(m.opt.Earlier, table, at.name+".parquet")
		err := share(from, m.path(table, at))
		if errors.Is(err, fs.ErrNotExist) { // half an output is none
			return false, nil
		}
		if err != nil {
			return false, fmt.Errorf("take over %s: %w", from, err)
		}
	}
	return true, nil
}

// share gives a file a second name, or copies it where that cannot be: no output changes a file once it is written.
func share(from, to string) (err error) {
	if err := os.Remove(to); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := os.Link(from, to); err == nil || errors.Is(err, fs.ErrNotExist) {
		return err
	}
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, in.Close()) }()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}
