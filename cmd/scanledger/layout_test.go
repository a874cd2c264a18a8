package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"scanledger/ingest/contract"
	"scanledger/ingest/store"
)

// TestFirstLayoutIsUpgraded: a store that the first layout's program wrote (two loads with a correction, rejected rows, and
// rows that wait for a technician) is read as it is, and the next load writes it in today's layout.
func TestFirstLayoutIsUpgraded(t *testing.T) {
	dir := t.TempDir()
	storeDir := filepath.Join(dir, "store")
	mustCopy(t, "../../testdata/first-layout", storeDir)
	before := manifestOf(t, storeDir)
	if !strings.Contains(string(before), `"schema_version": 1,`) {
		t.Fatal("the store is of no first layout")
	}
	if said := must(t, "verify", "--store", storeDir); !strings.Contains(said, "sound: 2 loads, 8 record files, 16 parts, 12 rows") {
		t.Error(said)
	}
	counts := must(t, "ask", "--store", storeDir, "--csv", "SELECT call, count(*) AS n FROM readings GROUP BY call")
	if counts != "call,n\nunsure,1\n" {
		t.Errorf("readings: %q", counts)
	}
	must(t, "build", "--store", storeDir, "--out", filepath.Join(dir, "out"))
	if string(manifestOf(t, storeDir)) != string(before) {
		t.Error("reading changed the store")
	}

	more := filepath.Join(dir, "technicians-more.csv")
	if err := os.WriteFile(more, []byte("technician_id,name\nT2,Bo Sandhurst\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	must(t, "load", "--store", storeDir, "--received", "2026-05-01T00:00:00Z", more)
	must(t, "verify", "--store", storeDir)
	var m store.Manifest
	into(t, manifestOf(t, storeDir), &m)
	if m.SchemaVersion != contract.SchemaVersion || m.Tool != version() || len(m.Loads) != 3 {
		t.Errorf("schema version %d by %s, %d loads", m.SchemaVersion, m.Tool, len(m.Loads))
	}
	for _, f := range m.Files {
		if f.Now.Waiting != 0 {
			t.Errorf("%s: %d rows still wait", f.Name, f.Now.Waiting)
		}
	}
	must(t, "forget", "--store", storeDir, "--technician", "T1")
	must(t, "verify", "--store", storeDir)
}

// TestNewerLayoutIsRefused: what a later program wrote may say more than this one knows.
func TestNewerLayoutIsRefused(t *testing.T) {
	for _, v := range []int{0, contract.SchemaVersion + 1} {
		dir := t.TempDir()
		raw, err := json.Marshal(store.Manifest{SchemaVersion: v})
		if err == nil {
			err = os.WriteFile(filepath.Join(dir, "manifest.json"), raw, 0o600)
		}
		if err != nil {
			t.Fatal(err)
		}
		code, _, problems := ran("verify", "--store", dir)
		if code != exitFailure || !strings.Contains(problems, "use a matching version of scanledger") {
			t.Errorf("version %d: exit code %d, %s", v, code, problems)
		}
	}
}
