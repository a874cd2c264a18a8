package main

import (
	"errors"
	"fmt"
	"path"
	"slices"
	"strings"

	"scanledger/ingest/store"
	"scanledger/queries"
	"scanledger/transform/settle"
)

type repairCmd struct {
	Store    string   `required:"" help:"Folder of the store." type:"path" placeholder:"DIR"`
	Records  []string `help:"Files or folders with record files as they came in, under any names, used where an original is lost or was not kept." type:"path" placeholder:"PATH"`
	DropLost bool     `help:"Take originals and samples that cannot be brought back off the store's list, and go on without them."`
	Into     string   `help:"Rebuild the whole store in this new folder instead, from nothing but the originals, and compare the two." type:"path" placeholder:"DIR"`
}

var errStillDamaged = errors.New("not all could be brought back")

// Run rebuilds what is damaged, and says what could not be and what to do.
func (c *repairCmd) Run(a *app) error {
	if c.Into != "" && c.DropLost {
		return fmt.Errorf("%w: repair: --drop-lost changes a store, --into leaves it as it is; give one of them", errUsage)
	}
	w := &watch{a: a}
	defer w.finish()
	opt := settle.RepairOptions{Records: c.Records, Drop: c.DropLost, Engine: a.engine(), Tool: version(), Watch: w}
	if c.Into != "" {
		return c.rebuild(a, opt)
	}
	rep, err := settle.Repair(a.ctx, c.Store, opt)
	if err == nil {
		err = c.samples(a, &rep)
	}
	w.finish()
	if err != nil {
		return err
	}
	return c.sayRepaired(a, rep)
}

func (c *repairCmd) sayRepaired(a *app, rep settle.Repaired) error {
	if a.json {
		if err := a.object(rep); err != nil {
			return err
		}
	}
	for _, said := range []struct {
		files []string
		what  string
	}{{rep.Healed, "brought back, byte for byte"}, {rep.Dropped, "no longer listed"}} {
		for _, file := range said.files {
			if err := a.say("%s: %s", file, said.what); err != nil {
				return err
			}
		}
	}
	var left []error
	for _, f := range rep.Left {
		left = append(left, fmt.Errorf("%s %s: %s", f.Path, f.What, f.Why))
	}
	if len(left) > 0 {
		return errors.Join(append(left, fmt.Errorf("repair store %s: %w; files left as they were: %d", c.Store, errStillDamaged, len(left)))...)
	}
	v, err := a.verify(c.Store)
	if err != nil {
		return err
	}
	return a.saySound(v)
}

// rebuild makes the whole store anew in another folder.
func (c *repairCmd) rebuild(a *app, opt settle.RepairOptions) error {
	out, err := settle.Rebuild(a.ctx, c.Store, c.Into, opt)
	if err != nil {
		return err
	}
	if a.json {
		err = a.object(out)
	} else {
		err = a.say("%d loads repeated in %s; %d files have the same bytes as when they were first written", out.Loads, out.Into, out.Same)
	}
	if err != nil || len(out.Differs) == 0 {
		return err
	}
	var differs []error
	for _, d := range out.Differs {
		differs = append(differs, fmt.Errorf("%s %s", d.Path, d.How))
	}
	return errors.Join(append(differs, fmt.Errorf("%d files are not as they were first written; the new store is sound in itself: "+
		"compare figures of the two before you go on with it", len(differs)))...)
}

// samples draws samples again of which a file is damaged, and enters in rep what came of it.
func (c *repairCmd) samples(a *app, rep *settle.Repaired) (err error) {
	isSample := func(f settle.Left) bool { return f.Part.Kind == store.Samples }
	if !slices.ContainsFunc(rep.Left, isSample) {
		return nil
	}
	txn, err := store.BeginRepair(c.Store)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, txn.Close()) }()
	left, again := []settle.Left{}, redrawn{}
	for _, f := range rep.Left {
		if !isSample(f) {
			left = append(left, f)
			continue
		}
		err := again.restore(a, txn, f.Part)
		switch {
		case a.ctx.Err() != nil:
			return a.ctx.Err()
		case err == nil:
			rep.Healed = append(rep.Healed, f.Path)
		case c.DropLost:
			rep.Dropped = append(rep.Dropped, txn.DropSample(sampleOf(f.Part))...)
		default:
			f.Why = err.Error() + "; restore this file from a copy of the store, or go on without the sample with --drop-lost"
			left = append(left, f)
		}
	}
	restored := len(left) < len(rep.Left)
	rep.Left = left
	if !restored {
		return nil
	}
	return txn.Commit()
}

// sampleOf is the name of the sample that a part belongs to.
func sampleOf(p store.Part) string {
	return strings.TrimSuffix(path.Base(p.FirstPath()), path.Ext(p.Path))
}

// redrawn is the samples drawn again so far, by name.
type redrawn map[string]queries.Sample

// restore puts a file of a sample back: only the very bytes that were written.
func (again redrawn) restore(a *app, txn *store.Txn, p store.Part) (err error) {
	if p.Revision > 0 {
		return errors.New("rows were removed from it, and nothing tells which")
	}
	name := sampleOf(p)
	s, ok := again[name]
	if !ok {
		if s, err = drawAgain(a, txn.Store, name, p.Load); err != nil {
			return err
		}
		again[name] = s
	}
	same, err := txn.RestoreSample(p, name, s, s.Frame)
	if err == nil && !same {
		err = errors.New("drawn again it is not the same: it was drawn with other settings, which --config may name, or by another version")
	}
	return err
}

// drawAgain repeats a draw. It depends on its month, rule and seed, which are its name, on what was held then, and on settings.
func drawAgain(a *app, st *store.Store, name string, load int) (queries.Sample, error) {
	month, rule, seed, err := queries.ParseSampleName(name)
	if err != nil {
		return queries.Sample{}, err
	}
	then := heldAfter(st, load)
	if err := then.Sound(a.ctx); err != nil {
		return queries.Sample{}, fmt.Errorf("the records it was drawn from are damaged too: %w", err)
	}
	return (&sampleCmd{Month: month, Seed: seed}).draw(a, then, rule)
}

// heldAfter is a store as it was once it had taken a load in, without samples.
func heldAfter(st *store.Store, load int) *store.Store {
	out := *st
	out.Manifest.Loads = st.Manifest.Loads[:load]
	out.Manifest.Parts = nil
	for _, p := range st.Manifest.Parts {
		if p.Load <= load && p.Kind != store.Samples {
			out.Manifest.Parts = append(out.Manifest.Parts, p)
		}
	}
	return &out
}
