package main

import (
	"os"
	"path/filepath"
	"testing"
)

func TestSwapByRename(t *testing.T) {
	dir := t.TempDir()
	stage, out := filepath.Join(dir, "stage"), filepath.Join(dir, "out")
	for path, text := range map[string]string{stage: "new", out: "old"} {
		if err := os.Mkdir(path, 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(path, "file"), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := swapByRename(stage, out); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]string{stage: "old", out: "new"} {
		if got, err := os.ReadFile(filepath.Join(path, "file")); err != nil || string(got) != want {
			t.Errorf("%s holds %q (%v), want %q", path, got, err, want)
		}
	}
}

func TestFailedSwapPutsTheOldBack(t *testing.T) {
	dir := t.TempDir()
	out := filepath.Join(dir, "out")
	if err := os.Mkdir(out, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := swapByRename(filepath.Join(dir, "missing"), out); err == nil {
		t.Fatal("a stage that is not there was put in place")
	}
	if _, err := os.Stat(out); err != nil {
		t.Errorf("the old output is gone: %v", err)
	}
}

// TestLastOutputIsPutBack: killed between two renames, the old output stands aside; the next run finds it.
func TestLastOutputIsPutBack(t *testing.T) {
	dir := t.TempDir()
	out := filepath.Join(dir, "out")
	aside := filepath.Join(dir, ".out.stage-1"+asideSuffix)
	for _, path := range []string{aside, filepath.Join(dir, ".out.stage-2")} {
		if err := os.Mkdir(path, 0o700); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(filepath.Join(aside, "file"), []byte("old"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := sweepOutput(out); err != nil {
		t.Fatal(err)
	}
	if got, err := os.ReadFile(filepath.Join(out, "file")); err != nil || string(got) != "old" {
		t.Errorf("got %q (%v)", got, err)
	}
	if left, _ := filepath.Glob(filepath.Join(dir, ".out.*")); len(left) > 0 {
		t.Errorf("left: %v", left)
	}
}
