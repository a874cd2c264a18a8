// Package forget takes a person's, a site's or old records out of a store.
//
// In: a store, and a request that names a technician, a site or a month. Out: the same store without those rows, or with
// codes in the place of what tells whose they are, in data, pool, fates, rejects, samples and kept record files, and a
// trail that counts what was removed and holds nothing personal. All of it is published at once, through the store. It
// never reads a record file, judges a row or computes a figure.
package forget

import (
	"context"
	"errors"
	"fmt"
	"time"

	"scanledger/ingest/store"
	"scanledger/transform/codes"
	"scanledger/transform/engine"
	"scanledger/transform/settle"
)

// Request says whose records are meant: of Technician, Site and Months exactly one is given.
type Request struct {
	Technician, Site string
	Months           int          // records from so many months before that of At, and older
	Coder            *codes.Coder // puts codes in the place of ids instead of removing rows; not with Months
	At               time.Time    // when it was asked for
	Tool             string       // name and version, for the trail
	Engine           engine.Options
	Place            store.Place // where the store is published besides its folder; nil: nowhere
}

// ErrNothing says that a store holds nothing of what is to be forgotten.
var ErrNothing = errors.New("the store holds no such record")

// before is the first UTC month that is kept.
func (r Request) before() string {
	at := r.At.UTC()
	return time.Date(at.Year(), at.Month()-time.Month(r.Months), 1, 0, 0, 0, 0, time.UTC).Format("2006-01")
}

// trail is the request as the manifest will have it.
func (r Request) trail(st *store.Store) store.Forgotten {
	out := store.Forgotten{Number: len(st.Manifest.Forgotten) + 1, At: r.At.UTC(), Did: store.Removed, Load: len(st.Manifest.Loads), Tool: r.Tool,
		Rows: []store.ForgottenRows{}}
	switch {
	case r.Technician != "":
		out.Rule = "technician"
	case r.Site != "":
		out.Rule = "site"
	default:
		out.Rule, out.Before = "older_than", r.before()
	}
	if r.Coder != nil {
		out.Did = store.Pseudonymised
	}
	return out
}

// Plan counts what a request would remove, and changes nothing.
func Plan(ctx context.Context, st *store.Store, r Request) (_ store.Forgotten, err error) {
	eng, err := engine.Open(ctx, r.Engine)
	if err != nil {
		return store.Forgotten{}, err
	}
	defer func() { err = errors.Join(err, eng.Close()) }()
	s, err := find(ctx, eng, st, r)
	return s.trail, err
}

// Forget does what a request says, as one step: all of it is published, or nothing. Where the store holds no such record
// it is ErrNothing.
func Forget(ctx context.Context, dir string, r Request) (_ store.Forgotten, err error) {
	txn, err := store.BeginAt(ctx, dir, r.Place)
	if err != nil {
		return store.Forgotten{}, err
	}
	defer func() { err = errors.Join(err, txn.Close()) }()
	if err := txn.Sound(ctx); err != nil { // writing a damaged part again would hide that it is
		return store.Forgotten{}, err
	}
	eng, err := engine.Open(ctx, r.Engine)
	if err != nil {
		return store.Forgotten{}, err
	}
	defer func() { err = errors.Join(err, eng.Close()) }()
	s, err := find(ctx, eng, txn.Store, r)
	if err != nil {
		return s.trail, err
	}
	e := eraser{subject: s, txn: txn, words: wordsOf(r, s.names), fresh: map[int]bool{}}
	if err := e.run(ctx); err != nil {
		return store.Forgotten{}, fmt.Errorf("forget: %w", err)
	}
	if err := ctx.Err(); err != nil {
		return store.Forgotten{}, err
	}
	txn.Manifest.Forgotten = append(txn.Manifest.Forgotten, e.trail)
	txn.Manifest.Tool = r.Tool
	return e.trail, txn.Commit()
}

// find makes out which rows are meant.
func find(ctx context.Context, eng *engine.Engine, st *store.Store, r Request) (*subject, error) {
	s := &subject{Request: r, eng: eng, st: st, trail: r.trail(st), about: marks{}, inspections: map[string]bool{}}
	if err := settle.Views(ctx, eng, st, len(st.Manifest.Loads)); err != nil {
		return s, err
	}
	for _, step := range []func(context.Context) error{s.markRows, s.markDuplicates, s.read} {
		if err := step(ctx); err != nil {
			return s, fmt.Errorf("forget: %w", err)
		}
	}
	if s.trail.Total() == 0 {
		return s, fmt.Errorf("forget: %w; nothing was changed", ErrNothing)
	}
	return s, nil
}

// marks are rows by record file and line: one bit a line.
type marks map[int][]uint64

func (m marks) add(file int, line int64) {
	word := int(line / 64)
	if grow := word + 1 - len(m[file]); grow > 0 {
		m[file] = append(m[file], make([]uint64, grow)...)
	}
	m[file][word] |= 1 << (line % 64)
}

func (m marks) has(file int, line int64) bool {
	bits := m[file]
	word := int(line / 64)
	return word < len(bits) && bits[word]&(1<<(line%64)) != 0
}

// originalsOf are the kept record files that have to go: those with a row that is meant or a text that was changed, and, as
// rejected rows and duplicates are kept nowhere else and cannot be told, those in which such a row may be meant.
func (e *eraser) originalsOf() (out []store.Part) {
	for _, f := range e.txn.Manifest.Files {
		p, kept := e.txn.Original(f)
		if kept && (len(e.about[f.Number]) > 0 || e.fresh[f.Number] || e.mayName(f)) {
			out = append(out, p)
		}
	}
	return out
}
