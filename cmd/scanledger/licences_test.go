package main

import (
	"bytes"
	"debug/buildinfo"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"testing"
)

// TestLicences makes the list of licences anew, from the build information of the program and the files of its modules, and
// compares it with the one in the repository, byte for byte. No network: what is linked has been downloaded.
func TestLicences(t *testing.T) {
	program := filepath.Join(t.TempDir(), "scanledger")
	if out, err := exec.Command("go", "build", "-o", program, ".").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	info, err := buildinfo.ReadFile(program)
	if err != nil {
		t.Fatal(err)
	}
	var all []licence
	add := func(path, version, dir string) {
		text := licenceOf(t, dir)
		name := spdx(text)
		if name == "" {
			t.Errorf("%s is under no licence that is known here: %.300s", path, text)
		}
		m := linkedModule{anyPlatform(path), version}
		lines := strings.Split(text, "\n")
		if i := slices.IndexFunc(all, func(l licence) bool { return slices.Equal(l.Text, lines) }); i >= 0 {
			all[i].Modules = append(all[i].Modules, m)
			return
		}
		all = append(all, licence{name, []linkedModule{m}, lines})
	}
	add("Go, with its standard library", "", goEnv(t, "GOROOT"))
	for _, dep := range info.Deps {
		if dep.Replace != nil {
			dep = dep.Replace
		}
		add(dep.Path, dep.Version, moduleDir(t, dep.Path))
	}
	var want bytes.Buffer
	enc := json.NewEncoder(&want)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", " ")
	if err := enc.Encode(all); err != nil {
		t.Fatal(err)
	}
	if *update {
		if err := os.WriteFile("licences.json", want.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		return
	}
	if !bytes.Equal(want.Bytes(), licencesFile) {
		t.Error("licences.json is not what is linked; renew it with -update, and read the difference")
	}
}

// anyPlatform names the DuckDB library for no platform: another is linked on each.
func anyPlatform(path string) string {
	return strings.Replace(path, runtime.GOOS+"-"+runtime.GOARCH, "PLATFORM", 1)
}

func goEnv(t *testing.T, args ...string) string {
	t.Helper()
	out, err := exec.Command("go", append([]string{"env"}, args...)...).Output()
	if err != nil {
		t.Fatal(err)
	}
	return strings.TrimSpace(string(out))
}

func moduleDir(t *testing.T, path string) string {
	t.Helper()
	out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", path).Output()
	if err != nil {
		t.Fatal(err)
	}
	return strings.TrimSpace(string(out))
}

var licenceFile = regexp.MustCompile(`(?i)^(licen[cs]e|copying|notice|patents)(\.txt|\.md)?$`)

// licenceOf is what the files of a module say of its licence, with notices that have to go with it.
func licenceOf(t *testing.T, dir string) string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var parts []string
	for _, e := range entries {
		if !licenceFile.MatchString(e.Name()) {
			continue
		}
		raw, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			t.Fatal(err)
		}
		parts = append(parts, strings.TrimSpace(strings.ReplaceAll(string(raw), "\r\n", "\n")))
	}
	return strings.Join(parts, "\n\n")
}

// spdx tells the licence of a text by the sentence that is in no other.
func spdx(text string) string {
	plain := strings.Join(strings.Fields(text), " ")
	for _, l := range []struct{ sentence, name string }{
		{"Apache License Version 2.0", "Apache-2.0"},
		{"Permission is hereby granted, free of charge, to any person obtaining a copy", "MIT"},
		{"Mozilla Public License, version 2.0", "MPL-2.0"},
		{"Neither the name of", "BSD-3-Clause"},
		{"Redistributions in binary form must reproduce the above copyright notice", "BSD-2-Clause"},
	} {
		if strings.Contains(plain, l.sentence) {
			return l.name
		}
	}
	return ""
}

// TestLicencesAreSaid: every module stands with its version, its licence and the text.
func TestLicencesAreSaid(t *testing.T) {
	said := must(t, "licences")
	var all []licence
	into(t, []byte(must(t, "licences", "--json")), &all)
	modules := 0
	for _, l := range all {
		for _, m := range l.Modules {
			modules++
			if !regexp.MustCompile(`(?m)^` + regexp.QuoteMeta(m.Path) + ` +` + regexp.QuoteMeta(m.Version) + ` +` + l.Name + `$`).MatchString(said) {
				t.Errorf("%s %s %s is not said", m.Path, m.Version, l.Name)
			}
		}
		if !strings.Contains(said, strings.Join(l.Text, "\n")) {
			t.Errorf("the text of %s of %s is not said", l.Name, l.Modules[0].Path)
		}
	}
	if modules < 30 || !strings.Contains(said, "Bigelow & Holmes") {
		t.Errorf("%d modules", modules)
	}
}
