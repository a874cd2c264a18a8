package store

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"scanledger/ingest"
	"scanledger/ingest/disk"
)

// Txn is one write to a store: parts are staged in it, then published together or not at all.
type Txn struct {
	*Store
	lock     *lock
	stage    string
	added    []Part // staged parts; Path is where each will stand
	replaced []Part // staged parts that will stand in the place of damaged ones
	moving   bool   // publishing has begun and not ended
	away     *away  // where else it is published; nil: nowhere
	parts    int    // parts begun, to name them
	Load     int    // the number this load will have
}

// Begin takes the store's lock, sweeps what an earlier process left half done, and opens a stage.
func Begin(dir string) (*Txn, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("make store: %w", err)
	}
	if err := refuseCopy(dir); err != nil {
		return nil, err
	}
	return begin(dir, openToWrite, (*Txn).restoreDoubles, (*Txn).sweepParts)
}

// begin takes the lock, opens the store and a stage, and takes the given steps; where one fails, no lock is left behind.
// The stage is there before those of dead processes go, so that a folder with leftovers always has one.
func begin(dir string, open func(dir string) (*Store, error), steps ...func(*Txn) error) (*Txn, error) {
	l, err := takeLock(dir)
	if err != nil {
		return nil, err
	}
	t := &Txn{lock: l}
	if t.Store, err = open(dir); err != nil {
		return nil, errors.Join(err, l.release())
	}
	t.Load = len(t.Manifest.Loads) + 1
	if t.stage, err = os.MkdirTemp(dir, stagePrefix); err != nil {
		return nil, errors.Join(fmt.Errorf("begin to write to store %s: %w", dir, err), l.release())
	}
	for _, step := range append([]func(*Txn) error{(*Txn).sweepStages}, steps...) {
		if err := step(t); err != nil {
			return nil, errors.Join(fmt.Errorf("begin to write to store %s: %w", dir, err), t.Close())
		}
	}
	return t, nil
}

// sweepStages removes the stages of dead processes.
func (t *Txn) sweepStages() error {
	stages, err := disk.Named(t.Dir, stagePrefix)
	if err != nil {
		return err
	}
	for _, s := range stages {
		if s == t.stage {
			continue
		}
		if err := disk.RemoveAll(s); err != nil {
			return err
		}
	}
	return nil
}

// sweepParts removes files that no manifest lists.
func (t *Txn) sweepParts() error {
	listed := map[string]bool{}
	for _, p := range t.Manifest.Parts {
		listed[t.Path(p)] = true
	}
	return t.walkParts(func(path string) error {
		if listed[path] {
			return nil
		}
		return disk.Remove(path)
	})
}

// restoreDoubles puts right the files that repeat the manifest, which a killed process may have left ahead of it, before
// anything they list is swept.
func (t *Txn) restoreDoubles() error {
	if len(t.Manifest.Loads) == 0 {
		return nil
	}
	files, err := t.Manifest.doubles()
	if err != nil {
		return err
	}
	if _, err := os.Lstat(filepath.Join(t.Dir, manifestName)); errors.Is(err, os.ErrNotExist) {
		files[manifestName] = files[copyName]
	}
	for _, name := range []string{packageName, copyName, manifestName} {
		have, err := os.ReadFile(filepath.Join(t.Dir, name))
		if files[name] == nil || err == nil && bytes.Equal(have, files[name]) {
			continue
		}
		if err := errors.Join(disk.Write(t.StagePath(name), files[name]), t.rename(name)); err != nil {
			return err
		}
	}
	return nil
}

// rename puts a file of the stage into the store's own folder, under the same name, and makes that last.
func (t *Txn) rename(name string) error {
	if err := disk.Rename(t.StagePath(name), filepath.Join(t.Dir, name)); err != nil {
		return err
	}
	return disk.Sync(t.Dir)
}

// walkParts visits every file below the folders that hold parts.
func (s *Store) walkParts(visit func(path string) error) error {
	for _, kind := range []PartKind{Originals, Data, Pool, Fates, Rejects, Samples} {
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
	final := t.StagedPath(part)
	if err := os.MkdirAll(filepath.Dir(final), 0o700); err != nil {
		return fmt.Errorf("stage %s: %w", part.Path, err)
	}
	if err := os.Rename(path, final); err != nil {
		return fmt.Errorf("stage %s: %w", part.Path, err)
	}
	t.added = append(t.added, part)
	return nil
}

// StagedPath is where an added part stands until it is published.
func (t *Txn) StagedPath(p Part) string {
	return filepath.Join(t.stage, "final", filepath.FromSlash(p.Path))
}

// Commit publishes the staged parts under a manifest whose loads, files and dropped pool parts the
// caller has brought up to date in t.Manifest. Everything is on disk before anything is renamed, and the manifest is
// renamed last, just after its copy.
func (t *Txn) Commit() error {
	t.Manifest.Parts = append(t.Manifest.Parts, t.added...)
	moves := slices.Concat(t.replaced, t.added)
	if err := t.syncStage(moves); err != nil {
		return err
	}
	if err := t.publishAway(); err != nil {
		return err
	}
	t.moving = true
	for _, p := range moves {
		if err := t.moveIn(p); err != nil {
			return fmt.Errorf("publish %s: %w", p.Path, err)
		}
	}
	for _, name := range []string{packageName, copyName, manifestName} {
		if err := t.rename(name); err != nil {
			return fmt.Errorf("publish %s: %w", name, err)
		}
	}
	t.moving = false
	return errors.Join(t.sweepParts(), t.tidyAway())
}

// syncStage brings what is to be published onto the disk: parts, manifest, and the files that repeat it.
func (t *Txn) syncStage(moves []Part) error {
	files, err := t.Manifest.doubles()
	if err != nil {
		return fmt.Errorf("publish: %w", err)
	}
	files[manifestName] = files[copyName]
	for _, name := range []string{packageName, copyName, manifestName} {
		if err := disk.Write(t.StagePath(name), files[name]); err != nil {
			return fmt.Errorf("publish %s: %w", name, err)
		}
	}
	for _, p := range moves {
		if err := disk.Sync(t.StagedPath(p)); err != nil {
			return fmt.Errorf("publish %s: %w", p.Path, err)
		}
	}
	return nil
}

func (t *Txn) moveIn(p Part) error {
	from := t.StagedPath(p)
	to := t.Path(p)
	if err := os.MkdirAll(filepath.Dir(to), 0o700); err != nil {
		return err
	}
	if err := disk.Rename(from, to); err != nil {
		return err
	}
	// Every folder up to the store may be new; a name is safe on disk once its folder is synced.
	for dir := filepath.Dir(to); strings.HasPrefix(dir, t.Dir) && len(dir) > len(t.Dir); dir = filepath.Dir(dir) {
		if err := disk.Sync(dir); err != nil {
			return err
		}
	}
	return nil
}

// Close drops the stage and the lock. After Commit it only unlocks. Where publishing failed half way, the stage stays, as
// after a crash: it tells the next one that unlisted parts are leftovers and no store that lost its manifest.
func (t *Txn) Close() error {
	if t.moving {
		return t.lock.release()
	}
	return errors.Join(disk.RemoveAll(t.stage), t.lock.release())
}
