package bucket_test

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"scanledger/ingest/store"
	"scanledger/transform/engine"
	"scanledger/transform/forget"
	"scanledger/transform/settle"
)

// records writes a record file with one site's inspection in a month.
func records(t *testing.T, site string, month int) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), site)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{
		"regions":     "region,label,season_scheme,time_zone,latitude\nS,South,south_four,Australia/Sydney,-27\n",
		"technicians": "technician_id\nT1\n",
		"units":       "unit_id,gain_min,gain_max,gain_start\nU1,0,6,2\n",
		"materials":   "material,density_class\nboard,light\n",
		"inspections": fmt.Sprintf("inspection_id,site_id,region,technician_id,started_at,purpose,outcome\n%[1]s-1,%[1]s,S,T1,2026-%02[2]d-02T09:00:00Z,routine,clear\n", site, month),
		"readings":    fmt.Sprintf("reading_id,inspection_id,unit_id,point_id,taken_at,material,gain,call\n%[1]s-1,%[1]s-1,U1,P,2026-%02[2]d-02T09:05:00Z,board,3,clear\n", site, month),
	} {
		if err := os.WriteFile(filepath.Join(dir, name+".csv"), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// machine is a folder on one of several machines that share a place.
type machine struct {
	t     *testing.T
	dir   string
	place store.Place
}

func (m machine) load(files string) (settle.Report, error) {
	m.t.Helper()
	return settle.Load(context.Background(), m.dir, []string{files}, settle.Options{ReceivedAt: time.Unix(0, 0), KeepOriginals: true, Place: m.place})
}

func (m machine) mustLoad(files string) {
	m.t.Helper()
	if _, err := m.load(files); err != nil {
		m.t.Fatal(err)
	}
}

// sees lists the readings that the embedded engine finds in the machine's folder once it is up to date.
func (m machine) sees() string {
	m.t.Helper()
	ctx := context.Background()
	if err := store.Refresh(ctx, m.dir, m.place, false); err != nil {
		m.t.Fatal(err)
	}
	return m.holds()
}

// holds is sees without asking the place.
func (m machine) holds() string {
	m.t.Helper()
	ctx := context.Background()
	st, err := store.Open(m.dir)
	if errors.Is(err, store.ErrNoStore) {
		return ""
	}
	if err == nil {
		err = st.Sound(ctx)
	}
	if err != nil {
		m.t.Fatal(err)
	}
	e, err := engine.Open(ctx, engine.Options{})
	if err != nil {
		m.t.Fatal(err)
	}
	defer func() { _ = e.Close() }()
	if err := settle.Views(ctx, e, st, len(st.Manifest.Loads)); err != nil {
		m.t.Fatal(err)
	}
	var seen []string
	err = e.Each(ctx, "SELECT reading_id FROM held_readings ORDER BY reading_id", nil, func(scan func(...any) error) error {
		var id string
		err := scan(&id)
		seen = append(seen, id)
		return err
	})
	if err != nil {
		m.t.Fatal(err)
	}
	return strings.Join(seen, " ")
}

// files counts the files below a folder with the given part in their path.
func files(t *testing.T, dir, part string) (n int) {
	t.Helper()
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() && strings.Contains(path, part) {
			n++
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func TestMachinesShareAStore(t *testing.T) {
	places(t, func(t *testing.T, place store.Place) {
		counted := &faulty{Place: place}
		a, b := machine{t, filepath.Join(t.TempDir(), "a"), place}, machine{t, filepath.Join(t.TempDir(), "b"), counted}
		a.mustLoad(records(t, "first", 1))
		if got := b.sees(); got != "first-1" {
			t.Errorf("b sees %q", got)
		}
		if n := files(t, b.dir, "originals"); n > 0 {
			t.Errorf("%d record files were fetched that nobody reads", n)
		}
		a.mustLoad(records(t, "second", 2))
		counted.fetched = nil
		if got := b.sees(); got != "first-1 second-1" {
			t.Errorf("b sees %q", got)
		}
		for _, path := range counted.fetched {
			if strings.Contains(path, "utc_month=2026-01") {
				t.Errorf("%s was fetched again though its month was not touched", path)
			}
		}
		b.mustLoad(records(t, "third", 3))
		if got := a.sees(); got != "first-1 second-1 third-1" {
			t.Errorf("a sees %q", got)
		}
		if err := store.Refresh(context.Background(), b.dir, place, true); err != nil {
			t.Fatal(err)
		}
		st, err := store.Open(b.dir)
		if err == nil {
			err = st.Verify(context.Background())
		}
		if err != nil {
			t.Errorf("with the record files, all is there: %v", err)
		}
	})
}

// TestOvertaken: of two loads that began from the same publication the later is told, and leaves nothing anywhere.
func TestOvertaken(t *testing.T) {
	places(t, func(t *testing.T, place store.Place) {
		a := machine{t, filepath.Join(t.TempDir(), "a"), place}
		b := machine{t, filepath.Join(t.TempDir(), "b"), &faulty{Place: place, beforePublish: func() { a.mustLoad(records(t, "quick", 1)) }}}
		slow := records(t, "slow", 2)
		if _, err := b.load(slow); !errors.Is(err, store.ErrOvertaken) || !strings.Contains(err.Error(), "run it again") {
			t.Fatalf("got %v", err)
		}
		if got := b.holds(); got != "" {
			t.Errorf("the folder of the slower holds %q", got)
		}
		b.place = place
		if got := b.sees(); got != "quick-1" {
			t.Errorf("b sees %q", got)
		}
		b.mustLoad(slow)
		if got := a.sees(); got != "quick-1 slow-1" {
			t.Errorf("a sees %q", got)
		}
	})
}

// TestKilled: a writer that dies before its manifest has its number has published nothing, one that dies after it, all.
func TestKilled(t *testing.T) {
	places(t, func(t *testing.T, place store.Place) {
		died := errors.New("the machine died")
		for _, c := range []struct {
			name  string
			fault *faulty
			want  string
		}{
			{"while parts are put", &faulty{Place: place, putError: died}, ""},
			{"before the manifest", &faulty{Place: place, publishError: died}, ""},
			{"after the manifest", &faulty{Place: place, publishedError: died}, "late-1"},
		} {
			t.Run(c.name, func(t *testing.T) {
				late := records(t, "late", 1)
				a := machine{t, filepath.Join(t.TempDir(), "a"), c.fault}
				if _, err := a.load(late); !errors.Is(err, died) {
					t.Fatalf("got %v", err)
				}
				other := machine{t, filepath.Join(t.TempDir(), "b"), place}
				if got := other.sees(); got != c.want {
					t.Errorf("others see %q, want %q", got, c.want)
				}
				if got := a.holds(); got != "" {
					t.Errorf("its own folder is ahead: %q", got)
				}
			})
		}
		again := machine{t, filepath.Join(t.TempDir(), "c"), place}
		again.mustLoad(records(t, "later", 2))
		if got := again.sees(); got != "late-1 later-1" {
			t.Errorf("afterwards: %q", got)
		}
	})
}

// TestForgottenIsGone: what is forgotten on one machine leaves the place, and the other machine's folder when it next writes.
func TestForgottenIsGone(t *testing.T) {
	places(t, func(t *testing.T, place store.Place) {
		a, b := machine{t, filepath.Join(t.TempDir(), "a"), place}, machine{t, filepath.Join(t.TempDir(), "b"), place}
		a.mustLoad(records(t, "kept", 1))
		a.mustLoad(records(t, "gone", 2))
		if got := b.sees(); got != "gone-1 kept-1" {
			t.Fatalf("b sees %q", got)
		}
		before, err := store.Open(a.dir)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := forget.Forget(context.Background(), a.dir, forget.Request{Site: "gone", At: time.Unix(0, 0), Place: place}); err != nil {
			t.Fatal(err)
		}
		after, err := store.Open(a.dir)
		if err != nil {
			t.Fatal(err)
		}
		listed := map[string]bool{}
		for _, p := range after.Manifest.Parts {
			listed[p.Path] = true
		}
		for _, p := range before.Manifest.Parts {
			if err := place.Fetch(context.Background(), p, filepath.Join(t.TempDir(), "x")); (err == nil) != listed[p.Path] {
				t.Errorf("%s: listed %v, fetched with %v", p.Path, listed[p.Path], err)
			}
		}
		if got := b.sees(); got != "kept-1" {
			t.Errorf("b sees %q", got)
		}
		b.mustLoad(records(t, "more", 3))
		if n := files(t, b.dir, "utc_month=2026-02"); n > 0 {
			t.Errorf("%d files of the forgotten month are left in the other folder", n)
		}
	})
}

// TestFoldersAreNotMixed: a copy is not written as if it were the store, nor two stores into one.
func TestFoldersAreNotMixed(t *testing.T) {
	place := store.Folder(filepath.Join(t.TempDir(), "shared"))
	a := machine{t, filepath.Join(t.TempDir(), "a"), place}
	a.mustLoad(records(t, "first", 1))
	own := machine{t, filepath.Join(t.TempDir(), "own"), nil}
	own.mustLoad(records(t, "own", 1))
	for _, c := range []struct {
		m    machine
		want string
	}{
		{machine{t, a.dir, nil}, "is a copy of"},
		{machine{t, a.dir, store.Folder(t.TempDir())}, "is a copy of"},
		{machine{t, own.dir, place}, "a store of its own"},
	} {
		if _, err := c.m.load(records(t, "second", 2)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("got %v, want %q", err, c.want)
		}
	}
	if got := own.holds(); got != "own-1" {
		t.Errorf("the refused folder holds %q", got)
	}
	grown := machine{t, own.dir, store.Folder(filepath.Join(t.TempDir(), "new"))} // an empty place takes it
	grown.mustLoad(records(t, "second", 2))
	other := machine{t, filepath.Join(t.TempDir(), "other"), grown.place}
	if got := other.sees(); got != "own-1 second-1" {
		t.Errorf("of a store that moved, others see %q", got)
	}
}

// TestDamageAtThePlace: what is not what was published does not get into a folder.
func TestDamageAtThePlace(t *testing.T) {
	place := store.Folder(filepath.Join(t.TempDir(), "shared"))
	a := machine{t, filepath.Join(t.TempDir(), "a"), place}
	a.mustLoad(records(t, "first", 1))
	st, err := store.Open(a.dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range st.Manifest.Parts {
		if p.RecordSet == "readings" && p.Kind == store.Data {
			if err := os.WriteFile(filepath.Join(string(place), p.Key()), []byte("bits"), 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
	err = store.Refresh(context.Background(), filepath.Join(t.TempDir(), "b"), place, false)
	if !errors.Is(err, store.ErrDamaged) {
		t.Errorf("got %v", err)
	}
}

// faulty is a place that fails, or is looked at.
type faulty struct {
	store.Place
	putError       error
	publishError   error
	publishedError error // though the manifest got its number
	beforePublish  func()
	fetched        []string
}

func (f *faulty) Put(ctx context.Context, p store.Part, path string) error {
	return errors.Join(f.putError, f.Place.Put(ctx, p, path))
}

func (f *faulty) Publish(ctx context.Context, number int, manifest []byte) error {
	if f.publishError != nil {
		return f.publishError
	}
	if f.beforePublish != nil {
		f.beforePublish()
	}
	return errors.Join(f.Place.Publish(ctx, number, manifest), f.publishedError)
}

func (f *faulty) Fetch(ctx context.Context, p store.Part, path string) error {
	f.fetched = append(f.fetched, p.Path)
	return f.Place.Fetch(ctx, p, path)
}
