package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"

	"scanledger/ingest"
	"scanledger/ingest/disk"
)

// ErrOvertaken says that another writer published first. What was staged is nowhere to be seen.
var ErrOvertaken = errors.New("another writer published first")

// Place is where a store is published for several machines. A folder that a Txn writes is then a copy of what the place
// holds: it is brought up to date before, and what was staged in it is published at the place before it counts in the folder.
//
// Publications are numbered from 1. A number is taken by one writer only, whoever asks first: that is what keeps writers
// from overwriting each other, on any number of machines, without a lock that a dead one could leave behind.
type Place interface {
	// Name tells places apart. It holds no secret.
	Name() string
	// Newest is the number of the newest publication and the text of its manifest; 0 where there is none after the given one.
	Newest(ctx context.Context, after int) (number int, manifest []byte, err error)
	// Put keeps the file at path as the part's, which nobody sees before a manifest lists it. A part that is there already stays.
	Put(ctx context.Context, p Part, path string) error
	// Publish takes a number for a manifest, as one step; ErrOvertaken where it is taken.
	Publish(ctx context.Context, number int, manifest []byte) error
	// Fetch writes the part's file to path.
	Fetch(ctx context.Context, p Part, path string) error
	// Drop removes a part that no manifest lists any more.
	Drop(ctx context.Context, p Part) error
}

// originName is the file that says of which place a folder is a copy.
const originName = "origin.json"

// origin is that file.
type origin struct {
	Place  string `json:"place"`
	Number int    `json:"number"` // of the publication that the folder was last known to hold
}

// away is what a Txn needs to publish at a place.
type away struct {
	ctx    context.Context
	place  Place
	number int             // of the newest publication when the Txn began
	there  map[string]Part // parts it lists
}

// BeginAt is Begin for a folder that is a copy of what a place holds, once the folder is up to date. Without a place it
// is Begin.
func BeginAt(ctx context.Context, dir string, place Place) (*Txn, error) {
	if place == nil {
		return Begin(dir)
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("make store: %w", err)
	}
	var o origin
	catchUp := func(dir string) (st *Store, err error) { // with the lock held
		if o, err = refresh(ctx, dir, place, false); err != nil {
			return nil, err
		}
		return openToWrite(dir)
	}
	t, err := begin(dir, catchUp, (*Txn).restoreDoubles, (*Txn).sweepParts)
	if err != nil {
		return nil, err
	}
	t.away = &away{ctx: ctx, place: place, number: o.Number, there: map[string]Part{}}
	if o.Number > 0 {
		for _, p := range t.Manifest.Parts {
			t.away.there[p.Path] = p
		}
	}
	return t, nil
}

// Refresh brings a folder up to what a place holds: its manifest, and the parts that the folder lacks; record files as they
// came in only where asked for, since no figure comes from them. Parts never change, so what is fetched are the months that
// loads have touched since.
func Refresh(ctx context.Context, dir string, place Place, originals bool) (err error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("make store: %w", err)
	}
	l, err := takeLock(dir)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, l.release()) }()
	_, err = refresh(ctx, dir, place, originals)
	return err
}

// refuseCopy keeps a copy of a place from being written as if it were the store.
func refuseCopy(dir string) error {
	o, err := readOrigin(dir)
	if err == nil && o.Place != "" {
		err = fmt.Errorf("write to store %s: it is a copy of %s; name that in store.place of the configuration, or write to another folder", dir, o.Place)
	}
	return err
}

func readOrigin(dir string) (o origin, err error) {
	text, err := os.ReadFile(filepath.Join(dir, originName))
	if errors.Is(err, os.ErrNotExist) {
		return o, nil
	}
	if err == nil {
		err = json.Unmarshal(text, &o)
	}
	if err != nil {
		return o, fmt.Errorf("open store %s: %s: %w; remove it, and the place is asked again", dir, originName, err)
	}
	return o, nil
}

func writeOrigin(dir string, o origin) error {
	text, err := json.MarshalIndent(o, "", " ")
	if err != nil {
		return err
	}
	return writeInPlace(dir, originName, append(text, '\n'))
}

// writeInPlace puts a file of a folder in the place of the one before, as one step.
func writeInPlace(dir, name string, text []byte) error {
	stage := filepath.Join(dir, stagePrefix+name)
	if err := disk.Write(stage, text); err != nil {
		return err
	}
	if err := disk.Rename(stage, filepath.Join(dir, name)); err != nil {
		return err
	}
	return disk.Sync(dir)
}

// refresh is Refresh for one who holds the lock.
func refresh(ctx context.Context, dir string, place Place, originals bool) (origin, error) {
	o, err := readOrigin(dir)
	if err != nil {
		return o, err
	}
	if o.Place != "" && o.Place != place.Name() {
		return o, fmt.Errorf("open store %s: it is a copy of %s, not of %s; use another folder", dir, o.Place, place.Name())
	}
	number, text, err := place.Newest(ctx, max(o.Number-1, 0))
	switch {
	case err != nil:
		return o, fmt.Errorf("look at %s: %w", place.Name(), err)
	case number == 0 && o.Number > 0:
		return o, fmt.Errorf("open store %s: %s no longer holds publication %d; look what became of it", dir, o.Place, o.Number)
	case number == 0: // this folder may be the first to be published there
		o.Place = place.Name()
		return o, writeOrigin(dir, o)
	}
	m, err := parseManifest(place.Name(), text)
	if err == nil {
		err = m.upgrade()
	}
	if err == nil && o.Number == 0 {
		err = continues(m, dir)
	}
	if err == nil {
		err = takeOver(ctx, Store{Dir: dir, Manifest: m}, place, text, originals)
	}
	if err != nil {
		return o, fmt.Errorf("fetch from %s: %w", place.Name(), err)
	}
	o = origin{Place: place.Name(), Number: number}
	return o, writeOrigin(dir, o)
}

// continues refuses to put a manifest in the place of one of another store, which dir may hold.
func continues(m Manifest, dir string) error {
	have, err := readManifest(filepath.Join(dir, manifestName))
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	same := func(a, b File) bool { return a.SHA256 == b.SHA256 }
	if err == nil && (len(have.Files) > len(m.Files) || !slices.EqualFunc(have.Files, m.Files[:len(have.Files)], same)) {
		err = fmt.Errorf("folder %s holds a store of its own; use another folder", dir)
	}
	return err
}

// takeOver makes the folder of a store hold what its manifest, also given as text, lists. The manifest comes last, as when
// a load is published.
func takeOver(ctx context.Context, st Store, place Place, text []byte, originals bool) error {
	for _, p := range st.Manifest.Parts {
		if p.Kind == Originals && !originals {
			continue
		}
		if err := st.fetch(ctx, place, p); err != nil {
			return fmt.Errorf("%s: %w", p.Path, err)
		}
	}
	pkg, err := dataPackage(st.Manifest)
	if err != nil {
		return err
	}
	for _, f := range []struct {
		name string
		text []byte
	}{{packageName, pkg}, {copyName, text}, {manifestName, text}} {
		if err := writeInPlace(st.Dir, f.name, f.text); err != nil {
			return err
		}
	}
	return nil
}

// fetch gets a part that the folder lacks, and sees that it is what was published.
func (s *Store) fetch(ctx context.Context, place Place, p Part) error {
	to := s.Path(p)
	if info, err := os.Lstat(to); err == nil && info.Size() == p.Bytes {
		return nil
	}
	if err := os.MkdirAll(filepath.Dir(to), 0o700); err != nil {
		return err
	}
	stage := filepath.Join(s.Dir, stagePrefix+"part")
	if err := place.Fetch(ctx, p, stage); err != nil {
		return errors.Join(err, os.RemoveAll(stage))
	}
	sum, size, err := ingest.HashFile(stage)
	if err == nil && (sum != p.SHA256 || size != p.Bytes) {
		err = fmt.Errorf("%w: what %s holds is not what was published", ErrDamaged, place.Name())
	}
	if err = errors.Join(err, disk.Sync(stage)); err != nil {
		return errors.Join(err, os.RemoveAll(stage))
	}
	return disk.Rename(stage, to)
}

// publishAway publishes what is staged at the Txn's place, if it has one: parts first, manifest last. The folder comes
// after the place, since one that is behind catches up, and one that is ahead would be believed.
func (t *Txn) publishAway() error {
	if t.away == nil {
		return nil
	}
	staged := map[string]bool{}
	for _, p := range t.added {
		staged[p.Path] = true
	}
	for _, p := range t.Manifest.Parts {
		if t.away.there[p.Path].SHA256 == p.SHA256 {
			continue
		}
		path := t.Path(p)
		if staged[p.Path] {
			path = t.StagedPath(p)
		}
		if err := t.away.place.Put(t.away.ctx, p, path); err != nil {
			return fmt.Errorf("publish %s at %s: %w", p.Path, t.away.place.Name(), err)
		}
	}
	text, err := t.Manifest.encode()
	if err != nil {
		return fmt.Errorf("publish at %s: %w", t.away.place.Name(), err)
	}
	t.away.number++
	if err := t.away.place.Publish(t.away.ctx, t.away.number, text); err != nil {
		return fmt.Errorf("publish at %s: %w; nothing of this run counts: run it again", t.away.place.Name(), err)
	}
	return nil
}

// tidyAway notes what the folder now holds, and drops from the place the parts that the manifest no longer lists.
func (t *Txn) tidyAway() error {
	if t.away == nil {
		return nil
	}
	if err := writeOrigin(t.Dir, origin{Place: t.away.place.Name(), Number: t.away.number}); err != nil {
		return err
	}
	for _, p := range t.Manifest.Parts {
		delete(t.away.there, p.Path)
	}
	for _, path := range slices.Sorted(maps.Keys(t.away.there)) {
		if err := t.away.place.Drop(t.away.ctx, t.away.there[path]); err != nil {
			return fmt.Errorf("remove %s from %s: %w", path, t.away.place.Name(), err)
		}
	}
	return nil
}
