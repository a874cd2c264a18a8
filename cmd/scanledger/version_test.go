package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"runtime/debug"
	"testing"
)

// TestCommitOf: the commit of a build, and whether files had been changed since.
func TestCommitOf(t *testing.T) {
	commit, clean, changed := debug.BuildSetting{Key: "vcs.revision", Value: "0123456789abcdef0123"},
		debug.BuildSetting{Key: "vcs.modified", Value: "false"}, debug.BuildSetting{Key: "vcs.modified", Value: "true"}
	for _, c := range []struct {
		settings []debug.BuildSetting
		want     string
	}{
		{nil, ""}, {[]debug.BuildSetting{changed}, ""}, {[]debug.BuildSetting{commit, clean}, "commit 0123456789ab"},
		{[]debug.BuildSetting{commit, changed}, "commit 0123456789ab with changes"},
	} {
		if got := commitOf(&debug.BuildInfo{Settings: c.settings}); got != c.want {
			t.Errorf("%v: %q, want %q", c.settings, got, c.want)
		}
	}
}

// TestEveryManifestSaysWhatWroteIt: the store's manifest and that of every kind of output carry version and build.
func TestEveryManifestSaysWhatWroteIt(t *testing.T) {
	form := regexp.MustCompile(`^scanledger \d+\.\d+\.\d+ \((commit [0-9a-f]{12}( with changes)?, )?go1\.\d+(\.\d+)?, DuckDB v1\.\d+\.\d+\)$`)
	if said := must(t, "--version"); said != version()+"\n" || !form.MatchString(version()) {
		t.Errorf("--version says %q", said)
	}
	storeDir, dir := storeOf(t, 40), t.TempDir()
	must(t, "build", "--store", storeDir, "--out", filepath.Join(dir, "pages"))
	must(t, "report", "--store", storeDir, "--out", dir, "--month", "2026-03")
	must(t, "sample", "--store", storeDir, "--month", "2026-03", "--size", "5", "--out", filepath.Join(dir, "sample"))
	for _, path := range []string{storeDir, filepath.Join(dir, "pages"), filepath.Join(dir, "sample"), filepath.Join(dir, "months", "2026-03")} {
		raw, err := os.ReadFile(filepath.Join(path, "manifest.json"))
		var made struct{ Tool string }
		if err == nil {
			err = json.Unmarshal(raw, &made)
		}
		if err != nil || made.Tool != version() {
			t.Errorf("%s was written by %q (%v)", path, made.Tool, err)
		}
	}
}
