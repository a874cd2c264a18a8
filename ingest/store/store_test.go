package store_test

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"scanledger/ingest/store"
)

// commit makes one load received on the given day.
func commit(t *testing.T, dir string, received time.Time) {
	t.Helper()
	txn, err := store.Begin(dir)
	if err != nil {
		t.Fatal(err)
	}
	log, err := txn.OpenLog()
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(log.Fate(store.Fate{RecordSet: "units", File: 1, Line: 2, Fate: "rejected"}), log.Add()); err != nil {
		t.Fatal(err)
	}
	txn.Manifest.Loads = append(txn.Manifest.Loads, store.Load{Number: txn.Load, ReceivedAt: received})
	if err := txn.Commit(); err != nil {
		t.Fatal(err)
	}
	if err := txn.Close(); err != nil {
		t.Fatal(err)
	}
}

func day(n int) time.Time { return time.Date(2026, 3, n, 0, 0, 0, 0, time.UTC) }

func TestAbandonedStageLeavesNothing(t *testing.T) {
	dir := t.TempDir()
	commit(t, dir, day(1))
	txn, err := store.Begin(dir)
	if err != nil {
		t.Fatal(err)
	}
	log, err := txn.OpenLog()
	if err != nil {
		t.Fatal(err)
	}
	if err := log.Add(); err != nil {
		t.Fatal(err)
	}
	if err := txn.Close(); err != nil {
		t.Fatal(err)
	}
	st, err := store.Open(dir)
	if err != nil || len(st.Manifest.Loads) != 1 || len(st.Manifest.Parts) != 3 {
		t.Errorf("%+v (%v)", st, err)
	}
	if left, _ := filepath.Glob(filepath.Join(dir, ".stage-*")); len(left) > 0 {
		t.Errorf("left: %v", left)
	}
}

// TestOrphansAreSwept: what a killed process left under final names, and its stage, go when the next one begins.
func TestOrphansAreSwept(t *testing.T) {
	dir := t.TempDir()
	commit(t, dir, day(1))
	orphan := filepath.Join(dir, "fates", "load-000002.parquet")
	stage := filepath.Join(dir, ".stage-1")
	if err := errors.Join(os.WriteFile(orphan, []byte("half"), 0o600), os.Mkdir(stage, 0o700)); err != nil {
		t.Fatal(err)
	}
	commit(t, dir, day(2))
	st, err := store.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := st.Verify(t.Context()); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(stage); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the dead process's stage: %v", err)
	}
}

func TestLoadAsOf(t *testing.T) {
	dir := t.TempDir()
	commit(t, dir, day(1).Add(23*time.Hour))
	commit(t, dir, day(5))
	st, err := store.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		asOf time.Time
		want int
	}{{time.Time{}, 2}, {day(1), 1}, {day(4), 1}, {day(5), 2}, {day(9), 2}} {
		if got, _, err := st.LoadAsOf(c.asOf); err != nil || got != c.want {
			t.Errorf("as of %v: load %d (%v), want %d", c.asOf, got, err, c.want)
		}
	}
	if _, _, err := st.LoadAsOf(day(1).AddDate(0, 0, -1)); err == nil {
		t.Error("something had been received before the first load")
	}
}

func TestOpenSaysWhatIsWrong(t *testing.T) {
	dir := t.TempDir()
	if _, err := store.Open(dir); !errors.Is(err, store.ErrNoStore) {
		t.Errorf("an empty folder: %v", err)
	}
	for _, text := range []string{"{", `{"schema_version": 99}`} {
		if err := os.WriteFile(filepath.Join(dir, "manifest.json"), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := store.Open(dir); err == nil || errors.Is(err, store.ErrNoStore) {
			t.Errorf("manifest %q: %v", text, err)
		}
	}
}

func TestInert(t *testing.T) {
	for in, want := range map[string]string{"": "", "plain": "plain", "=1+1": "'=1+1", "@x": "'@x", "-2": "'-2", "+2": "'+2", "a=b": "a=b",
		"\t=1": "'\t'=1", "＝1": "'＝1", "a;=1": "a;'=1", "a\n@x": "a\n'@x", "a; -b": "a; -b", "1-2": "1-2",
		"\x1b[2J\x7f\u009b\u202e": "␛[2J␡\ufffd\ufffd", "a\tb\r\nc": "a\tb\r\nc"} {
		if got := store.Inert(in); got != want {
			t.Errorf("%q: got %q, want %q", in, got, want)
		}
	}
}
