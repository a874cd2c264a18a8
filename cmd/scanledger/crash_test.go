package main

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"scanledger/ingest/demo"
	"scanledger/ingest/disk"
)

// victim is a command that is killed while it writes.
type victim struct {
	name   string
	args   []string          // with what it works on below the working folder
	before string            // the working folder before it
	after  map[string]string // what is in that folder when it was left alone
	took   time.Duration     // when it was left alone
	unit   func(path string) string

	tried sync.Map // what earlier kills left: what comes of it is known
}

// The folders in a working folder. Temporary files are there too, so that nobody else's are counted.
const (
	storeFolder = "store"
	outFolder   = "out"
	tempFolder  = "tmp"
)

// start begins the command in a working folder, with more in its environment.
func (v *victim) start(t *testing.T, at string, env ...string) *exec.Cmd {
	t.Helper()
	cmd := exec.Command("scanledger", append([]string{"--config", oneThread(t)}, v.args...)...)
	cmd.Dir, cmd.Env = at, append(os.Environ(), append(env, "TMPDIR="+filepath.Join(at, tempFolder))...)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	return cmd
}

// oneThread is a configuration with which two commands share two cores, and neither waits for its own threads.
func oneThread(t *testing.T) (path string) {
	t.Helper()
	path, err := filepath.Abs(filepath.Join("testdata", "one-thread.toml"))
	if err != nil {
		t.Fatal(err)
	}
	return path
}

// ended waits for a command and reports whether it was killed. Rejected rows are no failure, nor is any failure once the
// killed command had done its work: what it did is looked at.
func ended(t *testing.T, cmd *exec.Cmd) (killed bool) {
	t.Helper()
	err := cmd.Wait()
	var exit *exec.ExitError
	if err == nil || errors.As(err, &exit) && exit.ExitCode() == exitRejects {
		return false
	}
	if exit == nil || exit.Sys().(syscall.WaitStatus).Signal() != syscall.SIGKILL {
		t.Fatalf("%v: %v", cmd.Args, err)
	}
	return true
}

// lab makes the victims: a store of a few dozen inspections, and a load, a build and a report that follow one that was good.
func lab(t *testing.T) (victims []*victim) {
	t.Helper()
	dir := t.TempDir()
	early, late := smallRecords(t, filepath.Join(dir, "records"))
	load := func(files []string) []string {
		return append([]string{"load", "--quiet", "--received", "2024-10-20T00:00:00Z", "--store", storeFolder}, files...)
	}
	build := []string{"build", "--quiet", "--store", storeFolder, "--out", outFolder}
	report := []string{"report", "--quiet", "--store", storeFolder, "--out", outFolder}
	whole := func(string) string { return "" }
	page := func(path string) string { // an issue, or the list of them
		parts := strings.SplitN(path, "/", 4)
		return strings.Join(parts[:min(3, len(parts))], "/")
	}
	at := filepath.Join(dir, "at")
	first := newVictim(t, "first load", load(early), at, whole)
	second := newVictim(t, "load", load(late), at, whole)
	mustCopy(t, at, filepath.Join(dir, "new"))
	victims = append(victims, newVictim(t, "first build", build, filepath.Join(dir, "new"), whole), first, second)
	base := filepath.Join(dir, "base")
	for _, v := range []*victim{{name: "build", args: build, unit: whole}, {name: "report", args: append(report, "--month", "2024-09"), unit: page}} {
		mustCopy(t, second.before, base)
		v.alone(t, base) // the last good output
		if err := os.RemoveAll(filepath.Join(base, storeFolder)); err != nil {
			t.Fatal(err)
		}
		mustCopy(t, filepath.Join(at, storeFolder), filepath.Join(base, storeFolder))
		victims = append(victims, newVictim(t, v.name, v.args, base, v.unit))
		if err := os.RemoveAll(base); err != nil {
			t.Fatal(err)
		}
	}
	return victims
}

// smallRecords writes a few dozen inspections, and names the files that come in first and those that come in later: late and
// corrected records, and what rows of the first wait for.
func smallRecords(t *testing.T, records string) (early, late []string) {
	t.Helper()
	planted, err := demo.Write(context.Background(), records, demo.Options{Inspections: 30, Months: 1})
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range planted.Files {
		switch path := filepath.Join(records, name); {
		case strings.HasPrefix(name, "unit_log"): // takes its time, and goes the way of the others
		case strings.Contains(name, "late") || strings.HasPrefix(name, "findings") || name == "units.csv":
			late = append(late, path)
		default:
			early = append(early, path)
		}
	}
	return early, late
}

// alone runs the command undisturbed.
func (v *victim) alone(t *testing.T, at string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Join(at, tempFolder), 0o700); err != nil {
		t.Fatal(err)
	}
	ended(t, v.start(t, at))
}

// newVictim keeps the working folder as it is, runs the command in it, and keeps what that gave.
func newVictim(t *testing.T, name string, args []string, at string, unit func(string) string) *victim {
	t.Helper()
	v := &victim{name: name, args: args, before: filepath.Join(t.TempDir(), "before"), unit: unit}
	if err := os.MkdirAll(filepath.Join(at, tempFolder), 0o700); err != nil {
		t.Fatal(err)
	}
	mustCopy(t, at, v.before)
	start := time.Now()
	v.alone(t, at)
	v.took = time.Since(start)
	v.after = treeOf(t, at)
	return v
}

// TestKilledCommandsLoseNothing kills load, build and report before every step of their publications, and at 200 random
// moments of all that they do. Whatever the moment, nothing of the last good state is lost, nothing half done is to be seen, and the same
// command again ends in the same bytes as one that was left alone.
func TestKilledCommandsLoseNothing(t *testing.T) {
	fewest := map[string]int{"first load": 40, "load": 40, "build": 5, "report": 12}                    // steps
	kills := map[string]int{"first load": 55, "load": 105, "first build": 5, "build": 15, "report": 20} // 200 in all; loads are quicker
	for nth, v := range lab(t) {
		t.Run(v.name+" at every step", func(t *testing.T) {
			t.Parallel()
			if steps := v.everyStep(t); steps < fewest[v.name] {
				t.Errorf("ended after %d steps; not all are counted", steps)
			}
		})
		t.Run(v.name+" at any moment", func(t *testing.T) {
			t.Parallel()
			if killed := v.anyMoment(t, rand.New(rand.NewPCG(1, uint64(nth))), kills[v.name]); killed < kills[v.name]/2 {
				t.Errorf("only %d of %d were killed before they ended; the test hardly tests", killed, kills[v.name])
			}
		})
	}
}

// everyStep kills the command before each of its steps, and returns how many there are.
func (v *victim) everyStep(t *testing.T) (steps int) {
	t.Helper()
	for v.try(t, fmt.Sprintf("step %d", steps+1), func(at string) *exec.Cmd {
		return v.start(t, at, fmt.Sprintf("%s=%d", disk.KillAtStep, steps+1))
	}) {
		steps++
	}
	return steps
}

// anyMoment kills the command at random moments, and returns how often it had not ended by then.
func (v *victim) anyMoment(t *testing.T, rng *rand.Rand, kills int) (killed int) {
	t.Helper()
	for i := range kills {
		after := time.Duration(rng.Int64N(int64(v.took)))
		if v.try(t, fmt.Sprintf("kill %d", i), func(at string) *exec.Cmd {
			cmd := v.start(t, at)
			time.Sleep(after)
			_ = cmd.Process.Kill() // it may have ended
			return cmd
		}) {
			killed++
		}
	}
	return killed
}

// try runs the command in a copy of the working folder, sees that what it left is whole, and runs it again.
func (v *victim) try(t *testing.T, what string, run func(at string) *exec.Cmd) (killed bool) {
	t.Helper()
	at := filepath.Join(t.TempDir(), "at")
	mustCopy(t, v.before, at)
	killed = ended(t, run(at))
	if _, known := v.tried.LoadOrStore(leftIn(t, at), true); !known {
		v.inspect(t, what, at)
		v.alone(t, at)
		differ(t, what+", repeated", v.after, treeOf(t, at))
	}
	if err := os.RemoveAll(at); err != nil {
		t.Fatal(err)
	}
	return killed
}

// randomName is what distinguishes the folders for what is not yet to be found.
var randomName = regexp.MustCompile(`(stage|issue|spill)-\d+`)

// leftIn tells states of a working folder apart: by every file and folder, whatever stages and temporary folders are called.
func leftIn(t *testing.T, at string) string {
	t.Helper()
	var names, sums []string
	err := fs.WalkDir(os.DirFS(at), ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.Name() == "lock" || d.Name() == ".lock" {
			return err
		}
		names = append(names, randomName.ReplaceAllString(path, "$1"))
		if d.IsDir() {
			return nil
		}
		raw, err := os.ReadFile(filepath.Join(at, path))
		sums = append(sums, fmt.Sprintf("%x", sha256.Sum256(raw)))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return strings.Join(append(names, sums...), "\n")
}

// inspect sees that the store is sound and that every output is whole: the last good one, or the new one.
func (v *victim) inspect(t *testing.T, what, at string) {
	t.Helper()
	store := filepath.Join(at, storeFolder)
	_, err := os.Stat(filepath.Join(v.before, storeFolder))
	begun := err == nil
	var out, problems strings.Builder
	code := run(context.Background(), []string{"verify", "--store", store}, terminal{strings.NewReader(""), &out, &problems})
	if code != exitClean && (begun || !strings.Contains(problems.String(), "no store here")) {
		t.Errorf("%s: the store is not sound: %s", what, &problems)
	}
	was, is := treeOf(t, v.before), treeOf(t, at)
	for _, name := range []string{"store/manifest.json", "store/datapackage.json"} {
		if is[name] != was[name] && is[name] != v.after[name] {
			t.Errorf("%s: %s is neither the old nor the new one", what, name)
		}
	}
	units := map[string]bool{}
	for path := range is {
		if seen(path) {
			units[v.unit(path)] = true
		}
	}
	for unit := range units {
		got := v.of(unit, is)
		if !maps.Equal(got, v.of(unit, was)) && !maps.Equal(got, v.of(unit, v.after)) {
			t.Errorf("%s: the output %q is neither the old nor the new one", what, unit)
		}
	}
	for path := range v.of("", was) {
		if !seen(path) {
			continue
		}
		if _, ok := is[path]; !ok && v.after[path] != "" {
			t.Errorf("%s: %s was lost", what, path)
		}
	}
}

// seen reports whether a path is that of an output, and not of a stage beside or in it.
func seen(path string) bool {
	return strings.HasPrefix(path, outFolder+"/") && !slices.ContainsFunc(strings.Split(path, "/"), func(s string) bool { return strings.HasPrefix(s, ".") })
}

// of is the part of a tree that is published in one step.
func (v *victim) of(unit string, tree map[string]string) map[string]string {
	out := map[string]string{}
	for path, content := range tree {
		if seen(path) && (unit == "" || v.unit(path) == unit) {
			out[path] = content
		}
	}
	return out
}

func loadCommand(store, records string) *exec.Cmd {
	return exec.Command("scanledger", "load", "--quiet", "--received", "2026-01-01T00:00:00Z", "--store", store, records)
}

// mustLoad loads; rejected rows are no failure.
func mustLoad(t *testing.T, store, records string) {
	t.Helper()
	out, err := loadCommand(store, records).CombinedOutput()
	var exit *exec.ExitError
	if err != nil && (!errors.As(err, &exit) || exit.ExitCode() != exitRejects) {
		t.Fatalf("load: %v: %s", err, out)
	}
}

func mustCopy(t *testing.T, from, to string) {
	t.Helper()
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
}

func manifestOf(t *testing.T, store string) []byte {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(store, "manifest.json"))
	if err != nil {
		t.Fatal(err)
	}
	return raw
}

// treeOf reads every file below a folder but locks, which are empty or name a process.
func treeOf(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := fs.WalkDir(os.DirFS(dir), ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || d.Name() == "lock" || d.Name() == ".lock" {
			return err
		}
		raw, err := os.ReadFile(filepath.Join(dir, path))
		out[path] = string(raw)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func compareTrees(t *testing.T, want, got map[string]string) {
	t.Helper()
	differ(t, "compared", want, got)
}

// differ names every file that two trees do not have in common.
func differ(t *testing.T, what string, want, got map[string]string) {
	t.Helper()
	for _, path := range slices.Sorted(maps.Keys(want)) {
		if got[path] != want[path] {
			t.Errorf("%s: %s differs or is missing", what, path)
		}
	}
	for _, path := range slices.Sorted(maps.Keys(got)) {
		if _, ok := want[path]; !ok {
			t.Errorf("%s: %s was left behind", what, path)
		}
	}
}
