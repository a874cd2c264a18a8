package settle_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"scanledger/ingest/store"
	"scanledger/transform/settle"
)

// references are sound rows that the files of a test may name.
var references = map[string]string{
	"regions.csv":     "region,label,season_scheme,time_zone,latitude\nS,South,south_four,Australia/Sydney,-33\nN,North,north_four,America/New_York,40\n",
	"technicians.csv": "technician_id,name\nT1,One\nT2,Two\n",
	"units.csv":       "unit_id,gain_min,gain_max,gain_start\nU1,0,6,2\n",
	"materials.csv":   "material,density_class\nboard,light\n",
	"inspections.csv": "inspection_id,site_id,region,technician_id,started_at,ended_at,purpose,recheck_of,outcome\n" +
		"I1,H1,S,T1,2026-03-02T09:00:00+11:00,2026-03-02T10:00:00+11:00,routine,,clear\n",
}

const readingsHeader = "reading_id,inspection_id,unit_id,point_id,taken_at,material,gain,call\n"

// bench is a store in a temporary folder, with a clock of its own.
type bench struct {
	t     *testing.T
	dir   string
	loads int
	opt   settle.Options
}

func newBench(t *testing.T) *bench { return &bench{t: t, dir: t.TempDir()} }

// load takes files (name to content) in as one load.
func (b *bench) load(files map[string]string) settle.Report {
	b.t.Helper()
	rep, err := b.try(files)
	if err != nil {
		b.t.Fatal(err)
	}
	return rep
}

func (b *bench) try(files map[string]string) (settle.Report, error) {
	b.t.Helper()
	b.loads++
	in := filepath.Join(b.dir, "in", string(rune('a'+b.loads)))
	if err := os.MkdirAll(in, 0o700); err != nil {
		b.t.Fatal(err)
	}
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(in, name), []byte(text), 0o600); err != nil {
			b.t.Fatal(err)
		}
	}
	opt := b.opt
	opt.ReceivedAt, opt.Tool = time.Date(2026, 4, b.loads, 0, 0, 0, 0, time.UTC), "test"
	return settle.Load(context.Background(), b.store(), []string{in}, opt)
}

func (b *bench) store() string { return filepath.Join(b.dir, "store") }

// counts finds what became of the rows of a file, after the newest load.
func (b *bench) counts(name string) store.Counts {
	b.t.Helper()
	st, err := store.Open(b.store())
	if err != nil {
		b.t.Fatal(err)
	}
	for _, f := range st.Manifest.Files {
		if f.Name == name {
			return f.Now
		}
	}
	b.t.Fatalf("no file %s in the store", name)
	return store.Counts{}
}

func (b *bench) want(name string, want store.Counts) {
	b.t.Helper()
	if got := b.counts(name); got != want {
		b.t.Errorf("%s: got %+v, want %+v", name, got, want)
	}
}

func TestEveryFate(t *testing.T) {
	b := newBench(t)
	b.load(references)
	b.load(map[string]string{"readings-1.csv": readingsHeader +
		"R1,I1,U1,P1,2026-03-02T09:10:00+11:00,board,2,clear\n" + // accepted
		"R1,I1,U1,P1,2026-03-02T09:10:00+11:00,board,2,clear\n" + // duplicate
		"R1,I1,U1,P1,2026-03-02T09:10:00+11:00,board,3,active\n" + // corrected
		"R2,I9,U1,P1,2026-03-02T09:10:00+11:00,board,2,clear\n" + // waiting: inspection
		"R3,I1,U1,P1,2026-03-02T09:10:00+11:00,board,7,clear\n" + // rejected: gain
		"R4,I1,U1,P1,2026-03-02T10:15:01+11:00,board,2,clear\n" + // rejected: 1 s past the slack
		"R5,I1,U1,P1,2026-03-02T08:45:00+11:00,board,2,clear\n" + // accepted: just within the slack
		"R6,I1,U1,P1,never,board,2,maybe\n"}) // rejected: two broken rules, one row
	b.want("readings-1.csv", store.Counts{Rows: 8, Accepted: 2, Duplicate: 1, Corrected: 1, Waiting: 1, Rejected: 3})
}

func TestWaitingRowsComeInByThemselves(t *testing.T) {
	b := newBench(t)
	readings := readingsHeader + "R1,I1,U1,P1,2026-03-02T09:10:00,board,2,clear\n" // local time: needs inspection and region
	b.load(map[string]string{"readings.csv": readings})
	b.want("readings.csv", store.Counts{Rows: 1, Waiting: 1})
	b.load(map[string]string{"inspections.csv": references["inspections.csv"]})
	b.want("inspections.csv", store.Counts{Rows: 1, Waiting: 1})
	rep := b.load(map[string]string{"regions.csv": references["regions.csv"], "technicians.csv": references["technicians.csv"],
		"units.csv": references["units.csv"], "materials.csv": references["materials.csv"]})
	b.want("readings.csv", store.Counts{Rows: 1, Accepted: 1})
	b.want("inspections.csv", store.Counts{Rows: 1, Accepted: 1})
	if len(rep.Changed) != 2 {
		t.Errorf("report names %d earlier files as changed, want 2", len(rep.Changed))
	}
}

func TestRejectedByReferenceIsJudgedAgain(t *testing.T) {
	b := newBench(t)
	b.load(references)
	b.load(map[string]string{"readings.csv": readingsHeader + "R1,I1,U1,P1,2026-03-02T12:00:00+11:00,board,2,clear\n"})
	b.want("readings.csv", store.Counts{Rows: 1, Rejected: 1})
	b.load(map[string]string{"inspections-2.csv": "inspection_id,site_id,region,technician_id,started_at,ended_at,purpose,outcome\n" +
		"I1,H1,S,T1,2026-03-02T09:00:00+11:00,2026-03-02T13:00:00+11:00,routine,clear\n"})
	b.want("inspections-2.csv", store.Counts{Rows: 1, Corrected: 1})
	b.want("readings.csv", store.Counts{Rows: 1, Accepted: 1})
}

func TestHeldRowIsJudgedAgain(t *testing.T) {
	b := newBench(t)
	b.load(references)
	b.load(map[string]string{"readings.csv": readingsHeader + "R1,I1,U1,P1,2026-03-02T09:10:00+11:00,board,4,clear\n"})
	b.load(map[string]string{"readings-2.csv": readingsHeader + "\"R1\",I1,U1,P1,2026-03-02T09:10:00+11:00,board,4,clear\n"}) // the same, in other bytes
	accepted, duplicate, rejected := store.Counts{Rows: 1, Accepted: 1}, store.Counts{Rows: 1, Duplicate: 1}, store.Counts{Rows: 1, Rejected: 1}
	for i, step := range []struct {
		name, text    string
		first, second store.Counts
	}{
		{"units", "unit_id,gain_min,gain_max,gain_start\nU1,0,3,2\n", rejected, rejected},
		{"units", "unit_id,gain_min,gain_max,gain_start\nU1,0,5,2\n", accepted, duplicate},
		{"inspections", "inspection_id,site_id,region,technician_id,started_at,ended_at,purpose,outcome\nI1,H1,S,T1,2026-03-02T11:00:00+11:00,,routine,clear\n", rejected, rejected},
		{"inspections", "inspection_id,site_id,region,technician_id,started_at,ended_at,purpose,outcome\nI1,H1,S,T1,2026-03-02T08:00:00+11:00,,routine,clear\n", accepted, duplicate},
	} {
		b.load(map[string]string{fmt.Sprintf("%s-%d.csv", step.name, i): step.text})
		b.want("readings.csv", step.first)
		b.want("readings-2.csv", step.second)
	}
}

func TestOlderVersionThatArrivedFirstDoesNotReplace(t *testing.T) {
	b := newBench(t)
	b.load(map[string]string{"readings-1.csv": readingsHeader + "R1,I1,U9,P1,2026-03-02T09:10:00+11:00,board,2,clear\n"})
	b.load(references)
	b.load(map[string]string{"readings-2.csv": readingsHeader + "R1,I1,U1,P1,2026-03-02T09:10:00+11:00,board,2,active\n"})
	b.want("readings-1.csv", store.Counts{Rows: 1, Waiting: 1})
	b.want("readings-2.csv", store.Counts{Rows: 1, Accepted: 1})
	b.load(map[string]string{"units-2.csv": "unit_id,gain_min,gain_max,gain_start\nU9,0,6,2\n"})
	b.want("readings-1.csv", store.Counts{Rows: 1, Accepted: 1}) // came first, though settled last
	b.want("readings-2.csv", store.Counts{Rows: 1, Corrected: 1})
}

func TestRechecks(t *testing.T) {
	b := newBench(t)
	b.load(references)
	header := "inspection_id,site_id,region,technician_id,started_at,purpose,recheck_of,outcome\n"
	b.load(map[string]string{"inspections-2.csv": header +
		"I2,H1,S,T2,2026-03-05T09:00:00+11:00,recheck,I1,clear\n" +
		"I3,H2,S,T2,2026-03-05T09:00:00+11:00,recheck,I1,clear\n" + // another site
		"I4,H1,S,T2,2026-03-06T09:00:00+11:00,recheck,I2,clear\n" + // a recheck of a recheck in the same file
		"I5,H2,S,T2,2026-03-06T09:00:00+11:00,recheck,I3,clear\n"}) // of one that is not taken in
	b.want("inspections-2.csv", store.Counts{Rows: 4, Accepted: 2, Waiting: 1, Rejected: 1})
}

func TestSameContentIsSkipped(t *testing.T) {
	b := newBench(t)
	b.load(references)
	rep := b.load(references)
	if rep.Load != 0 || len(rep.Skipped) != len(references) {
		t.Errorf("second load: %+v", rep)
	}
}

func TestFailedLoadChangesNothing(t *testing.T) {
	b := newBench(t)
	b.load(references)
	before, err := os.ReadFile(filepath.Join(b.store(), "manifest.json"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := b.try(map[string]string{"readings.csv": "reading_id,inspection_id\nR1,I1\n"}); err == nil {
		t.Fatal("a file without required columns was taken in")
	}
	after, err := os.ReadFile(filepath.Join(b.store(), "manifest.json"))
	if err != nil || string(after) != string(before) {
		t.Errorf("the manifest changed (%v)", err)
	}
}

func TestSecondWriterIsTold(t *testing.T) {
	b := newBench(t)
	txn, err := store.Begin(b.store())
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := txn.Close(); err != nil {
			t.Error(err)
		}
	}()
	_, err = b.try(references)
	if !errors.Is(err, store.ErrLocked) || !strings.Contains(err.Error(), fmt.Sprintf("process %d", os.Getpid())) {
		t.Errorf("a second writer is told: %v", err)
	}
}

// TestLocalTimes: a local time gets the region's zone; one that a change of clocks skipped is rejected.
func TestLocalTimes(t *testing.T) {
	b := newBench(t)
	b.load(references)
	b.load(map[string]string{"inspections-2.csv": "inspection_id,site_id,region,technician_id,started_at,ended_at,purpose,outcome\n" +
		"I2,H1,S,T1,2026-03-02T09:00:00,2026-03-02T10:00:00,routine,clear\n" +
		"I3,H1,S,T1,2026-10-04T02:30:00,,routine,clear\n" + // skipped in Sydney
		"I4,H1,S,T1,2026-03-02T09:00:00,2026-03-02T08:00:00+11:00,routine,clear\n" + // ends before it starts, once the zone is known
		"I5,H1,X,T1,2026-03-02T09:00:00,,routine,clear\n"}) // region not known
	b.want("inspections-2.csv", store.Counts{Rows: 4, Accepted: 1, Waiting: 1, Rejected: 2})
	b.load(map[string]string{"readings.csv": readingsHeader + "R1,I2,U1,P1,2026-03-02T09:10:00,board,2,clear\nR2,I2,U1,P1,2026-03-01T22:10:00Z,board,2,clear\n"})
	b.want("readings.csv", store.Counts{Rows: 2, Accepted: 2})
}

// scratchAt notes what lies in a folder when a load publishes.
type scratchAt struct {
	dir      string
	asked    bool
	standing []os.DirEntry
}

func (*scratchAt) File(string, int64)     {}
func (*scratchAt) Rows(int64)             {}
func (*scratchAt) Extra(string, []string) {}
func (s *scratchAt) Step(what string) {
	if what == "publish" {
		s.asked = true
		s.standing, _ = os.ReadDir(s.dir)
	}
}

// A load that is killed once its files are held leaves nothing: the one after it has nothing to take in, and would not sweep.
func TestNothingIsScratchOnceFilesAreHeld(t *testing.T) {
	b := newBench(t)
	watch := &scratchAt{dir: t.TempDir()}
	b.opt.Watch, b.opt.Engine.TempDir = watch, watch.dir
	b.load(references)
	if !watch.asked || len(watch.standing) > 0 {
		t.Errorf("publication: %v; the engine's folder then held %v", watch.asked, watch.standing)
	}
}
