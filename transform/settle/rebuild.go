package settle

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"scanledger/ingest/disk"
	"scanledger/ingest/store"
)

// Rebuilt says how a store made from the originals compares with the one they were kept in.
type Rebuilt struct {
	Into    string       `json:"into"`
	Loads   int          `json:"loads"`
	Same    int          `json:"same"`    // files with the same bytes as when they were first written
	Differs []Difference `json:"differs"` // all others
}

// Difference is a file that is not the same in a rebuilt store.
type Difference struct {
	Path string `json:"path"`
	How  string `json:"how"`
}

// Rebuild makes a store anew in the folder into, which must not be there yet, by loading the originals of the store at dir
// again, load by load, and compares the two by their manifests. Samples are taken over: they were drawn, not loaded. The new
// folder appears whole or not at all; the store at dir stays as it is.
func Rebuild(ctx context.Context, dir, into string, opt RepairOptions) (out Rebuilt, err error) {
	if _, err := os.Lstat(into); !errors.Is(err, os.ErrNotExist) {
		return out, fmt.Errorf("rebuild into %s: something is there already; name a new folder", into)
	}
	txn, err := store.BeginRepair(dir)
	if err != nil {
		return out, err
	}
	defer func() { err = errors.Join(err, txn.Close()) }()
	if len(txn.Manifest.Forgotten) > 0 {
		return out, fmt.Errorf("rebuild into %s: records were removed from the store on purpose, and loading its record files again would bring them back; "+
			"restore the store from a copy made since", into)
	}
	records, err := recordFiles(txn.Store, opt.Records)
	if err != nil {
		return out, err
	}
	stage, err := disk.FreshScratch(filepath.Dir(into), ".rebuild-")
	if err != nil {
		return out, fmt.Errorf("rebuild into %s: %w", into, err)
	}
	defer func() { err = errors.Join(err, stage.Close()) }()
	r := &replay{ctx: ctx, from: txn.Store, into: filepath.Join(stage.Path, "store"), records: records, keep: true, opt: opt.load()}
	if out, err = r.rebuild(); err != nil {
		return out, fmt.Errorf("rebuild into %s: %w", into, err)
	}
	out.Into = into
	return out, errors.Join(disk.Rename(r.into, into), disk.Sync(filepath.Dir(into)))
}

// rebuild replays every load, each with the samples that were drawn before the next one.
func (r *replay) rebuild() (Rebuilt, error) {
	out := Rebuilt{Loads: len(r.from.Manifest.Loads), Differs: []Difference{}}
	for number := 1; number <= out.Loads; number++ {
		if err := r.until(number); err != nil {
			return out, err
		}
		lost, err := r.samples(number)
		if err != nil {
			return out, err
		}
		out.Differs = append(out.Differs, lost...)
	}
	made, err := store.Open(r.into)
	if err != nil {
		return out, err
	}
	if err := made.Verify(r.ctx); err != nil {
		return out, err
	}
	out.Same, out.Differs = compare(r.from.Manifest, made.Manifest, out.Differs)
	return out, nil
}

// samples takes over the samples drawn after a load. Those that are damaged are told of and left out.
func (r *replay) samples(load int) (lost []Difference, err error) {
	txn, err := store.Begin(r.into)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, txn.Close()) }()
	taken := 0
	for _, p := range r.from.Manifest.Parts {
		if p.Kind != store.Samples || p.Load != load {
			continue
		}
		if err := txn.TakeOver(r.from, p); err != nil {
			lost = append(lost, Difference{p.Path, fmt.Sprintf("left out: %v", err)})
			continue
		}
		taken++
	}
	if taken == 0 {
		return lost, nil
	}
	return lost, txn.Commit()
}

// compare tells which parts of a rebuilt store are byte for byte those that were written, and what the others are. Parts
// already told of are passed over.
func compare(was, made store.Manifest, told []Difference) (same int, differs []Difference) {
	differs = told
	known := map[string]bool{}
	for _, d := range told {
		known[d.Path] = true
	}
	sums := map[string]string{}
	for _, p := range made.Parts {
		sums[p.Path] = p.SHA256
	}
	for _, p := range was.Parts {
		sum, ok := sums[p.Path]
		delete(sums, p.Path)
		switch {
		case known[p.Path]:
		case !ok:
			differs = append(differs, Difference{p.Path, "was not made again"})
		case sum != p.SHA256:
			differs = append(differs, Difference{p.Path, "has other bytes"})
		default:
			same++
		}
	}
	for _, p := range made.Parts {
		if _, ok := sums[p.Path]; ok {
			differs = append(differs, Difference{p.Path, "is new"})
		}
	}
	if was.Tool != made.Tool {
		differs = append(differs, Difference{"manifest.json", fmt.Sprintf("names %s; the store was last written by %s", made.Tool, was.Tool)})
	}
	return same, differs
}
