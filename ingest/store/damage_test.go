package store_test

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"scanledger/ingest"
	"scanledger/ingest/store"
)

// TestEveryByteOfTheManifestCounts flips bits of every byte of the manifest, and cuts it at every length: none passes.
func TestEveryByteOfTheManifestCounts(t *testing.T) {
	dir := t.TempDir()
	commit(t, dir, day(1))
	path := filepath.Join(dir, "manifest.json")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	refused := func(what string, i int, bad []byte) {
		if err := os.WriteFile(path, bad, 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := store.Open(dir); !errors.Is(err, store.ErrDamaged) || !strings.Contains(err.Error(), "scanledger repair --store "+dir) {
			t.Errorf("byte %d %s: %v", i, what, err)
		}
	}
	for i := range text {
		for _, mask := range []byte{1, 0x20, 0xff} { // 0x20 turns a small letter into a capital, which a reader of JSON takes for the same name
			bad := bytes.Clone(text)
			bad[i] ^= mask
			refused("flipped", i, bad)
		}
		refused("cut", i, text[:i])
	}
}

// TestManifestWithoutChecksum: a store of an earlier version is read, verified, and given its copy by the next writer.
func TestManifestWithoutChecksum(t *testing.T) {
	dir := t.TempDir()
	commit(t, dir, day(1))
	path := filepath.Join(dir, "manifest.json")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	lines := bytes.SplitN(text, []byte("\n"), 3) // the second line is the checksum
	old := append([]byte("{\n"), lines[2]...)
	if err := errors.Join(os.WriteFile(path, old, 0o600), os.Remove(filepath.Join(dir, "manifest-copy.json"))); err != nil {
		t.Fatal(err)
	}
	soundStore(t, dir)
	commit(t, dir, day(2))
	if _, err := os.Stat(filepath.Join(dir, "manifest-copy.json")); err != nil {
		t.Error(err)
	}
}

// soundStore opens a store in which nothing is damaged.
func soundStore(t *testing.T, dir string) *store.Store {
	t.Helper()
	st, err := store.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := st.Verify(t.Context()); err != nil {
		t.Error(err)
	}
	return st
}

// TestCopyAheadIsNoDamage: a process killed between the renames of the copy and of the manifest leaves a copy that is a load
// ahead. Nothing is damaged; the next writer puts it right before it sweeps what the copy lists.
func TestCopyAheadIsNoDamage(t *testing.T) {
	dir := t.TempDir()
	commit(t, dir, day(1))
	path := filepath.Join(dir, "manifest.json")
	first, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	commit(t, dir, day(2))
	if err := os.WriteFile(path, first, 0o600); err != nil {
		t.Fatal(err)
	}
	soundStore(t, dir)
	txn, err := store.Begin(dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := txn.Close(); err != nil {
		t.Fatal(err)
	}
	if copied, err := os.ReadFile(filepath.Join(dir, "manifest-copy.json")); err != nil || !bytes.Equal(copied, first) {
		t.Errorf("the copy is still ahead (%v)", err)
	}
	if _, err := os.Stat(filepath.Join(dir, "fates", "load-000002.parquet")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the leftover part: %v", err)
	}
}

// TestLostManifestIsNoEmptyStore: parts without a manifest and its copy are kept, unless a dead process's stage tells that
// they are what a first load left.
func TestLostManifestIsNoEmptyStore(t *testing.T) {
	dir := t.TempDir()
	commit(t, dir, day(1))
	for _, name := range []string{"manifest.json", "manifest-copy.json"} {
		if err := os.Remove(filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	for _, open := range []func() error{
		func() error { _, err := store.Open(dir); return err },
		func() error { _, err := store.Begin(dir); return err },
		func() error { _, err := store.BeginRepair(dir); return err },
	} {
		if err := open(); err == nil || errors.Is(err, store.ErrNoStore) || !strings.Contains(err.Error(), "load-000001.parquet") {
			t.Errorf("%v", err)
		}
	}
	if _, err := os.Stat(filepath.Join(dir, "fates", "load-000001.parquet")); err != nil {
		t.Errorf("the part was swept: %v", err)
	}
	if err := os.Mkdir(filepath.Join(dir, ".stage-1"), 0o700); err != nil {
		t.Fatal(err)
	}
	commit(t, dir, day(2))
}

// TestNoPlainFileIsNamed: what a reader might wait for without end, or follow out of the store, is damage.
func TestNoPlainFileIsNamed(t *testing.T) {
	dir := t.TempDir()
	commit(t, dir, day(1))
	part := filepath.Join(dir, "fates", "load-000001.parquet")
	if err := errors.Join(os.Rename(part, part+".away"), os.Symlink(part+".away", part)); err != nil {
		t.Fatal(err)
	}
	st, err := store.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	faults, err := st.Faults(t.Context())
	if err != nil || len(faults) != 1 || !strings.Contains(faults[0].What, "no plain file") {
		t.Errorf("%+v (%v)", faults, err)
	}
}

// TestFailedPublicationIsSwept: where publishing fails half way, what it had put in place is no store that lost its manifest;
// once the cause is gone, the next writer sweeps it and goes on.
func TestFailedPublicationIsSwept(t *testing.T) {
	dir := t.TempDir()
	inTheWay := filepath.Join(dir, "rejects", "load-000001.csv")
	if err := os.MkdirAll(filepath.Join(inTheWay, "folder"), 0o700); err != nil {
		t.Fatal(err)
	}
	txn, err := store.Begin(dir)
	if err != nil {
		t.Fatal(err)
	}
	log, err := txn.OpenLog()
	if err == nil {
		err = log.Add()
	}
	if err != nil {
		t.Fatal(err)
	}
	txn.Manifest.Loads = append(txn.Manifest.Loads, store.Load{Number: 1, ReceivedAt: day(1)})
	if err := txn.Commit(); err == nil || !strings.Contains(err.Error(), "rejects/load-000001.csv") {
		t.Fatalf("%v", err)
	}
	if err := errors.Join(txn.Close(), os.RemoveAll(inTheWay)); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(dir, "fates", "load-000001.parquet")); err != nil {
		t.Fatalf("nothing was put in place, so nothing is tested: %v", err)
	}
	commit(t, dir, day(1))
	st := soundStore(t, dir)
	for _, folder := range []string{"fates", "rejects"} {
		left, err := os.ReadDir(filepath.Join(dir, folder))
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range left {
			if !slices.ContainsFunc(st.Manifest.Parts, func(p store.Part) bool { return p.Path == folder+"/"+f.Name() }) {
				t.Errorf("left over: %s/%s", folder, f.Name())
			}
		}
	}
}

// TestOriginalOfAChangedFileIsRefused: what is kept is what was read, or nothing.
func TestOriginalOfAChangedFileIsRefused(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "units.csv")
	if err := os.WriteFile(path, []byte("unit_id\nU1\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	sum, size, err := ingest.HashFile(path)
	if err != nil {
		t.Fatal(err)
	}
	txn, err := store.Begin(filepath.Join(dir, "store"))
	if err != nil {
		t.Fatal(err)
	}
	f := store.File{Name: "units.csv", SHA256: sum, Bytes: size, RecordSet: "units"}
	if err := txn.KeepOriginal(f, path); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte("unit_id\nU2\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := txn.KeepOriginal(f, path); err == nil || !strings.Contains(err.Error(), "changed while it was read") {
		t.Errorf("%v", err)
	}
	if err := txn.Close(); err != nil {
		t.Fatal(err)
	}
}
