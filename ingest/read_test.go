package ingest

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"scanledger/ingest/contract"
)

func writeReadings(t *testing.T, rows int) Source {
	t.Helper()
	path := filepath.Join(t.TempDir(), "readings.csv")
	if err := os.WriteFile(path, readingsCSV(rows), 0o600); err != nil {
		t.Fatal(err)
	}
	src, err := Identify(path, "")
	if err != nil {
		t.Fatal(err)
	}
	return src
}

func TestSinkErrorEndsReading(t *testing.T) {
	src := writeReadings(t, 50_000)
	enough := errors.New("enough")
	calls := 0
	_, err := Read(context.Background(), src, func(Chunk) error { calls++; return enough })
	if !errors.Is(err, enough) || calls != 1 {
		t.Errorf("%v after %d calls", err, calls)
	}
}

func TestCancelEndsReading(t *testing.T) {
	src := writeReadings(t, 50_000)
	before := runtime.NumGoroutine()
	ctx, cancel := context.WithCancel(context.Background())
	_, err := Read(ctx, src, func(Chunk) error { cancel(); return nil })
	if !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
	if _, err := Read(ctx, src, func(Chunk) error { t.Error("sink called"); return nil }); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
	// A goroutine that has been waited for may still be on its way out.
	for wait := time.Now().Add(5 * time.Second); runtime.NumGoroutine() > before; time.Sleep(time.Millisecond) {
		if time.Now().After(wait) {
			t.Fatalf("%d goroutines before, %d after", before, runtime.NumGoroutine())
		}
	}
}

// TestParallelReadingIsRepeatable: the number of processors changes nothing.
func TestParallelReadingIsRepeatable(t *testing.T) {
	src := writeReadings(t, 60_000)
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	one, err := readSource(t, src)
	if err != nil {
		t.Fatal(err)
	}
	runtime.GOMAXPROCS(4)
	four, err := readSource(t, src)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(one, four) {
		t.Error("results differ")
	}
}

// TestMemoryIsBounded: ten times the rows hold no more memory while they are read. Only live
// memory counts, so each sample comes after a collection.
func TestMemoryIsBounded(t *testing.T) {
	peak := func(rows int) uint64 {
		src := writeReadings(t, rows)
		most, chunks := uint64(0), 0
		if _, err := Read(context.Background(), src, func(Chunk) error {
			if chunks++; chunks%4 == 0 {
				var stats runtime.MemStats
				runtime.GC()
				runtime.ReadMemStats(&stats)
				most = max(most, stats.HeapAlloc)
			}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		return most
	}
	small, large := peak(60_000), peak(600_000)
	if large > small+48<<20 {
		t.Errorf("peak %d MiB for 60,000 rows, %d MiB for 600,000", small>>20, large>>20)
	}
}

func TestMissingFileAndFolder(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "readings.csv")
	src, err := Identify(dir, "")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := readSource(t, src); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("missing file: %v", err)
	}
	if err := os.Mkdir(dir, 0o750); err != nil {
		t.Fatal(err)
	}
	_, err = readSource(t, src)
	if _, ok := errors.AsType[*FileError](err); !ok {
		t.Errorf("folder: %v", err)
	}
}

func TestExtraColumns(t *testing.T) {
	out := mustRead(t, "technicians.csv", "Note,technician_id,,name,\"x\"\"y\",\nn,T1,,a,,\n")
	if !slices.Equal(out.Summary.ExtraColumns, []string{"note", `x"y`}) || out.Summary.Rejected != 0 {
		t.Errorf("%+v", out.Summary)
	}
	out = mustRead(t, "technicians.jsonl", "{\"b\":1,\"technician_id\":\"T1\"}\n{\"a\":2,\"technician_id\":\"T2\",\"b\":[]}\n{\"a\":0,\"technician_id\":\"T3\",\"b\":3}\n")
	if !slices.Equal(out.Summary.ExtraColumns, []string{"b", "a"}) || out.Summary.Rejected != 1 {
		t.Errorf("%+v", out.Summary)
	}
}

func TestRenames(t *testing.T) {
	path := filepath.Join(t.TempDir(), "technicians.csv")
	read := func(content string, renames map[string]string) (outcome, error) {
		if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
		src, err := Identify(path, "")
		if err != nil {
			t.Fatal(err)
		}
		src.Renames = renames
		return readSource(t, src)
	}
	out, err := read("Mitarbeiter;name\nT1;a\n", map[string]string{" MITARBEITER": "technician_id", "unused": "name"})
	if err != nil || !slices.Equal(techRows(out), []string{"2 T1|a"}) {
		t.Errorf("%v, %v", techRows(out), err)
	}
	for name, renames := range map[string]map[string]string{
		"unknown target": {"x": "technician"},
		"taken twice":    {"x": "technician_id"},
		"two targets":    {"x": "name", "X": "technician_id"},
	} {
		_, err := read("technician_id,x\nT1,a\n", renames)
		if _, ok := errors.AsType[*FileError](err); !ok {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestGzippedTwice(t *testing.T) {
	pack := func(raw []byte) []byte {
		var b bytes.Buffer
		w := gzip.NewWriter(&b)
		if _, err := w.Write(raw); err != nil {
			t.Fatal(err)
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	// RFC 1952, section 2.2: a file is a series of members.
	members := append(pack([]byte("technician_id,name\nT1,a\nT2")), pack([]byte(",b\n"))...)
	out := mustRead(t, "technicians.csv.gz", string(members))
	if got := techRows(out); !slices.Equal(got, []string{"2 T1|a", "3 T2|b"}) {
		t.Errorf("%q", got)
	}
	_, err := readText(t, "technicians.csv.gz", string(pack(pack([]byte("technician_id\n")))))
	if _, ok := errors.AsType[*FileError](err); !ok {
		t.Errorf("packed twice: %v", err)
	}
	for cut := range len(members) {
		_, err := readText(t, "technicians.csv.gz", string(members[:cut]))
		if _, ok := errors.AsType[*FileError](err); !ok && cut != len(members)-len(pack([]byte(",b\n"))) {
			t.Errorf("cut at %d of %d: %v", cut, len(members), err)
		}
	}
}

// TestViolationsInColumnOrder: a row breaking a rule in every column has one reject a column, in
// the contract's order, whatever the file's order.
func TestViolationsInColumnOrder(t *testing.T) {
	set, err := contract.Lookup("inspections")
	if err != nil {
		t.Fatal(err)
	}
	cells := map[string]string{
		"inspection_id": "", "site_id": strings.Repeat("x", 65), "region": "a\tb", "technician_id": "",
		"started_at": "2026-01-02T00:00:00Z", "ended_at": "2026-01-01T00:00:00Z", "purpose": "recheck", "recheck_of": "",
		"air_temp_c": "99", "wind_kmh": "-1", "rain": "hail", "areas_not_inspected": "a\x00b", "outcome": "",
	}
	var header, row []string
	for _, f := range slices.Backward(set.Fields) {
		header = append(header, f.Name)
		row = append(row, cells[f.Name])
	}
	out := mustRead(t, "inspections.csv", strings.Join(header, ",")+"\n"+strings.Join(row, ",")+"\n")
	var got []string
	for _, r := range out.Rejects {
		got = append(got, r.Column+" "+r.Rule)
	}
	want := []string{
		"inspection_id required", "site_id maxLength", "region printable", "technician_id required",
		"ended_at ends_after_start", "recheck_of recheck_names_original", "air_temp_c maximum", "wind_kmh minimum",
		"rain enum", "areas_not_inspected utf8", "outcome required",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got %q", got)
	}
}
