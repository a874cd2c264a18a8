package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"scanledger/ingest/disk"
	"scanledger/ingest/store"
)

// workshop is a working folder with a store, an output, issues, and records that are not loaded yet.
type workshop struct {
	dir      string
	late     []string // paths below dir
	nobody   *syscall.SysProcAttr
	program  string
	received int // days after the first load
	files    int // record files, loaded or not
}

// newWorkshop makes one that a user without rights can use, and runs the program as such a user: root may do everything.
func newWorkshop(t *testing.T) *workshop {
	t.Helper()
	w := &workshop{dir: t.TempDir()}
	early, late := smallRecords(t, filepath.Join(w.dir, "records"))
	w.late, w.files = late, len(early)+len(late)
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	w.program = filepath.Join(w.dir, "scanledger")
	if err := os.Link(program, w.program); err != nil {
		mustCopyFile(t, program, w.program)
	}
	if os.Geteuid() == 0 {
		const nobody = 65534
		w.nobody = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: nobody}}
		if err := filepath.WalkDir(w.dir, func(path string, _ fs.DirEntry, err error) error {
			return errors.Join(err, os.Lchown(path, nobody, nobody))
		}); err != nil {
			t.Fatal(err)
		}
		if err := os.Chmod(filepath.Dir(w.dir), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Chmod(w.dir, 0o755); err != nil {
		t.Fatal(err)
	}
	w.does(t, w.load(early...))
	return w
}

func mustCopyFile(t *testing.T, from, to string) {
	t.Helper()
	raw, err := os.ReadFile(from)
	if err == nil {
		err = os.WriteFile(to, raw, 0o755)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// command is the program with these words, in the workshop's folder.
func (w *workshop) command(args ...string) *exec.Cmd {
	cmd := exec.Command(w.program, append([]string{"--quiet"}, args...)...)
	cmd.Dir, cmd.SysProcAttr = w.dir, w.nobody
	cmd.Env = append(os.Environ(), "TMPDIR="+w.dir)
	return cmd
}

// load is a load a day after the one before.
func (w *workshop) load(files ...string) *exec.Cmd {
	w.received++
	day := time.Date(2024, 10, w.received, 0, 0, 0, 0, time.UTC).Format(time.RFC3339)
	return w.command(append([]string{"load", "--received", day, "--store", "store"}, files...)...)
}

func (w *workshop) build() *exec.Cmd { return w.command("build", "--store", "store", "--out", "out") }

func (w *workshop) report() *exec.Cmd {
	return w.command("report", "--store", "store", "--out", "reports", "--month", "2024-09")
}

// does runs a command that must succeed; rejected rows are no failure.
func (w *workshop) does(t *testing.T, cmd *exec.Cmd) {
	t.Helper()
	if out, ok := outcome(t, cmd); !ok {
		t.Fatalf("%v: %s", cmd.Args, out)
	}
}

// refuses runs a command that must fail, and name what it tells of.
func (w *workshop) refuses(t *testing.T, cmd *exec.Cmd, tells ...string) {
	t.Helper()
	out, ok := outcome(t, cmd)
	if ok {
		t.Errorf("%v: succeeded", cmd.Args)
		return
	}
	for _, tell := range tells {
		if !strings.Contains(out, tell) {
			t.Errorf("%v: says nothing of %q: %s", cmd.Args, tell, out)
		}
	}
}

// outcome runs a command and tells what it says, and whether it succeeded. It must never end in another way.
func outcome(t *testing.T, cmd *exec.Cmd) (said string, ok bool) {
	t.Helper()
	out, err := cmd.CombinedOutput()
	var exit *exec.ExitError
	switch {
	case err == nil, errors.As(err, &exit) && exit.ExitCode() == exitRejects:
		return string(out), true
	case exit == nil || exit.ExitCode() != exitFailure:
		t.Errorf("%v: %v: %s", cmd.Args, err, out)
	}
	return string(out), false
}

func (w *workshop) at(name string) string { return filepath.Join(w.dir, name) }

// chmod sets the mode of a folder, and back at the end of the test, for its folder to be removed.
func (w *workshop) chmod(t *testing.T, name string, mode os.FileMode) {
	t.Helper()
	if err := os.Chmod(w.at(name), mode); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.Chmod(w.at(name), 0o755) }) // it may be gone
}

// TestFullDisk: on a disk with too little room, or under a limit of the size of files, the store stays sound, outputs stay
// whole, and nothing is left of what did not fit, wherever it stops.
func TestFullDisk(t *testing.T) {
	w := newWorkshop(t)
	w.does(t, w.build())
	was := treeOf(t, w.dir)
	small := canMount(t)
	for _, c := range []struct {
		cmd    *exec.Cmd
		blocks []int // of 512 bytes, a file
		kib    []int // on the disk, beside what is there
	}{
		{w.load(w.late...), []int{1, 8, 16}, []int{0, 20, 60, 100}},
		{w.build(), []int{1, 100}, []int{0, 1500}},
		{w.report(), []int{1}, []int{100}},
	} {
		for _, blocks := range c.blocks {
			limited := w.wrapped(c.cmd, fmt.Sprintf(`ulimit -f %d && exec "$@"`, blocks))
			w.refuses(t, limited, "ile too large", "free some space there or raise the limit, then run again")
			differ(t, fmt.Sprintf("%v, %d blocks", c.cmd.Args, blocks), was, treeOf(t, w.dir))
		}
		for _, kib := range c.kib {
			if !small {
				continue // the limit above gives the same failures at other places
			}
			w.refuses(t, w.onSmallDisk(c.cmd, kib), "o space left on device", "free some space there or raise the limit, then run again")
			left := treeOf(t, w.at("left"))
			for path := range left {
				if !strings.HasPrefix(path, "store/") && !strings.HasPrefix(path, "out/") || left[path] != was[path] {
					t.Errorf("%v, %d KiB: %s is new", c.cmd.Args, kib, path)
				}
			}
			if len(left) < 200 {
				t.Errorf("%v, %d KiB: only %d files are left", c.cmd.Args, kib, len(left))
			}
			if err := os.RemoveAll(w.at("left")); err != nil {
				t.Fatal(err)
			}
		}
	}
	w.does(t, w.command("verify", "--store", "store"))
}

// wrapped is a command run by a shell script.
func (w *workshop) wrapped(cmd *exec.Cmd, script string) *exec.Cmd {
	out := w.command()
	out.Path, out.Args = "/bin/sh", append([]string{"sh", "-c", script, "sh"}, cmd.Args...)
	return out
}

// onSmallDisk is a command run on a copy of store and output, on a disk that has so much room left. What is there afterwards
// is put into the folder left.
func (w *workshop) onSmallDisk(cmd *exec.Cmd, kib int) *exec.Cmd {
	out := w.wrapped(cmd, fmt.Sprintf(`mkdir -p disk && mount -t tmpfs -o size=64m none disk && cp -r store out disk && cd disk && mkdir tmp || exit 90
		used=$(df -Pk . | awk 'NR == 2 {print $3}')
		mount -o remount,size=$((used + %d))k . || exit 91
		TMPDIR=$PWD/tmp "$@"
		code=$?
		cp -r . ../left && exit $code`, kib))
	out.SysProcAttr = ownMounts()
	return out
}

// ownMounts lets a process mount what nobody else sees; who is not root becomes it in a name space of its own.
func ownMounts() *syscall.SysProcAttr {
	if os.Geteuid() == 0 {
		return &syscall.SysProcAttr{Unshareflags: syscall.CLONE_NEWNS}
	}
	one := func(id int) []syscall.SysProcIDMap {
		return []syscall.SysProcIDMap{{ContainerID: 0, HostID: id, Size: 1}}
	}
	return &syscall.SysProcAttr{Cloneflags: syscall.CLONE_NEWUSER | syscall.CLONE_NEWNS, UidMappings: one(os.Getuid()), GidMappings: one(os.Getgid())}
}

// canMount reports whether this machine lets a test have a disk of its own.
func canMount(t *testing.T) bool {
	t.Helper()
	cmd := exec.Command("/bin/sh", "-c", "mount -t tmpfs none "+t.TempDir())
	cmd.SysProcAttr = ownMounts()
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Logf("no small disk can be made here: %v: %s", err, out)
	}
	return err == nil
}

// TestReadOnlyFolders: where this user may not write, or not read, it is said so, and nothing changes.
func TestReadOnlyFolders(t *testing.T) {
	w := newWorkshop(t)
	w.does(t, w.build())
	w.does(t, w.report())
	was := treeOf(t, w.dir)
	for folder, cmds := range map[string][]*exec.Cmd{
		"store":          {w.load(w.late...)},
		".":              {w.build(), w.command("report", "--store", "store", "--out", "elsewhere", "--month", "2024-09")},
		"reports/months": {w.report()},
	} {
		w.chmod(t, folder, 0o555)
		for _, cmd := range cmds {
			cmd.Env = append(cmd.Env, "TMPDIR="+os.TempDir())
			w.refuses(t, cmd, "permission denied", "give this user the right to it or name another folder, then run again")
		}
		w.chmod(t, folder, 0o755)
	}
	w.chmod(t, "store/originals", 0)
	w.refuses(t, w.command("verify", "--store", "store"), "permission denied", "store/originals/")
	w.chmod(t, "store/originals", 0o755)
	differ(t, "without rights", was, treeOf(t, w.dir))
}

// TestRightsLostHalfWay takes the right to write away while a command is at work. It fails with the reason or ends well;
// once it may write again, the same command gives what it gives undisturbed.
func TestRightsLostHalfWay(t *testing.T) {
	w := newWorkshop(t)
	w.chmod(t, "store/data/inspections/utc_month=2024-09", 0o555) // some parts are in place before one cannot be put there
	late := w.load(w.late...)
	w.refuses(t, late, "publish data/inspections/", "permission denied", "give this user the right to it")
	w.does(t, w.command("verify", "--store", "store"))
	w.does(t, w.build())
	out := treeOf(t, w.at("out"))
	w.chmod(t, "store/data/inspections/utc_month=2024-09", 0o755)
	again := w.command(late.Args[2:]...)
	w.does(t, again)
	w.does(t, w.command("verify", "--store", "store"))
	began := time.Now()
	w.does(t, w.command("build", "--store", "store", "--out", "alone"))
	took := time.Since(began)
	want := treeOf(t, w.at("alone"))
	rng := rand.New(rand.NewPCG(5, 6))
	for i := range 4 {
		cmd := w.build()
		cmd.Env = append(cmd.Env, "TMPDIR="+os.TempDir())
		var said bytes.Buffer
		cmd.Stdout, cmd.Stderr = &said, &said
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Duration(rng.Int64N(int64(took))))
		w.chmod(t, ".", 0o555)
		if err := cmd.Wait(); err != nil && !strings.Contains(said.String(), "give this user the right to it") {
			t.Errorf("try %d: %v: %s", i, err, &said)
		}
		w.chmod(t, ".", 0o755)
		if got := treeOf(t, w.at("out")); got["index.html"] != out["index.html"] && got["index.html"] != want["index.html"] {
			t.Errorf("try %d: the output is neither the old nor the new one", i)
		}
	}
	w.does(t, w.build())
	differ(t, "built again", want, treeOf(t, w.at("out")))
	if left, err := disk.Named(w.dir, ".out"); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v (%v)", left, err)
	}
}

// TestLocks: what a living process holds is refused with its name; what a dead one held is free.
func TestLocks(t *testing.T) {
	w := newWorkshop(t)
	killed := w.load(w.late...)
	killed.Env = append(killed.Env, disk.KillAtStep+"=20")
	if err := killed.Run(); err == nil {
		t.Fatal("the load was not killed")
	}
	if held, err := os.ReadFile(w.at("store/lock")); err != nil || !strings.Contains(string(held), fmt.Sprintf("process %d ", killed.Process.Pid)) {
		t.Fatalf("the lock names %q (%v)", held, err)
	}
	w.does(t, w.command(killed.Args[2:]...)) // the dead one's lock keeps nobody out
	txn, err := store.Begin(w.at("store"))
	if err != nil {
		t.Fatal(err)
	}
	w.chmod(t, "store/lock", 0o666) // root may have made it
	for _, cmd := range []*exec.Cmd{w.load(w.late...), w.command("forget", "--store", "store", "--technician", "T01"), w.command("repair", "--store", "store")} {
		w.refuses(t, cmd, "lock store", fmt.Sprintf("in use by process %d on ", os.Getpid()), "wait for it to end, then run again")
	}
	w.does(t, w.build()) // who only reads is not kept out
	if err := txn.Close(); err != nil {
		t.Fatal(err)
	}
	stage, err := disk.NewScratch(w.dir, ".out.stage-")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(stage.Path, 0o755); err != nil {
		t.Fatal(err)
	}
	w.refuses(t, w.build(), "out is being written by another process", "wait for it to end, then run again")
	if err := stage.Close(); err != nil {
		t.Fatal(err)
	}
	w.does(t, w.build())
}

// TestClockSetBack loads by a clock that goes behind the last load: the load is entered with that one's time and says so,
// numbers go on, and figures are those of the newest load.
func TestClockSetBack(t *testing.T) {
	w := newWorkshop(t)
	ahead := "2999-01-01T00:00:00Z"
	w.does(t, w.command("load", "--received", ahead, "--store", "store", w.late[0]))
	cmd := w.command("load", "--store", "store", w.late[1])
	cmd.Args = append(cmd.Args[:1], cmd.Args[2:]...) // not quiet
	said, ok := outcome(t, cmd)
	if !ok || !strings.Contains(said, "set the clock right") {
		t.Errorf("%s", said)
	}
	st, err := store.Open(w.at("store"))
	if err != nil {
		t.Fatal(err)
	}
	loads := st.Manifest.Loads
	if last := loads[len(loads)-1]; last.Number != 3 || last.ReceivedAt.Format(time.RFC3339) != ahead {
		t.Errorf("%+v", last)
	}
	w.does(t, w.command("load", "--received", "2024-11-01T00:00:00Z", "--store", "store", w.late[2]))
	w.does(t, w.build())
	var made struct {
		AsOf   string `json:"as_of"`
		Inputs []input
	}
	raw, err := os.ReadFile(w.at("out/manifest.json"))
	if err == nil {
		err = json.Unmarshal(raw, &made)
	}
	if err != nil || made.AsOf != "2999-01-01" || made.Inputs[len(made.Inputs)-1].Load != 4 {
		t.Errorf("%+v (%v)", made, err)
	}
	w.does(t, w.command("build", "--store", "store", "--out", "then", "--as-of", "2024-12-01"))
	if raw, err = os.ReadFile(w.at("then/manifest.json")); err == nil {
		err = json.Unmarshal(raw, &made)
	}
	if err != nil || made.Inputs[len(made.Inputs)-1].Load != 1 { // loads after one that came in later are not seen either
		t.Errorf("%+v (%v)", made, err)
	}
}
