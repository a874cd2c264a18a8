package main

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"scanledger/ingest/contract"
	"scanledger/ingest/store"
)

// cycles is how many months the long test runs: three years.
const cycles = 36

// monthsOf makes the record files of one month after another for a small business that does not exist: new records, late
// findings, duplicates and corrections of earlier ones, rows that wait for a later month, rows that break a rule, a file sent twice, and
// corrections that make readings wrong and right again.
type monthsOf struct {
	rng      *rand.Rand
	visits   []visit
	readings []string // rows so far
	waiting  []string // inspections that come in a month late
}

type visit struct {
	id, site, technician, outcome string
	at                            time.Time
	active                        []bool // by point
}

// row is the visit's row, moved in time.
func (v visit) row(by time.Duration) string {
	at := v.at.Add(by)
	return strings.Join([]string{v.id, v.site, "S", v.technician, at.Format(time.RFC3339), at.Add(2 * time.Hour).Format(time.RFC3339), "routine", "", v.outcome}, ",")
}

// month makes the record files of the nth month, one a record set, and says which month that is.
func (m *monthsOf) month(n int) (files map[string]string, first time.Time) {
	first = time.Date(2022, time.Month(1+n), 1, 0, 0, 0, 0, time.UTC)
	tables := map[string][]string{}
	add := func(set string, rows ...string) { tables[set] = append(tables[set], rows...) }
	if n == 0 {
		add("regions", "S,South,south_four,Australia/Sydney,-33")
		add("materials", "board,light", "slab,dense")
		add("technicians", "T1,One", "T2,Two", "T3,Three")
		add("units", "U1,0,6,2", "U2,0,6,2")
	}
	switch n { // what others name is corrected too
	case 12:
		add("technicians", "T2,Second", "T4,Four")
	case 20:
		add("units", "U2,0,3,2")
	case 22:
		add("units", "U2,0,6,2")
	}
	add("inspections", m.waiting...)
	m.waiting = nil
	for i := range 30 { // what a unit logged while it was held, every other month a month late
		at := first.AddDate(0, -n%2, 4).Add(time.Duration(500*i) * time.Millisecond)
		add("unit_log", fmt.Sprintf("U1,%s,true,2,%d", at.Format("2006-01-02T15:04:05.000Z07:00"), m.rng.IntN(20)))
	}
	for i := range 4 {
		v := visit{id: fmt.Sprintf("I%02d-%d", n, i), site: fmt.Sprintf("H%d", m.rng.IntN(6)), technician: fmt.Sprintf("T%d", 1+m.rng.IntN(3)),
			outcome: "clear", at: first.AddDate(0, 0, 3+6*i).Add(time.Duration(m.rng.IntN(8)) * time.Hour)}
		add("readings", m.read(&v)...)
		if m.visits = append(m.visits, v); i == 3 && n%4 == 1 {
			m.waiting = append(m.waiting, v.row(0))
		} else {
			add("inspections", v.row(0))
		}
	}
	if n > 0 {
		m.later(n, add)
	}
	files = map[string]string{}
	for set, rows := range tables {
		files[set] = headers[set] + "\n" + strings.Join(rows, "\n") + "\n"
	}
	return files, first
}

var headers = map[string]string{
	"regions": "region,label,season_scheme,time_zone,latitude", "materials": "material,density_class", "technicians": "technician_id,name",
	"units":       "unit_id,gain_min,gain_max,gain_start",
	"inspections": "inspection_id,site_id,region,technician_id,started_at,ended_at,purpose,recheck_of,outcome",
	"readings":    "reading_id,inspection_id,unit_id,point_id,taken_at,material,gain,hold_s,level_pct,call",
	"unit_log":    "unit_id,logged_at,sensing,gain,level_pct",
	"findings":    "finding_id,site_id,point_id,inspection_id,found_on,method,result",
}

// read makes the readings of a visit: four points, each read at two steps.
func (m *monthsOf) read(v *visit) (rows []string) {
	unit := fmt.Sprintf("U%d", 1+m.rng.IntN(2))
	for point := range 4 {
		active := m.rng.IntN(4) == 0
		v.active = append(v.active, active)
		call, level := "clear", m.rng.IntN(30)
		if active {
			call, level, v.outcome = "active", 50+m.rng.IntN(50), "active"
		}
		for step := range 2 {
			rows = append(rows, fmt.Sprintf("%s-%d-%d,%s,%s,P%d,%s,%s,%d,%d,%d,%s", v.id, point, step, v.id, unit, point,
				v.at.Add(time.Duration(5+10*point+3*step)*time.Minute).Format(time.RFC3339), []string{"board", "slab"}[point%2], 2+2*step, 12+m.rng.IntN(10), level, call))
		}
	}
	m.readings = append(m.readings, rows...)
	return rows
}

// later makes what comes in about earlier months.
func (m *monthsOf) later(n int, add func(set string, rows ...string)) {
	for i, v := range m.visits[max(0, len(m.visits)-12) : len(m.visits)-4] { // of the last two months
		point := m.rng.IntN(4)
		result := "nothing"
		if v.active[point] && m.rng.IntN(4) > 0 {
			result = "active"
		}
		if m.rng.IntN(2) == 0 {
			add("findings", fmt.Sprintf("F%02d-%d,%s,P%d,%s,%s,opened,%s", n, i, v.site, point, v.id, v.at.AddDate(0, 0, 20+i).Format(time.DateOnly), result))
		}
	}
	old := func() string { return m.readings[m.rng.IntN(len(m.readings)-32)] }
	add("readings", old(), old(), strings.Replace(old(), ",clear", ",unsure", 1), strings.Replace(old(), ",slab,", ",board,", 1), // twice as they were, twice corrected
		fmt.Sprintf("X%02d,I%02d-0,U1,P0,never,board,2,15,10,clear", n, n),                              // no time
		fmt.Sprintf("Y%02d,I99-0,U1,P0,%s,board,2,15,10,clear", n, m.visits[0].at.Format(time.RFC3339))) // an inspection that never comes
	v := m.visits[m.rng.IntN(len(m.visits)-4)]
	switch n % 3 {
	case 0: // its readings lie outside of it
		add("inspections", v.row(5*time.Hour))
	case 1: // those of another do no more
		add("inspections", v.row(0), m.visits[len(m.visits)-5].row(0))
	default:
		add("inspections", strings.Replace(v.row(0), ",active", ",inconclusive", 1))
	}
}

// TestThreeYears runs 36 monthly cycles of load, and of build every third month, each with a crash, on little memory. They end in the same bytes as one clean
// load and build of everything, and no cycle leaves anything behind.
func TestThreeYears(t *testing.T) {
	w := &office{dir: t.TempDir(), took: map[string]time.Duration{}}
	w.write(t, "little.toml", "[engine]\nmemory = \"512MB\"\n[pages]\ninspections = 5\n")
	m, rng := &monthsOf{rng: rand.New(rand.NewPCG(7, 8))}, rand.New(rand.NewPCG(9, 10))
	var folders []string
	for n := range cycles {
		month := fmt.Sprintf("in/%02d", n)
		folders = append(folders, month)
		tables, day := m.month(n)
		for set, text := range tables {
			w.write(t, fmt.Sprintf("%s/%s-%s.csv", month, set, day.Format("2006-01")), text)
		}
		if n%5 == 4 {
			w.write(t, fmt.Sprintf("%s/readings-again-%02d.csv", month, n), tables["readings"])
		}
		w.cycle(t, rng, n, month)
		w.leavesNothing(t, n)
	}
	whole := &office{dir: w.dir, took: w.took, suffix: "-whole"}
	whole.run(t, whole.load(cycles-1, folders...))
	whole.run(t, whole.build())
	w.same(t, whole)
	t.Logf("most memory that a command held: %d MiB", w.peak/1024)
	if w.peak == 0 || w.peak > 512*1024 {
		t.Errorf("a command held %d KiB", w.peak)
	}
}

// office is where the cycles run.
type office struct {
	dir, suffix string
	took        map[string]time.Duration // how long a command takes, for one that is killed
	peak        int64                    // most memory that a command held, in KiB
}

func (w *office) write(t *testing.T, name, text string) {
	t.Helper()
	path := filepath.Join(w.dir, name)
	if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o700), os.WriteFile(path, []byte(text), 0o600)); err != nil {
		t.Fatal(err)
	}
}

func (w *office) command(args ...string) *exec.Cmd {
	cmd := exec.Command("scanledger", append([]string{args[0], "--quiet", "--config", "little.toml"}, args[1:]...)...)
	cmd.Dir = w.dir
	cmd.Env = append(os.Environ(), "TMPDIR="+filepath.Join(w.dir, "tmp"))
	return cmd
}

func (w *office) load(n int, folders ...string) *exec.Cmd {
	received := time.Date(2022, time.Month(2+n), 2, 0, 0, 0, 0, time.UTC).Format(time.RFC3339)
	return w.command(append([]string{"load", "--received", received, "--store", "store" + w.suffix}, folders...)...)
}

func (w *office) build() *exec.Cmd {
	return w.command("build", "--store", "store"+w.suffix, "--out", "out"+w.suffix)
}

// run runs a command to its end; rejected rows are no failure.
func (w *office) run(t *testing.T, cmd *exec.Cmd) {
	t.Helper()
	if err := os.MkdirAll(filepath.Join(w.dir, "tmp"), 0o700); err != nil {
		t.Fatal(err)
	}
	began := time.Now()
	var said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &said, &said
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error)
	go func() { ended <- cmd.Wait() }()
	for {
		select {
		case err := <-ended:
			if code := cmd.ProcessState.ExitCode(); err != nil && code != exitRejects {
				t.Fatalf("%v: %v: %s", cmd.Args, err, said.Bytes())
			}
			w.took[cmd.Args[1]] = time.Since(began)
			return
		case <-time.After(5 * time.Millisecond):
			w.peak = max(w.peak, held(cmd.Process.Pid))
		}
	}
}

// held is the most memory that a process has held so far, in KiB. What the system says of an ended child is no less than what its
// parent held when it began.
func held(pid int) (kib int64) {
	status, _ := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid)) // it may have ended
	for line := range strings.Lines(string(status)) {
		if strings.HasPrefix(line, "VmHWM:") {
			_, _ = fmt.Sscanf(line, "VmHWM: %d kB", &kib)
		}
	}
	return kib
}

// cycle is a month's load and, every third month and at the end, its build, one of which is killed at a random moment and run
// again. Builds are what takes time here.
func (w *office) cycle(t *testing.T, rng *rand.Rand, n int, month string) {
	t.Helper()
	kill := func(cmd *exec.Cmd) {
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Duration(rng.Int64N(1 + int64(w.took[cmd.Args[1]]))))
		_ = cmd.Process.Kill() // it may have ended
		_ = cmd.Wait()         // killed or ended: both are meant
	}
	builds := n%3 == 0 || n == cycles-1
	killsBuild := builds && rng.IntN(4) > 0
	if !killsBuild {
		kill(w.load(n, month))
	}
	w.run(t, w.load(n, month))
	if killsBuild {
		kill(w.build())
	}
	if builds {
		w.run(t, w.build())
	}
}

// leavesNothing sees that no temporary file and no part that the manifest does not list is left.
func (w *office) leavesNothing(t *testing.T, n int) {
	t.Helper()
	st, err := store.Open(filepath.Join(w.dir, "store"))
	if err != nil {
		t.Fatal(err)
	}
	listed := map[string]bool{"manifest.json": true, "manifest-copy.json": true, "datapackage.json": true}
	for _, p := range st.Manifest.Parts {
		listed[p.Path] = true
	}
	for path := range treeOf(t, st.Dir) {
		if !listed[path] {
			t.Errorf("cycle %d: the store holds %s", n, path)
		}
	}
	for folder, want := range map[string][]string{".": {"in", "little.toml", "out", "store", "tmp"}, "tmp": nil} {
		entries, err := os.ReadDir(filepath.Join(w.dir, folder))
		if err != nil {
			t.Fatal(err)
		}
		var names []string
		for _, e := range entries {
			names = append(names, e.Name())
		}
		if !slices.Equal(names, want) {
			t.Errorf("cycle %d: folder %s holds %v", n, folder, names)
		}
	}
}

// same compares what two stores hold, row by row, and what was built from them, byte by byte. When and with which load a file
// came in is all that may differ.
func (w *office) same(t *testing.T, whole *office) {
	t.Helper()
	for _, set := range contract.Sets() {
		query := "SELECT f.name AS file, r.* EXCLUDE (_file) FROM " + set.Name + " r JOIN files f ON f.number = r._file ORDER BY ALL"
		var got [2]string
		for i, o := range []*office{w, whole} {
			out, err := o.command("ask", "--csv", "--limit", "1000000", "--store", "store"+o.suffix, query).Output()
			if err != nil {
				t.Fatal(err)
			}
			got[i] = string(out)
		}
		if got[0] != got[1] {
			t.Errorf("rows of %s that count differ", set.Name)
		}
		t.Logf("%s: %d rows", set.Name, strings.Count(got[0], "\n")-1)
	}
	was, is := w.outputs(t), whole.outputs(t)
	if len(was) < 150 {
		t.Errorf("only %d files were built", len(was))
	}
	for _, name := range []string{"manifest.json", "quality.html", "results/data_quality.csv", "results/data_quality.json"} {
		was[name], is[name] = withoutArrival(was[name]), withoutArrival(is[name])
	}
	for _, tree := range []map[string]string{was, is} {
		delete(tree, "facts/months.parquet") // what each month was made from, by numbers of record files, to be made again only where that changes
	}
	differ(t, "cycles against one load", is, was)
}

// arrived is what a list of record files says of their arrival.
var arrived = regexp.MustCompile(`"load": \d+|\d{4}-\d\d-\d\d`)

// withoutArrival is a list of record files without when they came in, and in no order: a load takes them by record set.
func withoutArrival(list string) string {
	rows := regexp.MustCompile("<tr|[{}\n]+").Split(arrived.ReplaceAllString(list, ""), -1)
	slices.Sort(rows)
	return strings.Join(rows, "\n")
}

func (w *office) outputs(t *testing.T) map[string]string {
	t.Helper()
	return treeOf(t, filepath.Join(w.dir, "out"+w.suffix))
}
