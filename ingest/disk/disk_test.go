package disk_test

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"syscall"
	"testing"

	"scanledger/ingest/disk"
)

// TestSweepTakesOnlyWhatTheDeadLeft: what is held stays, what is not goes, links and files are left alone.
func TestSweepTakesOnlyWhatTheDeadLeft(t *testing.T) {
	dir := t.TempDir()
	held, err := disk.NewScratch(dir, "[x]*-")
	if err != nil {
		t.Fatal(err)
	}
	dead, link, file, other := filepath.Join(dir, "[x]*-dead"), filepath.Join(dir, "[x]*-link"), filepath.Join(dir, "[x]*-file"), filepath.Join(dir, "x-dead")
	if err := errors.Join(os.MkdirAll(filepath.Join(dead, "deep"), 0o700), os.Mkdir(other, 0o700), os.Symlink(other, link), os.WriteFile(file, nil, 0o600)); err != nil {
		t.Fatal(err)
	}
	living, err := disk.Sweep(dir, "[x]*-")
	want := []string{held.Path, file, link}
	slices.Sort(want)
	if err != nil || !slices.Equal(living, want) {
		t.Errorf("living: %v (%v), want %v", living, err, want)
	}
	if left, err := os.ReadDir(dir); err != nil || len(left) != 4 {
		t.Errorf("left: %v (%v)", left, err)
	}
	if err := held.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(held.Path); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("still there: %v", err)
	}
}

// TestSweepLeavesOthersAlone: only root could remove what another user left, and does not.
func TestSweepLeavesOthersAlone(t *testing.T) {
	dir := t.TempDir()
	at := filepath.Join(dir, "of-another")
	if err := os.Mkdir(at, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.Chown(at, 65534, 65534); err != nil && !errors.Is(err, syscall.EPERM) {
		t.Fatal(err)
	} else if err != nil {
		t.Log("not root: a folder without rights stands for one of another user")
		if err := os.Chmod(at, 0); err != nil {
			t.Fatal(err)
		}
	}
	if living, err := disk.Sweep(dir, "of-"); err != nil || len(living) != 1 {
		t.Errorf("living: %v (%v)", living, err)
	}
}

func TestNoFolderHoldsNothing(t *testing.T) {
	if found, err := disk.Named(filepath.Join(t.TempDir(), "none"), ""); err != nil || len(found) > 0 {
		t.Errorf("%v (%v)", found, err)
	}
}

func TestErrorsNameThePath(t *testing.T) {
	path := filepath.Join(t.TempDir(), "none", "file")
	for what, err := range map[string]error{"write": disk.Write(path, nil), "sync": disk.Sync(path), "tree": disk.SyncTree(path),
		"rename": disk.Rename(path, path+"2"), "remove": disk.Remove(path)} {
		var at *os.PathError
		var link *os.LinkError
		if !errors.As(err, &at) && !errors.As(err, &link) {
			t.Errorf("%s: %v", what, err)
		}
	}
}
