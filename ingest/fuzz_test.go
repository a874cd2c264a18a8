package ingest

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
)

// fuzzFormat reads content as a file of the given name. Whatever the content, reading ends without
// a panic, keeps the promises that readSource checks, and says what to do about all it finds.
func fuzzFormat(f *testing.F, name string) {
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, content []byte) {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, content, 0o600); err != nil {
			t.Fatal(err)
		}
		src, err := Identify(path, "")
		if err != nil {
			t.Fatal(err)
		}
		out, err := readSource(t, src)
		checkMessages(t, out.Rejects, err)
		if (src.Format == CSV || src.Format == JSONL) && !src.Gzipped {
			lines := int64(1 + bytes.Count(content, []byte("\n")) + bytes.Count(content, []byte("\r")))
			if out.Summary.Rows > lines {
				t.Fatalf("%d rows on %d lines", out.Summary.Rows, lines)
			}
		}
	})
}

// seedFiles adds the record files kept for tests that have the given extension.
func seedFiles(f *testing.F, extension string) {
	paths, err := filepath.Glob(filepath.Join(records, "*", "*"+extension))
	if err != nil || len(paths) == 0 {
		f.Fatalf("no seeds: %v", err)
	}
	for _, path := range paths {
		content, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(content)
	}
}

// seedTable is small and has a value of every kind.
var seedTable = table{
	header: []string{"reading_id", "inspection_id", "unit_id", "point_id", "taken_at", "material", "gain", "hold_s", "call", "control"},
	rows: [][]any{
		{"R1", "I1", "U1", "P1", moment{1_767_225_600_000_000, true}, "brick", int64(5), 20.5, "clear", false},
		{"R2", "I1", "U1", "P2", moment{1_767_225_660_000_000, true}, "brick", int64(6), nil, "maybe", nil},
	},
}

func FuzzCSV(f *testing.F) {
	seedFiles(f, ".csv")
	f.Add([]byte("technician_id,name\n\"T1\",\"a\"\"\n\"\r\nT2,\"\n"))
	fuzzFormat(f, "readings.csv")
}

func FuzzTechniciansCSV(f *testing.F) { // few columns: much of what is drawn gets past the header
	f.Add([]byte("technician_id,name\n\"T1\",\"a\"\"\n\"\r\nT2,\"\n"))
	f.Add([]byte("technician_id;name\rT1;\"\"\"\r\rT2;\"a\r\n\"b\n\"c\";\"d\"\n"))
	fuzzFormat(f, "technicians.csv")
}

func FuzzJSONL(f *testing.F) {
	seedFiles(f, ".jsonl")
	f.Add([]byte(`{"technician_id":"\ud83d\udc1c","name":1e5}`))
	f.Add(bytes.Repeat([]byte("["), 100_000))
	f.Add(bytes.Repeat([]byte(`{"a":`), 10_000))
	fuzzFormat(f, "technicians.jsonl")
}

func FuzzXLSX(f *testing.F) {
	f.Add(seedTable.xlsx(f, "readings"))
	fuzzFormat(f, "readings.xlsx")
}

func FuzzParquet(f *testing.F) {
	f.Add(seedTable.parquet(f))
	fuzzFormat(f, "readings.parquet")
}

func FuzzGzip(f *testing.F) {
	f.Add(gzipped(f, seedTable.csv(f)))
	f.Add(append(gzipped(f, []byte("technician_id,name\nT1")), gzipped(f, []byte(",a\n"))...))
	fuzzFormat(f, "readings.csv.gz")
}
