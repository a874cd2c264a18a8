package main

import (
	"bytes"
	"context"
	"errors"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"scanledger/ingest/demo"
)

// kills is how many times a load is killed at a random moment.
const kills = 25

// TestKilledLoadLosesNothing kills the real program at random moments of a load. Whatever the moment, the
// store is sound, and the same command again ends in the same bytes as a load that was left alone.
func TestKilledLoadLosesNothing(t *testing.T) {
	dir := t.TempDir()
	records := filepath.Join(dir, "records")
	planted, err := demo.Write(context.Background(), records, demo.Options{Inspections: 240, Months: 4})
	if err != nil {
		t.Fatal(err)
	}
	base, whole := filepath.Join(dir, "base"), filepath.Join(dir, "whole")
	mustLoad(t, base, filepath.Join(records, planted.Files[0]))
	mustCopy(t, base, whole)
	start := time.Now()
	mustLoad(t, whole, records)
	took := time.Since(start)
	want := treeOf(t, whole)
	rng, unchanged := rand.New(rand.NewPCG(1, 2)), 0
	for i := range kills {
		hit := filepath.Join(dir, "hit")
		mustCopy(t, base, hit)
		cmd := loadCommand(hit, records)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Duration(rng.Int64N(int64(took))))
		_ = cmd.Process.Kill() // it may have ended
		_ = cmd.Wait()         // killed or ended with rejects: both are meant
		if out, err := exec.Command("scanledger", "verify", "--store", hit).CombinedOutput(); err != nil {
			t.Errorf("kill %d: the store is not sound: %s", i, out)
		}
		if bytes.Equal(manifestOf(t, hit), manifestOf(t, base)) {
			unchanged++
		} else if !bytes.Equal(manifestOf(t, hit), manifestOf(t, whole)) {
			t.Errorf("kill %d: the manifest is neither the old nor the new one", i)
		}
		mustLoad(t, hit, records)
		compareTrees(t, want, treeOf(t, hit))
		if err := os.RemoveAll(hit); err != nil {
			t.Fatal(err)
		}
	}
	if unchanged < kills/3 {
		t.Errorf("only %d of %d kills came before publication; the test hardly tests", unchanged, kills)
	}
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

// treeOf reads every file of a store but the lock, which names a process.
func treeOf(t *testing.T, store string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := fs.WalkDir(os.DirFS(store), ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || path == "lock" {
			return err
		}
		raw, err := os.ReadFile(filepath.Join(store, path))
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
	for path := range want {
		if got[path] != want[path] {
			t.Errorf("%s differs or is missing", path)
		}
	}
	for path := range got {
		if _, ok := want[path]; !ok {
			t.Errorf("%s was left behind", path)
		}
	}
}
