package ingest

import (
	"bytes"
	"encoding/csv"
	"errors"
	"flag"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "rewrite the expected results")

func listed(t *testing.T, folder string) []string {
	t.Helper()
	files, _, err := Expand([]string{filepath.Join(records, folder)})
	if err != nil || len(files) == 0 {
		t.Fatalf("no files in %s: %v", folder, err)
	}
	return files
}

func compareGolden(t *testing.T, path string, got []byte) {
	t.Helper()
	if *update {
		if err := os.WriteFile(path, got, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("%s differs; got:\n%s", path, got)
	}
}

func TestSmallFilesAreSound(t *testing.T) {
	sets := map[string]bool{}
	for _, path := range listed(t, "small") {
		out, err := readFile(t, path)
		if err != nil || out.Summary.Rows != 2 || len(out.Rejects) != 0 {
			t.Errorf("%s: %+v, %v, %v", path, out.Summary, out.Rejects, err)
			continue
		}
		sets[out.Batch.Set.Name] = true
	}
	if len(sets) != 8 {
		t.Errorf("sets read: %v", sets)
	}
}

func TestEmptyFilesHaveNoRows(t *testing.T) {
	for _, path := range listed(t, "empty") {
		if out, err := readFile(t, path); err != nil || out.Summary.Rows != 0 {
			t.Errorf("%s: %+v, %v", path, out.Summary, err)
		}
	}
}

// TestDirtyFiles compares every reject with NAME.rejects beside the file.
func TestDirtyFiles(t *testing.T) {
	for _, path := range listed(t, "dirty") {
		t.Run(filepath.Base(path), func(t *testing.T) {
			out, err := readFile(t, path)
			if err != nil {
				t.Fatal(err)
			}
			var got bytes.Buffer
			w := csv.NewWriter(&got)
			lines := [][]string{{"file", "line", "column", "rule", "value"}}
			for _, r := range out.Rejects {
				lines = append(lines, []string{r.File, strconv.FormatInt(r.Line, 10), r.Column, r.Rule, r.Value})
			}
			if err := w.WriteAll(lines); err != nil {
				t.Fatal(err)
			}
			compareGolden(t, path+".rejects", got.Bytes())
		})
	}
}

// TestHostileFiles compares the error of every file that cannot be read as a whole.
func TestHostileFiles(t *testing.T) {
	var got bytes.Buffer
	for _, path := range listed(t, "hostile") {
		_, err := readFile(t, path)
		fileErr, ok := errors.AsType[*FileError](err)
		if !ok {
			t.Errorf("%s: %v is no *FileError", path, err)
			continue
		}
		if fileErr.File != path || fileErr.Op == "" || fileErr.Remedy == "" {
			t.Errorf("incomplete: %+v", fileErr)
		}
		got.WriteString(strings.ReplaceAll(err.Error(), "\n", " ") + "\n")
	}
	compareGolden(t, filepath.Join(records, "hostile", "errors.golden"), got.Bytes())
}
