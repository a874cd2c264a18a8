package main

import (
	"context"
	"maps"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"scanledger/ingest/demo"
	"scanledger/ingest/disk"
)

// damages are ways in which a file goes bad; nil stands for one that is gone.
var damages = map[string]func([]byte) []byte{
	"first bit":  func(b []byte) []byte { b[0] ^= 1; return b },
	"middle bit": func(b []byte) []byte { b[len(b)/2] ^= 0x20; return b },
	"last byte":  func(b []byte) []byte { b[len(b)-1] ^= 0xff; return b },
	"cut":        func(b []byte) []byte { return b[:len(b)*2/3] },
	"empty":      func(b []byte) []byte { return b[:0] },
	"gone":       func([]byte) []byte { return nil },
}

// storeOfEveryKind makes a store that has every kind of file, from invented records in two loads and a sample, and says
// where the records are.
func storeOfEveryKind(t *testing.T, dir string) (store, records string) {
	t.Helper()
	store, records = filepath.Join(dir, "store"), filepath.Join(dir, "records")
	planted, err := demo.Write(context.Background(), records, demo.Options{Inspections: 240, Months: 4})
	if err != nil {
		t.Fatal(err)
	}
	slices.Reverse(planted.Files) // what names others before what is named: rows wait
	mustLoad(t, store, filepath.Join(records, planted.Files[0]))
	mustLoad(t, store, records)
	must(t, "sample", "--quiet", "--store", store, "--month", sampledMonth(t, records), "--size", "5", "--risk-share", "0", "--out", filepath.Join(dir, "sample"))
	return store, records
}

// sampledMonth is the first month of which there are readings.
func sampledMonth(t *testing.T, records string) string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(records, "readings-*"))
	if err != nil || len(found) == 0 {
		t.Fatalf("no readings (%v)", err)
	}
	return strings.TrimPrefix(filepath.Base(found[0]), "readings-")[:len("2026-01")]
}

// oneOfEachKind picks a file of every kind, the largest for its folder and ending.
func oneOfEachKind(tree map[string]string) []string {
	largest := map[string]string{}
	for _, name := range slices.Sorted(maps.Keys(tree)) {
		kind, _, _ := strings.Cut(name, "/")
		kind += filepath.Ext(name)
		if at, ok := largest[kind]; !ok || len(tree[name]) > len(tree[at]) {
			largest[kind] = name
		}
	}
	return slices.Sorted(maps.Values(largest))
}

// TestDamageIsNamedRefusedAndHealed flips and cuts bytes in every kind of store file, with the real program: verify names
// the file, build refuses with the remedy where figures may come from it, and repair brings the bytes back.
func TestDamageIsNamedRefusedAndHealed(t *testing.T) {
	dir := t.TempDir()
	store, records := storeOfEveryKind(t, dir)
	want := treeOf(t, store)
	files := oneOfEachKind(want)
	if len(files) < 11 { // data, pool, fates, two of rejects, two of samples, originals, and three in the folder itself
		t.Fatalf("some kind is not there: %v", files)
	}
	for i, name := range files {
		path := filepath.Join(store, name)
		for j, how := range slices.Sorted(maps.Keys(damages)) {
			bad := damages[how]([]byte(want[name]))
			err := os.Remove(path)
			if err == nil && bad != nil {
				err = os.WriteFile(path, bad, 0o600)
			}
			if err != nil {
				t.Fatal(err)
			}
			told(t, name, how, "verify", "--store", store)
			if !strings.HasPrefix(name, "originals/") && name != "manifest-copy.json" && name != "datapackage.json" {
				told(t, name, how, "build", "--store", store, "--out", filepath.Join(dir, "out"))
			}
			if i%len(damages) == j {
				must(t, "repair", "--quiet", "--store", store, "--records", records)
				compareTrees(t, want, treeOf(t, store))
			}
			if err := os.WriteFile(path, []byte(want[name]), 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
	if _, err := os.Stat(filepath.Join(dir, "out")); err == nil {
		t.Error("something was built from a damaged store")
	}
}

// told runs a command that must fail, name the file, and say what to do.
func told(t *testing.T, name, how string, args ...string) {
	t.Helper()
	out, err := exec.Command("scanledger", args...).CombinedOutput()
	if err == nil || !strings.Contains(string(out), name) || !strings.Contains(string(out), "scanledger repair --store") {
		t.Errorf("%s, %s: %s says: %s (%v)", name, how, args[0], out, err)
	}
}

// TestKilledRepairLosesNothing kills a repair of everything at random moments: repeated, it ends in the bytes that were there
// before the damage.
func TestKilledRepairLosesNothing(t *testing.T) {
	dir := t.TempDir()
	store, _ := storeOfEveryKind(t, dir)
	want := treeOf(t, store)
	bad := filepath.Join(dir, "bad")
	mustCopy(t, store, bad)
	for name := range want {
		if !strings.HasPrefix(name, "originals/") && name != "manifest-copy.json" {
			if err := os.Truncate(filepath.Join(bad, name), int64(len(want[name])/2)); err != nil {
				t.Fatal(err)
			}
		}
	}
	rng, took := rand.New(rand.NewPCG(3, 4)), time.Duration(0)
	for i := range 7 {
		hit := filepath.Join(dir, "hit")
		mustCopy(t, bad, hit)
		cmd := exec.Command("scanledger", "repair", "--quiet", "--store", hit)
		if i > 0 { // the first is left alone, to see how long it takes
			cmd = killedAfter(t, cmd, time.Duration(rng.Int64N(int64(took))))
		}
		start := time.Now()
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("kill %d: repair: %s", i, out)
		}
		took = max(took, time.Since(start))
		compareTrees(t, want, treeOf(t, hit))
		if err := os.RemoveAll(hit); err != nil {
			t.Fatal(err)
		}
	}
}

// killedAfter starts a command, kills it after a while, and gives the same command again.
func killedAfter(t *testing.T, cmd *exec.Cmd, while time.Duration) *exec.Cmd {
	t.Helper()
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	time.Sleep(while)
	_ = cmd.Process.Kill() // it may have ended
	_ = cmd.Wait()         // killed or ended: both are meant
	return exec.Command(cmd.Args[0], cmd.Args[1:]...)
}

// TestKilledRebuildIsSweptByTheNext kills a rebuild just before the new store appears: the next one leaves nothing of it.
func TestKilledRebuildIsSweptByTheNext(t *testing.T) {
	dir := t.TempDir()
	early, _ := smallRecords(t, filepath.Join(dir, "records"))
	store := filepath.Join(dir, "store")
	mustLoad(t, store, filepath.Dir(early[0]))
	rebuild := func() *exec.Cmd {
		return exec.Command("scanledger", "repair", "--quiet", "--store", store, "--into", filepath.Join(dir, "again"))
	}
	killed := rebuild()
	killed.Env = append(os.Environ(), disk.KillAtStep+"=50")
	if err := killed.Run(); err == nil {
		t.Fatal("the rebuild was not killed")
	}
	if left, err := disk.Named(dir, ".rebuild-"); err != nil || len(left) != 1 {
		t.Fatalf("nothing was left to be swept: %v (%v)", left, err)
	}
	if out, err := rebuild().CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	if left, err := disk.Named(dir, "."); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v (%v)", left, err)
	}
	compareTrees(t, treeOf(t, store), treeOf(t, filepath.Join(dir, "again")))
}
