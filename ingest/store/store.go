// Package store keeps what was taken in.
//
// In: batches of settled rows and the fates of all others. Out: Parquet files in one folder per
// record set, and a manifest that lists every one of them with its rows and checksum. It is the
// only room that publishes: files are staged, synced and renamed into place, and the manifest is
// renamed last, so that a store is always either as it was before a load or as it is after. It also
// holds the lock that lets one process write, sweeps what a dead one left, keeps record files as they
// came in, and says which files are damaged. It never judges a row.
package store

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"
)

// Names inside a store folder.
const (
	manifestName = "manifest.json"
	copyName     = "manifest-copy.json"
	packageName  = "datapackage.json"
	lockName     = "lock"
	stagePrefix  = ".stage-"
)

// PartKind tells what a part's rows are.
type PartKind string

// The kinds of part.
const (
	Data    PartKind = "data"    // rows taken in: accepted and corrected ones, every version
	Pool    PartKind = "pool"    // rows sound in themselves that name something unknown or break a rule with what they name
	Fates   PartKind = "fates"   // one row for every row whose fate is not plainly "accepted"
	Rejects PartKind = "rejects" // every broken rule, for people who mend files
	Samples PartKind = "samples" // audit samples: what was drawn, from which frame, with which chances

	Originals PartKind = "originals" // record files as they came in, compressed; a store can be rebuilt from them
)

// Part is one file of the store that the manifest lists.
type Part struct {
	Path      string   `json:"path"` // below the store folder, with slashes
	Kind      PartKind `json:"kind"`
	RecordSet string   `json:"record_set,omitempty"`
	Month     string   `json:"utc_month,omitempty"`
	Load      int      `json:"load"`
	Rows      int64    `json:"rows"`
	Bytes     int64    `json:"bytes"`
	SHA256    string   `json:"sha256"`
	Revision  int      `json:"revision,omitempty"` // number of the removal that it was last written again for; see Forgotten
}

// Counts says what became of the rows of a file. Rows is what was read; the rest add up to it.
type Counts struct {
	Rows      int64 `json:"rows"`
	Accepted  int64 `json:"accepted"`
	Duplicate int64 `json:"duplicate"`
	Corrected int64 `json:"corrected"`
	Waiting   int64 `json:"waiting"`
	Rejected  int64 `json:"rejected"`
}

// Balanced reports whether every row read has exactly one fate.
func (c Counts) Balanced() bool {
	return c.Rows == c.Accepted+c.Duplicate+c.Corrected+c.Waiting+c.Rejected
}

// Add changes the count of one fate by n.
func (c *Counts) Add(fate string, n int64) {
	switch fate {
	case "accepted":
		c.Accepted += n
	case "duplicate":
		c.Duplicate += n
	case "corrected":
		c.Corrected += n
	case "waiting":
		c.Waiting += n
	case "rejected":
		c.Rejected += n
	}
}

// File is one record file taken in. Its number and a line make a row's lineage.
type File struct {
	Number       int      `json:"number"` // from 1, in order of arrival
	Load         int      `json:"load"`
	Name         string   `json:"name"`
	SHA256       string   `json:"sha256"`
	Bytes        int64    `json:"bytes"`
	RecordSet    string   `json:"record_set"`
	ExtraColumns []string `json:"extra_columns,omitempty"`
	// Renames is the configuration's table of columns for this record set when the file was loaded, for loading it again.
	Renames   map[string]string `json:"renames,omitempty"`
	AtLoad    Counts            `json:"at_load"`             // when it was loaded
	Now       Counts            `json:"now"`                 // after the newest load
	Forgotten int64             `json:"forgotten,omitempty"` // rows removed since, by Forgotten; Now leaves them out
}

// Load is one run that took files in.
type Load struct {
	Number     int       `json:"number"` // from 1
	ReceivedAt time.Time `json:"received_at"`
	Files      int       `json:"files"`
	Rows       int64     `json:"rows"`
}

// Manifest lists what a store holds.
type Manifest struct {
	Checksum      string      `json:"checksum,omitempty"` // of the text, with zeros in its own place; empty in stores of earlier versions
	SchemaVersion int         `json:"schema_version"`
	Tool          string      `json:"tool"`
	Loads         []Load      `json:"loads"`
	Files         []File      `json:"files"`
	Parts         []Part      `json:"parts"`
	Forgotten     []Forgotten `json:"forgotten,omitempty"` // removals, in the order in which they were made
}

// Store is a folder that holds records.
type Store struct {
	Dir      string
	Manifest Manifest

	recovered *Fault // what is wrong with the manifest on disk, where its copy was taken
}

// ErrNoStore says that a folder holds no store.
var ErrNoStore = errors.New("no store here")

// Open reads the manifest of the store in dir. It takes no lock: published files never change.
func Open(dir string) (*Store, error) {
	m, err := readManifest(filepath.Join(dir, manifestName))
	switch {
	case errors.Is(err, os.ErrNotExist):
		return allButManifest(dir)
	case errors.Is(err, ErrDamaged):
		return nil, fmt.Errorf("open store %s: %w; %s", dir, err, remedy(dir))
	case err == nil:
		err = m.upgrade()
	}
	if err != nil {
		return nil, fmt.Errorf("open store %s: %w", dir, err)
	}
	return &Store{Dir: dir, Manifest: m}, nil
}

// Superseded reports whether another process has published since the manifest was read. Then files that it lists may be gone,
// and what is missing is no damage.
func (s *Store) Superseded() bool {
	m, err := readManifest(filepath.Join(s.Dir, manifestName))
	return err == nil && m.Checksum != s.Manifest.Checksum
}

// part finds the part that the manifest lists, if it lists one of the kind.
func (s *Store) part(is func(Part) bool) (Part, bool) {
	i := slices.IndexFunc(s.Manifest.Parts, is)
	if i < 0 {
		return Part{}, false
	}
	return s.Manifest.Parts[i], true
}

// Path is the place of a part on disk.
func (s *Store) Path(p Part) string { return filepath.Join(s.Dir, filepath.FromSlash(p.Path)) }

// Paths lists the parts of one kind and record set (any set when empty) taken in by load upTo at
// the latest, in the manifest's order.
func (s *Store) Paths(kind PartKind, set string, upTo int) []string {
	var out []string
	for _, p := range s.Manifest.Parts {
		if p.Kind == kind && (set == "" || p.RecordSet == set) && p.Load <= upTo {
			out = append(out, s.Path(p))
		}
	}
	return out
}

// Holding finds the file with the given content, if the store has taken it in.
func (s *Store) Holding(sha256 string) (File, bool) {
	i := slices.IndexFunc(s.Manifest.Files, func(f File) bool { return f.SHA256 == sha256 })
	if i < 0 {
		return File{}, false
	}
	return s.Manifest.Files[i], true
}

// LoadAsOf is the number of the last load of those received by the end of day t, and when the newest of them was; with a zero
// t, the newest load. A load that came after one received later is not seen before that one: its clock had been set back.
func (s *Store) LoadAsOf(t time.Time) (number int, received time.Time, err error) {
	for _, l := range s.Manifest.Loads {
		if !t.IsZero() && !l.ReceivedAt.Before(t.AddDate(0, 0, 1)) {
			break
		}
		number, received = l.Number, later(received, l.ReceivedAt)
	}
	if number == 0 {
		return 0, received, fmt.Errorf("nothing had been received by %s; the first load came at %s",
			t.Format(time.DateOnly), s.Manifest.firstReceived())
	}
	return number, received, nil
}

// LastReceived is the latest time at which a load came in; the zero time where there is none.
func (m Manifest) LastReceived() (at time.Time) {
	for _, l := range m.Loads {
		at = later(at, l.ReceivedAt)
	}
	return at
}

func (m Manifest) firstReceived() string {
	if len(m.Loads) == 0 {
		return "no time yet"
	}
	return m.Loads[0].ReceivedAt.Format(time.RFC3339)
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}
