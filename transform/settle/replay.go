package settle

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"

	"scanledger/ingest"
	"scanledger/ingest/store"
)

// replay loads the record files of a store again, load by load, into another store. A load depends on nothing but its
// files, their order, when they came in and what was held before, so the same program makes the same bytes.
type replay struct {
	ctx     context.Context
	from    *store.Store
	into    string            // folder of the other store
	records map[string]string // record files at hand, by their SHA-256
	keep    bool              // keep originals where from does
	opt     Options
	done    int // loads replayed
}

// until replays loads up to the one with that number, and says what stopped it before that.
func (r *replay) until(last int) error {
	for r.done < last {
		if err := r.load(r.done + 1); err != nil {
			return fmt.Errorf("load %d cannot be repeated: %w", r.done+1, err)
		}
		r.done++
	}
	return nil
}

// load replays one load.
func (r *replay) load(number int) (err error) {
	txn, err := store.Begin(r.into)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, txn.Close()) }()
	opt := r.opt
	opt.ReceivedAt = r.from.Manifest.Loads[number-1].ReceivedAt
	l := newLoad(r.ctx, txn, opt)
	for _, f := range r.from.Manifest.Files {
		if f.Load != number {
			continue
		}
		src, err := r.source(txn, f)
		if err != nil {
			return err
		}
		l.sources = append(l.sources, src)
	}
	_, err = l.take()
	return err
}

// source lays a record file out under its own name, from which its format is told.
func (r *replay) source(txn *store.Txn, f store.File) (source, error) {
	path := filepath.Join(txn.StagePath("originals"), strconv.Itoa(f.Number), filepath.Base(f.Name))
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return source{}, err
	}
	if err := r.layOut(f, path); err != nil {
		return source{}, err
	}
	src, err := ingest.Identify(path, f.RecordSet)
	src.Renames = f.Renames
	_, kept := r.from.Original(f)
	return source{src, f.SHA256, f.Bytes, kept && r.keep}, err
}

func (r *replay) layOut(f store.File, path string) error {
	if at, ok := r.records[f.SHA256]; ok {
		return os.Symlink(at, path)
	}
	if _, ok := r.from.Original(f); !ok {
		return fmt.Errorf("no original of %s was kept", f.Name)
	}
	return r.from.Unpack(f, path)
}

// recordFiles finds those of the store's record files that lie below the given paths, under whatever names.
func recordFiles(st *store.Store, paths []string) (map[string]string, error) {
	out := map[string]string{}
	for _, root := range paths {
		err := filepath.WalkDir(root, func(path string, entry os.DirEntry, err error) error {
			if err != nil || !entry.Type().IsRegular() {
				return err
			}
			sum, _, err := ingest.HashFile(path)
			if err != nil {
				return err
			}
			if _, ok := st.Holding(sum); ok {
				out[sum], err = filepath.Abs(path)
			}
			return err
		})
		if err != nil {
			return nil, fmt.Errorf("look for record files in %s: %w", root, err)
		}
	}
	return out, nil
}
