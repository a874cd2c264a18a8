package store

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"scanledger/ingest"
	"scanledger/ingest/disk"
)

// BeginRepair is Begin for a store that may be damaged. Where the manifest is, its copy stands in for it; where both are,
// the error says what is lost with them. Nothing of the store is changed before Commit, which writes the manifest, its copy
// and the description anew.
func BeginRepair(dir string) (*Txn, error) {
	if _, err := os.Stat(dir); err != nil {
		return nil, fmt.Errorf("repair store %s: %w", dir, err)
	}
	if err := refuseCopy(dir); err != nil {
		return nil, fmt.Errorf("%w; a damaged file of a copy is removed, and fetched again by the next command that reads it", err)
	}
	return begin(dir, openToRepair)
}

func openToRepair(dir string) (*Store, error) {
	m, err := readManifest(filepath.Join(dir, manifestName))
	if err == nil {
		err = m.upgrade()
		return &Store{Dir: dir, Manifest: m}, err
	}
	copied, copyErr := readManifest(filepath.Join(dir, copyName))
	missing := errors.Is(err, os.ErrNotExist)
	switch {
	case missing && errors.Is(copyErr, os.ErrNotExist):
		return nil, noManifest(dir)
	case copyErr != nil:
		return nil, lost(dir, fmt.Errorf("%w; %w", err, copyErr))
	case missing:
		err = errors.New("is missing")
	case errors.Is(err, ErrDamaged):
		err = errors.New("is damaged: its text does not agree with the checksum in it")
	default:
		err = unreadable(err)
	}
	recovered := &Fault{Path: manifestName, What: err.Error()}
	err = copied.upgrade()
	return &Store{Dir: dir, Manifest: copied, recovered: recovered}, err
}

// Restore stages the file at path to stand in the place of part p, and reports whether it is what was written; another
// file is not staged.
func (t *Txn) Restore(p Part, path string) (same bool, err error) {
	if info, err := os.Lstat(t.Path(p)); err == nil && info.IsDir() {
		return false, fmt.Errorf("restore %s: a folder stands there; move it away, then repair again", p.Path)
	}
	sum, size, err := ingest.HashFile(path)
	if err != nil || sum != p.SHA256 || size != p.Bytes {
		return false, err
	}
	return true, t.replace(p, path)
}

func (t *Txn) replace(p Part, path string) error {
	final := t.StagedPath(p)
	if err := errors.Join(os.MkdirAll(filepath.Dir(final), 0o700), os.Rename(path, final)); err != nil {
		return fmt.Errorf("restore %s: %w", p.Path, err)
	}
	t.replaced = append(t.replaced, p)
	return nil
}

// RestoreOriginal keeps the record file at path in the place of the original of f. Its content must be the same; its
// compressed bytes may be others where the library has changed since, and then the manifest goes by the new ones.
func (t *Txn) RestoreOriginal(f File, path string) error {
	p, ok := t.Original(f)
	if !ok {
		return fmt.Errorf("restore original of %s: none was kept", f.Name)
	}
	packed, err := t.pack(f, path)
	if err != nil {
		return err
	}
	i := slices.Index(t.Manifest.Parts, p)
	if p.SHA256, p.Bytes, err = ingest.HashFile(packed); err != nil {
		return err
	}
	t.Manifest.Parts[i] = p
	return t.replace(p, packed)
}

// Drop takes a lost part off the manifest's list.
func (t *Txn) Drop(p Part) {
	t.Manifest.Parts = slices.DeleteFunc(t.Manifest.Parts, func(q Part) bool { return q.Path == p.Path })
}

// DropSample takes both files of a sample off the manifest's list, and names those that were on it.
func (t *Txn) DropSample(name string) (dropped []string) {
	for _, ending := range []string{".json", ".parquet"} {
		path := SamplePath(name, ending)
		if p, listed := t.part(func(p Part) bool { return p.FirstPath() == path }); listed {
			dropped = append(dropped, p.Path)
			t.Drop(p)
		}
	}
	return dropped
}

// RejectsAgain writes the list of rejects for people again from the Parquet file beside it, to a file of the stage. Where
// that is no good either, the error is ErrDamaged.
func (t *Txn) RejectsAgain(ctx context.Context, p Part) (path string, err error) {
	from, listed := t.part(func(q Part) bool { return q.Kind == Rejects && q.Load == p.Load && isParquet(q.Path) })
	if !listed || isParquet(p.Path) {
		return "", fmt.Errorf("write %s again: %w: there is nothing to write it from", p.Path, ErrDamaged)
	}
	if err := t.verifyPart(from); err != nil {
		return "", fmt.Errorf("write %s again: %s is %w too: %w", p.Path, from.Path, ErrDamaged, err)
	}
	rows, err := readRejects(ctx, t.Path(from))
	if err != nil {
		return "", err
	}
	path = t.StagePath(fmt.Sprintf("rejects-%d.csv", p.Load))
	return path, rejectCSV(path, rows)
}

// TakeOver stages a copy of a part of another store, as a part of the newest load.
func (t *Txn) TakeOver(from *Store, p Part) error {
	if err := from.verifyPart(p); err != nil {
		return fmt.Errorf("take over %s: it %w", p.Path, err)
	}
	raw, err := os.ReadFile(from.Path(p))
	if err != nil {
		return fmt.Errorf("take over %s: %w", p.Path, err)
	}
	path := t.StagePath("taken-over")
	if err := disk.Write(path, raw); err != nil {
		return partError(path, err)
	}
	t.Load = len(t.Manifest.Loads)
	return t.Add(p, path)
}
