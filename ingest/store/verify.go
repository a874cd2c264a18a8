package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/apache/arrow-go/v18/parquet/file"

	"scanledger/ingest"
)

// Fault is one file of a store that is not what was written.
type Fault struct {
	Path string // below the store's folder, with slashes
	Part Part   // as the manifest lists it; without a kind where the file is one that repeats the manifest
	What string // what is wrong with it
}

// Faults reads every file of the store again, compares size, checksum and number of rows with the manifest, and lists
// the files that differ or are missing, in the manifest's order.
func (s *Store) Faults(ctx context.Context) ([]Fault, error) {
	var out []Fault
	if s.recovered != nil {
		out = append(out, *s.recovered)
	}
	parts, err := s.faultyParts(ctx, func(Part) bool { return true })
	if err != nil {
		return nil, err
	}
	out = append(out, parts...)
	if s.Manifest.Checksum == "" {
		return out, nil // made before there were files that repeat the manifest; the next load writes them
	}
	for _, name := range []string{copyName, packageName} {
		if err := wholeDouble(filepath.Join(s.Dir, name)); err != nil {
			out = append(out, Fault{Path: name, What: err.Error()})
		}
	}
	return out, nil
}

func (s *Store) faultyParts(ctx context.Context, of func(Part) bool) (out []Fault, err error) {
	for _, p := range s.Manifest.Parts {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if !of(p) {
			continue
		}
		err := s.verifyPart(p)
		if errors.Is(err, fs.ErrPermission) { // whether it is damaged cannot be told
			return nil, fmt.Errorf("verify store %s: %s %w", s.Dir, p.Path, err)
		}
		if err != nil {
			out = append(out, Fault{p.Path, p, err.Error()})
		}
	}
	return out, nil
}

// Verify is Faults as one error that names every file and says what to do.
func (s *Store) Verify(ctx context.Context) error {
	return s.told(s.Faults(ctx))
}

// Sound is Verify for those who are about to read the records: only files that figures may come from are looked at.
func (s *Store) Sound(ctx context.Context) error {
	return s.told(s.faultyParts(ctx, func(p Part) bool { return p.Kind != Originals }))
}

func (s *Store) told(faults []Fault, err error) error {
	if err != nil || len(faults) == 0 {
		return err
	}
	var all []error
	for _, f := range faults {
		all = append(all, fmt.Errorf("store %s: %s %s", s.Dir, f.Path, f.What))
	}
	return errors.Join(append(all, fmt.Errorf("the store is %w; %s", ErrDamaged, remedy(s.Dir)))...)
}

// wholeDouble says what is wrong with a file that repeats the manifest. It need not be this manifest: a process killed
// between two renames leaves one that is ahead by a load, which the next writer puts right.
func wholeDouble(path string) error {
	if err := standing(path); err != nil {
		return err
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return unreadable(err)
	}
	if _, whole := sealed(text); !whole {
		return errors.New("is damaged: its text does not agree with the checksum in it")
	}
	return nil
}

// standing says what is wrong where no plain file stands; anything else might never end when read.
func standing(path string) error {
	info, err := os.Lstat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return errors.New("is missing")
	case err != nil:
		return unreadable(err)
	case !info.Mode().IsRegular():
		return errors.New("is damaged: it is no plain file any more")
	}
	return nil
}

func unreadable(err error) error { return fmt.Errorf("cannot be read: %w", err) }

func (s *Store) verifyPart(p Part) error {
	path := s.Path(p)
	if err := standing(path); err != nil {
		return err
	}
	sum, size, err := ingest.HashFile(path)
	if err != nil {
		return unreadable(err)
	}
	if size != p.Bytes || sum != p.SHA256 {
		return fmt.Errorf("is damaged: %d bytes with checksum %.12s…, the manifest says %d with %.12s…", size, sum, p.Bytes, p.SHA256)
	}
	if !isParquet(p.Path) {
		return nil
	}
	return verifyRows(path, p.Rows)
}

func verifyRows(path string, want int64) error {
	f, err := os.Open(path)
	if err != nil {
		return unreadable(err)
	}
	r, err := file.NewParquetReader(f)
	if err != nil {
		return errors.Join(unreadable(err), f.Close())
	}
	rows := r.NumRows()
	if err := r.Close(); err != nil {
		return unreadable(err)
	}
	if rows != want {
		return fmt.Errorf("holds %d rows, the manifest says %d", rows, want)
	}
	return nil
}
