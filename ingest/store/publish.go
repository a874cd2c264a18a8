package store

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"scanledger/ingest"
)

// Txn is one write to a store: parts are staged in it, then published together or not at all.
type Txn struct {
	*Store
	lock  *lock
	stage string
	moves []Part // staged parts; Path is where each will stand
	swaps []Part // staged parts that the manifest lists already, in the place of others; see Replace
	parts int    // parts begun, to name them
	Load  int    // the number this load will have
}

// Begin takes the store's lock, sweeps what an earlier process left half done, and opens a stage.
func Begin(dir string) (*Txn, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("make store: %w", err)
	}
	l, err := takeLock(dir)
	if err != nil {
		return nil, err
	}
	t := &Txn{lock: l}
	if t.Store, err = openOrNew(dir); err == nil {
		err = t.sweep()
	}
	if err == nil {
		t.stage, err = os.MkdirTemp(dir, stagePrefix)
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("begin load: %w", err), l.release())
	}
	t.Load = len(t.Manifest.Loads) + 1
	return t, nil
}

// sweep removes stage folders and Parquet files that no manifest lists.
func (t *Txn) sweep() error {
	listed := map[string]bool{}
	for _, p := range t.Manifest.Parts {
		listed[t.Path(p)] = true
	}
	stages, err := filepath.Glob(filepath.Join(t.Dir, stagePrefix+"*"))
	if err != nil {
		return err
	}
	for _, s := range stages {
		if err := os.RemoveAll(s); err != nil {
			return err
		}
	}
	return t.walkParts(func(path string) error {
		if listed[path] {
			return nil
		}
		return os.Remove(path)
	})
}

// walkParts visits every file below the folders that hold parts.
func (s *Store) walkParts(visit func(path string) error) error {
	for _, kind := range []PartKind{Data, Pool, Fates, Rejects, Samples} {
		err := filepath.WalkDir(filepath.Join(s.Dir, string(kind)), func(path string, d fs.DirEntry, err error) error {
			if errors.Is(err, os.ErrNotExist) {
				return nil
			}
			if err != nil || d.IsDir() {
				return err
			}
			return visit(path)
		})
		if err != nil {
			return fmt.Errorf("look through store: %w", err)
		}
	}
	return nil
}

// StagePath is a path inside the stage for a scratch file.
func (t *Txn) StagePath(name string) string { return filepath.Join(t.stage, name) }

// Add registers a staged file, now complete at path, to stand at part.Path when published.
func (t *Txn) Add(part Part, path string) error {
	var err error
	if part.SHA256, part.Bytes, err = ingest.HashFile(path); err != nil {
		return fmt.Errorf("stage %s: %w", part.Path, err)
	}
	part.Load = t.Load
	t.moves = append(t.moves, part)
	return t.stageFinal(part, path)
}

// stageFinal puts a complete file where the part stands until it is published.
func (t *Txn) stageFinal(part Part, path string) error {
	final := t.StagedPath(part)
	if err := os.MkdirAll(filepath.Dir(final), 0o700); err != nil {
		return fmt.Errorf("stage %s: %w", part.Path, err)
	}
	if err := os.Rename(path, final); err != nil {
		return fmt.Errorf("stage %s: %w", part.Path, err)
	}
	return nil
}

// StagedPath is where an added part stands until it is published.
func (t *Txn) StagedPath(p Part) string {
	return filepath.Join(t.stage, "final", filepath.FromSlash(p.Path))
}

// Commit publishes the staged parts under a manifest whose loads, files and dropped pool parts the
// caller has brought up to date in t.Manifest. The manifest is renamed last.
func (t *Txn) Commit() error {
	for _, p := range slices.Concat(t.moves, t.swaps) {
		if err := t.moveIn(p); err != nil {
			return fmt.Errorf("publish %s: %w", p.Path, err)
		}
	}
	t.Manifest.Parts = append(t.Manifest.Parts, t.moves...)
	pkg, err := dataPackage(t.Manifest)
	if err != nil {
		return fmt.Errorf("publish: %w", err)
	}
	if err := writeSynced(filepath.Join(t.stage, packageName), pkg); err != nil {
		return fmt.Errorf("publish: %w", err)
	}
	manifest, err := json.MarshalIndent(t.Manifest, "", " ")
	if err != nil {
		return fmt.Errorf("publish: %w", err)
	}
	if err := writeSynced(filepath.Join(t.stage, manifestName), append(manifest, '\n')); err != nil {
		return fmt.Errorf("publish: %w", err)
	}
	for _, name := range []string{packageName, manifestName} {
		if err := os.Rename(filepath.Join(t.stage, name), filepath.Join(t.Dir, name)); err != nil {
			return fmt.Errorf("publish: %w", err)
		}
	}
	return errors.Join(syncDir(t.Dir), t.sweep())
}

func (t *Txn) moveIn(p Part) error {
	from := t.StagedPath(p)
	to := t.Path(p)
	if err := syncFile(from); err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(to), 0o700); err != nil {
		return err
	}
	if err := os.Rename(from, to); err != nil {
		return err
	}
	// Every folder up to the store may be new; a name is safe on disk once its folder is synced.
	for dir := filepath.Dir(to); strings.HasPrefix(dir, t.Dir) && len(dir) > len(t.Dir); dir = filepath.Dir(dir) {
		if err := syncDir(dir); err != nil {
			return err
		}
	}
	return nil
}

// Close drops the stage and the lock. After Commit it only unlocks.
func (t *Txn) Close() error {
	return errors.Join(os.RemoveAll(t.stage), t.lock.release())
}

func writeSynced(path string, content []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(content)
	return errors.Join(err, f.Sync(), f.Close())
}

func syncFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

func syncDir(path string) error {
	d, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
