package ingest

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

func TestIdentify(t *testing.T) {
	tests := []struct {
		path, setName string
		set           string // empty when refused
		format        Format
		gzipped       bool
	}{
		{"in/readings-2026-10.csv", "", "readings", CSV, false},
		{"readings_2026.csv", "", "readings", CSV, false},
		{"unit_log-1.csv", "", "unit_log", CSV, false},
		{"unit_log.csv.gz", "", "unit_log", CSV, true},
		{"Readings 7.TSV", "", "readings", CSV, false},
		{"units.txt", "", "units", CSV, false},
		{"findings.jsonl", "", "findings", JSONL, false},
		{"findings.2.ndjson.gz", "", "findings", JSONL, true},
		{"regions.xlsx", "", "regions", XLSX, false},
		{"materials.parquet", "", "materials", Parquet, false},
		{"materials.parquet.GZ", "", "materials", Parquet, true},
		{"export-17.csv", "technicians", "technicians", CSV, false},
		{"regions.xlsx.gz", "", "", 0, false},
		{"readings.pdf", "", "", 0, false},
		{"readings", "", "", 0, false},
		{"readings.gz", "", "", 0, false},
		{"readingsold.csv", "", "", 0, false},
		{"2026-readings.csv", "", "", 0, false},
		{"readings.csv", "nothing", "", 0, false},
	}
	for _, test := range tests {
		src, err := Identify(test.path, test.setName)
		if test.set == "" {
			if fileErr, ok := errors.AsType[*FileError](err); !ok || fileErr.Remedy == "" {
				t.Errorf("%s: got %v, want a *FileError with a remedy", test.path, err)
			}
			continue
		}
		if err != nil || src.Set.Name != test.set || src.Format != test.format || src.Gzipped != test.gzipped ||
			src.Name != filepath.Base(test.path) {
			t.Errorf("%s: got %+v, %v", test.path, src, err)
		}
	}
}

func TestErrorsListWhatIsPossible(t *testing.T) {
	for path, want := range map[string]string{"readings.pdf": ".parquet", "rooms.csv": "unit_log"} {
		if _, err := Identify(path, ""); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v does not mention %s", path, err, want)
		}
	}
}

func TestExpand(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{
		"b/readings-2.csv", "b/readings-1.csv.gz", "a/units.xlsx", "a/notes.md", ".hidden/units.csv",
		"a/.units.csv", "a/~$units.xlsx", "odd.csv",
	} {
		path := filepath.Join(dir, name)
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o750), os.WriteFile(path, nil, 0o600)); err != nil {
			t.Fatal(err)
		}
	}
	odd := filepath.Join(dir, "odd.csv")
	files, unknown, err := Expand([]string{odd, dir, filepath.Join(dir, "a", "..", "b")})
	if err != nil {
		t.Fatal(err)
	}
	relative := func(paths []string) []string {
		var out []string
		for _, p := range paths {
			rel, err := filepath.Rel(dir, p)
			if err != nil {
				t.Fatal(err)
			}
			out = append(out, filepath.ToSlash(rel))
		}
		return out
	}
	// A file named outright is listed whatever its name; Identify then says what is wrong with it.
	if got, want := relative(files), []string{"odd.csv", "a/units.xlsx", "b/readings-1.csv.gz", "b/readings-2.csv"}; !slices.Equal(got, want) {
		t.Errorf("files %v, want %v", got, want)
	}
	if got, want := relative(unknown), []string{"a/notes.md"}; !slices.Equal(got, want) {
		t.Errorf("unknown %v, want %v", got, want)
	}
	if _, _, err := Expand([]string{filepath.Join(dir, "none")}); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("missing path: %v", err)
	}
}

// TestHashFile uses the examples of FIPS 180-4's test vectors: "abc" and the empty message.
func TestHashFile(t *testing.T) {
	for content, want := range map[string]string{
		"abc": "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
		"":    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
	} {
		path := filepath.Join(t.TempDir(), "file")
		if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
		if sum, size, err := HashFile(path); err != nil || sum != want || size != int64(len(content)) {
			t.Errorf("%q: %s %d %v", content, sum, size, err)
		}
	}
	if _, _, err := HashFile(filepath.Join(t.TempDir(), "none")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("missing file: %v", err)
	}
}
