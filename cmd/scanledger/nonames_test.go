package main

import (
	"archive/zip"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"unicode"

	"scanledger/ingest/store"
	"scanledger/transform/engine"
	"scanledger/transform/settle"
)

// withoutNames is where the demo's output and a sample are made without names, once for all tests.
type withoutNames struct {
	sync.Once
	dir, store string
	said       string // by the build
}

var codedOnce withoutNames

func codedDemo(t *testing.T) *withoutNames {
	t.Helper()
	codedOnce.Do(func() {
		var err error
		if codedOnce.dir, err = os.MkdirTemp("", "scanledger-coded-"); err != nil {
			t.Fatal(err)
		}
		at := func(name string) string { return filepath.Join(codedOnce.dir, name) }
		codedOnce.store = at("store")
		mustCopy(t, filepath.Join(theDemo(t), "store"), codedOnce.store)
		if err := os.WriteFile(at("key.toml"), []byte("[privacy]\nkey = \"some words of our own\"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		must(t, "sample", "--config", at("key.toml"), "--no-names", "--store", codedOnce.store, "--month", "2026-08", "--size", "40", "--out", at("sample"))
		mustCopy(t, filepath.Join(theDemo(t), "out"), at("out")) // a build takes unit-days over from the last one
		codedOnce.said = must(t, "build", "--config", at("key.toml"), "--no-names", "--store", codedOnce.store, "--out", at("out"), "--json")
	})
	if codedOnce.said == "" {
		t.Fatal("the demo without names could not be made")
	}
	return &codedOnce
}

// TestNoNames builds the demo, and draws a sample, without names: no byte of any output holds the id or the name
// of a technician, site, inspection, reading or finding as a word, neither in text nor in a fact table; the
// same id has the same code in both, and figures stay what they were.
func TestNoNames(t *testing.T) {
	made := codedDemo(t)
	dir, storeDir, said := made.dir, made.store, made.said
	config := filepath.Join(dir, "key.toml")
	must(t, "report", "--config", config, "--no-names", "--store", storeDir, "--month", "2026-08", "--out", filepath.Join(dir, "issued"))

	words := wordsThatTell(t, storeDir)
	check := func(where, content string) {
		t.Helper()
		for _, word := range wordsOutsideFonts(content) {
			if words[word] {
				t.Errorf("%s holds %s", where, word)
				return
			}
		}
	}
	check("what is printed", said)
	for _, out := range []string{"out", "sample", "issued"} {
		for path, content := range treeOf(t, filepath.Join(dir, out)) {
			check("the name of "+path, path)
			if strings.HasSuffix(path, ".xlsx") {
				content = cellsOf(t, content)
			}
			if strings.HasSuffix(path, ".parquet") {
				content = textOf(t, filepath.Join(dir, out, path))
			}
			check(out+"/"+path, content)
		}
	}

	var plain, coded struct {
		Rows []struct {
			TechnicianID string `json:"technician_id"`
			Observed     int
		}
	}
	into(t, []byte(treeOf(t, filepath.Join(theDemo(t), "out"))["results/technician_consistency.json"]), &plain)
	into(t, []byte(treeOf(t, filepath.Join(dir, "out"))["results/technician_consistency.json"]), &coded)
	sums := [2]map[string]int{{}, {}}
	for i, rows := range [][]struct {
		TechnicianID string `json:"technician_id"`
		Observed     int
	}{plain.Rows, coded.Rows} {
		for _, r := range rows {
			sums[i][r.TechnicianID] += r.Observed
		}
	}
	inSample := treeOf(t, filepath.Join(dir, "sample"))["frame.csv"]
	if len(sums[0]) != len(sums[1]) || len(sums[0]) < 12 {
		t.Errorf("%d technicians, with codes %d", len(sums[0]), len(sums[1]))
	}
	found := 0
	for id := range sums[1] {
		if strings.Contains(inSample, id) {
			found++
		}
	}
	if found < 10 {
		t.Errorf("only %d technicians have the same code in the sample", found)
	}
}

var embeddedFont = regexp.MustCompile(`data:font/woff2;base64,[^)]*`)

// wordsOutsideFonts are the runs of letters and digits in a text.
func wordsOutsideFonts(text string) []string {
	return strings.FieldsFunc(embeddedFont.ReplaceAllString(text, ""), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
}

// wordsThatTell are the ids and the parts of names in a store.
func wordsThatTell(t *testing.T, dir string) map[string]bool {
	t.Helper()
	ctx := context.Background()
	st, err := store.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	e, err := engine.Open(ctx, engine.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = e.Close() }()
	if err := settle.Views(ctx, e, st, len(st.Manifest.Loads)); err != nil {
		t.Fatal(err)
	}
	out := map[string]bool{}
	err = e.Each(ctx, `SELECT technician_id FROM held_technicians UNION SELECT unnest(string_split(name, ' ')) FROM held_technicians
		UNION SELECT site_id FROM held_inspections UNION SELECT inspection_id FROM held_inspections UNION SELECT site_id FROM held_findings
		UNION SELECT reading_id FROM held_readings UNION SELECT finding_id FROM held_findings`, nil, func(scan func(...any) error) error {
		var word string
		err := scan(&word)
		out[word] = true
		return err
	})
	if err != nil || len(out) < 10_000 {
		t.Fatalf("%d words (%v)", len(out), err)
	}
	return out
}

// cellsOf is the text of every cell of a workbook.
func cellsOf(t *testing.T, workbook string) string {
	t.Helper()
	parts, err := zip.NewReader(strings.NewReader(workbook), int64(len(workbook)))
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	text := regexp.MustCompile(`<t[^>]*>([^<]*)</t>`)
	for _, part := range parts.File {
		f, err := part.Open()
		if err != nil {
			t.Fatal(err)
		}
		raw, err := io.ReadAll(f)
		if err := errors.Join(err, f.Close()); err != nil {
			t.Fatal(err)
		}
		for _, cell := range text.FindAllSubmatch(raw, -1) {
			out.Write(append(cell[1], '\n'))
		}
	}
	if out.Len() < 10_000 {
		t.Errorf("only %d bytes of text in a workbook", out.Len())
	}
	return out.String()
}

// textOf is every value of a Parquet file as text.
func textOf(t *testing.T, path string) string {
	t.Helper()
	ctx := context.Background()
	e, err := engine.Open(ctx, engine.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = e.Close() }()
	if err := e.View(ctx, "it", []string{path}, ""); err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	err = e.Each(ctx, "SELECT CAST(it AS VARCHAR) FROM it", nil, func(scan func(...any) error) error {
		var row string
		err := scan(&row)
		out.WriteString(row + "\n")
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// TestCodedPagesInBrowser lays out the lists of a sample, with ids and with codes, and the demo's pages with
// codes, which are longer than ids.
func TestCodedPagesInBrowser(t *testing.T) {
	dir := codedDemo(t).dir
	must(t, "sample", "--trial", "--store", filepath.Join(theDemo(t), "store"), "--month", "2026-08", "--size", "40", "--out", filepath.Join(dir, "plain"))
	var faults []string
	ctx := browser(t, &faults)
	for _, out := range []string{"plain", "sample", "out"} {
		pages, err := filepath.Glob(filepath.Join(dir, out, "*.html"))
		if err != nil {
			t.Fatal(err)
		}
		for _, page := range twoPerKind(pages) {
			for _, as := range []struct {
				width  int64
				medium string
			}{{1280, "light"}, {380, "light"}, {718, "print"}} {
				checkLook(t, ctx, filepath.Join(dir, out), page, as.width, as.medium)
			}
		}
	}
	for _, f := range faults {
		t.Error(f)
	}
}
