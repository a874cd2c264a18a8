package main

import (
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"scanledger/ingest/disk"
	"scanledger/transform/engine/fleet/fleettest"
)

// TestFleetCommands: build, report and sample write the same files with a fleet as with the embedded engine, but for the fact
// tables, which a build on a fleet does not keep.
func TestFleetCommands(t *testing.T) {
	folder, dir := t.TempDir(), t.TempDir()
	dsn := fleettest.Start(t, folder)
	early, late := smallRecords(t, filepath.Join(dir, "records"))
	store := filepath.Join(folder, "store")
	for nth, files := range [][]string{early, late} {
		received := fmt.Sprintf("2024-1%d-01T00:00:00Z", nth)
		if code, _, problems := ran(append([]string{"load", "--store", store, "--received", received}, files...)...); code != exitClean && code != exitRejects {
			t.Fatalf("exit code %d: %s", code, problems)
		}
	}
	configs := map[string]string{"embedded": "", "fleet": fmt.Sprintf("[engine]\nkind = \"trino\"\ndsn = %q\nfolder = %q\n", dsn, folder)}
	outputs := map[string]map[string]string{}
	for engine, text := range configs {
		at := func(name string) string { return filepath.Join(dir, engine, name) }
		if err := errors.Join(os.MkdirAll(at(""), 0o700), os.WriteFile(at("engine.toml"), []byte(text), 0o600)); err != nil {
			t.Fatal(err)
		}
		args := []string{"--config", at("engine.toml"), "--store", store, "--out"}
		must(t, append(append([]string{"build"}, args...), at("out"))...)
		must(t, append(append([]string{"report", "--month", "2024-09"}, args...), at("issued"))...)
		must(t, append(append([]string{"sample", "--trial", "--month", "2024-09", "--size", "20"}, args...), at("sample"))...)
		outputs[engine] = map[string]string{}
		for _, name := range []string{"out", "issued", "sample"} {
			for path, content := range treeOf(t, at(name)) {
				outputs[engine][filepath.Join(name, path)] = content
			}
		}
	}
	maps.DeleteFunc(outputs["embedded"], func(path, _ string) bool { return strings.HasPrefix(path, filepath.Join("out", "facts")) })
	if len(outputs["embedded"]) < 150 {
		t.Errorf("only %d files were written", len(outputs["embedded"]))
	}
	differ(t, "fleet against embedded engine", outputs["embedded"], outputs["fleet"])
	for _, prefix := range []string{".facts", ".scanledger"} {
		if left, err := disk.Named(folder, prefix); err != nil || len(left) > 0 {
			t.Errorf("the fleet's folder still holds %v (%v)", left, err)
		}
	}
}
