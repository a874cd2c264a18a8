package settle

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"scanledger/ingest/store"
	"scanledger/transform/engine"
)

// RepairOptions say how a store is repaired.
type RepairOptions struct {
	Records []string // files and folders with record files as they came in, used where an original is lost; any names
	Drop    bool     // take originals that are lost off the manifest's list
	Engine  engine.Options
	Tool    string  // name and version
	Watch   Watcher // nil: nobody watches
}

func (o RepairOptions) load() Options {
	out := Options{Engine: o.Engine, Tool: o.Tool}
	if o.Watch != nil {
		out.Watch = watchedAgain{o.Watch}
	}
	return out
}

// watchedAgain says nothing of extra columns: that was said when the file was loaded.
type watchedAgain struct{ Watcher }

// Extra says nothing.
func (watchedAgain) Extra(string, []string) {}

// Left is a file of a store that could not be rebuilt.
type Left struct {
	Path string     `json:"path"`
	What string     `json:"what"` // is wrong with it
	Why  string     `json:"why"`  // it could not be rebuilt, and what to do
	Part store.Part `json:"-"`
}

// Repaired says what a repair did.
type Repaired struct {
	Healed  []string `json:"healed"`  // files of the store that are again what was written
	Dropped []string `json:"dropped"` // originals that are no longer listed
	Left    []Left   `json:"left"`
}

// repair is one run over a damaged store.
type repair struct {
	ctx     context.Context
	opt     RepairOptions
	txn     *store.Txn
	records map[string]string
	rep     Repaired
}

// Repair puts files that are damaged or missing in the store at dir right: the manifest from its copy and the other way
// round, lists of rejects from each other, everything that a load wrote by loading the originals again, originals from
// record files at hand. A file is replaced only by the very bytes that were written. Samples are left to those who draw them.
func Repair(ctx context.Context, dir string, opt RepairOptions) (rep Repaired, err error) {
	txn, err := store.BeginRepair(dir)
	if err != nil {
		return Repaired{}, err
	}
	defer func() { err = errors.Join(err, txn.Close()) }()
	r := &repair{ctx: ctx, opt: opt, txn: txn, rep: Repaired{Healed: []string{}, Dropped: []string{}, Left: []Left{}}}
	faults, err := txn.Faults(ctx)
	if err != nil || len(faults) == 0 {
		return r.rep, err
	}
	if r.records, err = recordFiles(txn.Store, opt.Records); err != nil {
		return Repaired{}, err
	}
	if err := r.heal(faults); err != nil {
		return Repaired{}, err
	}
	if len(r.rep.Healed)+len(r.rep.Dropped) == 0 {
		return r.rep, nil
	}
	return r.rep, txn.Commit()
}

func (r *repair) heal(faults []store.Fault) error {
	var loaded []store.Fault // written by loads, and not to be had in another way
	for _, f := range faults {
		switch {
		case f.Part.Kind == "": // Commit writes it anew
			r.rep.Healed = append(r.rep.Healed, f.Path)
		case f.Part.Kind == store.Samples:
			r.leave(f, "it was drawn, not loaded")
		case f.Part.Kind == store.Originals:
			if err := r.original(f); err != nil {
				return err
			}
		case f.Part.Kind == store.Rejects && r.rejects(f):
		default:
			loaded = append(loaded, f)
		}
	}
	return r.loads(loaded)
}

func (r *repair) leave(f store.Fault, why string) {
	r.rep.Left = append(r.rep.Left, Left{f.Path, f.What, why, f.Part})
}

// original puts a record file at hand in the place of an original.
func (r *repair) original(f store.Fault) error {
	i := slices.IndexFunc(r.txn.Manifest.Files, func(file store.File) bool {
		p, ok := r.txn.Original(file)
		return ok && p.Path == f.Path
	})
	if i < 0 {
		r.leave(f, "no record file in the manifest is of this content; restore it from a copy of the store")
		return nil
	}
	file := r.txn.Manifest.Files[i]
	path, ok := r.records[file.SHA256]
	switch {
	case ok:
		r.rep.Healed = append(r.rep.Healed, f.Path)
		return r.txn.RestoreOriginal(file, path)
	case r.opt.Drop:
		r.rep.Dropped = append(r.rep.Dropped, f.Path)
		r.txn.Drop(f.Part)
	default:
		r.leave(f, fmt.Sprintf("an original cannot be made from anything else; give the record file %s (SHA-256 %s) with --records, restore the file from "+
			"a copy of the store, or go on without it with --drop-lost", file.Name, file.SHA256))
	}
	return nil
}

// rejects writes a list of rejects from the one beside it, and reports whether that worked.
func (r *repair) rejects(f store.Fault) bool {
	path, err := r.txn.RejectsAgain(r.ctx, f.Part)
	if err != nil {
		return false // loading again makes it too
	}
	same, err := r.txn.Restore(f.Part, path)
	if err != nil || !same {
		return false
	}
	r.rep.Healed = append(r.rep.Healed, f.Path)
	return true
}

// loads repeats every load up to the last that wrote one of the faulty files, in a scratch store, and takes those files from
// there.
func (r *repair) loads(faults []store.Fault) error {
	if len(faults) == 0 {
		return nil
	}
	last := slices.MaxFunc(faults, func(a, b store.Fault) int { return a.Part.Load - b.Part.Load }).Part.Load
	again := &replay{ctx: r.ctx, from: r.txn.Store, into: r.txn.StagePath("again"), records: r.records, opt: r.opt.load()}
	stopped := again.until(last)
	if err := r.ctx.Err(); err != nil {
		return err
	}
	for _, f := range faults {
		switch {
		case f.Part.Revision > 0:
			r.leave(f, "rows were removed from it on purpose, and loading again would bring them back; restore this file from a copy of the store made since")
		case f.Part.Load <= again.done:
			r.takeBack(again, f)
		default:
			r.leave(f, fmt.Sprintf("%v; give the record files as they came in with --records, or restore this file from a copy of the store", stopped))
		}
	}
	return nil
}

// takeBack takes a file from the loads just repeated.
func (r *repair) takeBack(again *replay, f store.Fault) {
	scratch := store.Store{Dir: again.into}
	same, err := r.txn.Restore(f.Part, scratch.Path(f.Part))
	switch {
	case err != nil:
		r.leave(f, fmt.Sprintf("repeating load %d did not give it back (%v)", f.Part.Load, err))
	case !same:
		r.leave(f, fmt.Sprintf("repeating load %d gives other bytes: the store was last written by %s, this is %s; use that version, rebuild the whole store "+
			"with --into, or restore this file from a copy of the store", f.Part.Load, r.txn.Manifest.Tool, r.opt.Tool))
	default:
		r.rep.Healed = append(r.rep.Healed, f.Path)
	}
}
