package ingest

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"sync"
	"testing"
)

// records is where the record files for tests lie.
const records = "../testdata/records"

// outcome is everything Read gave for one file, with the batches put end to end.
type outcome struct {
	Batch   Batch
	Rejects []Reject
	Summary Summary
}

// readSource reads a file and checks the promises that hold for every file.
func readSource(t testing.TB, src Source) (outcome, error) {
	t.Helper()
	return gather(t, src, func(sink func(Chunk) error) (Summary, error) { return Read(context.Background(), src, sink) })
}

// readStream is readSource for text that lies nowhere.
func readStream(t testing.TB, src Source, r io.Reader, size int64) (outcome, error) {
	t.Helper()
	src.spare = new(sync.Pool)
	return gather(t, src, func(sink func(Chunk) error) (sum Summary, err error) {
		read := map[Format]func(context.Context, Source, io.Reader, int64, func(parsed) error) error{CSV: readCSV, JSONL: readJSONL}[src.Format]
		err = read(context.Background(), src, r, size, sum.deliver(src, sink))
		return sum, err
	})
}

func gather(t testing.TB, src Source, read func(sink func(Chunk) error) (Summary, error)) (outcome, error) {
	t.Helper()
	var out outcome
	rows, lastLine := int64(0), int64(0)
	sum, err := read(func(c Chunk) error {
		rows += c.Rows
		rejected := map[int64]bool{}
		for _, r := range c.Rejects {
			rejected[r.Line] = true
			if len(r.Value) > MaxRawBytes || r.Rule == "" || r.Message == "" || r.File != src.Name {
				t.Errorf("malformed reject %+v", r)
			}
		}
		if c.Rows != int64(len(c.Batch.Lines)+len(rejected)) {
			t.Errorf("%d rows, but %d sound and %d rejected", c.Rows, len(c.Batch.Lines), len(rejected))
		}
		if len(c.Batch.Lines) > BatchRows {
			t.Errorf("batch of %d rows", len(c.Batch.Lines))
		}
		for _, line := range c.Batch.Lines {
			if line <= lastLine || rejected[line] {
				t.Errorf("line %d after line %d, rejected: %v", line, lastLine, rejected[line])
			}
			lastLine = line
		}
		join(t, &out.Batch, c.Batch)
		out.Rejects = append(out.Rejects, c.Rejects...)
		return nil
	})
	out.Summary = sum
	if err == nil && (sum.Rows != rows || sum.Rows-sum.Rejected != int64(len(out.Batch.Lines))) {
		t.Errorf("summary %+v, but %d rows and %d sound", sum, rows, len(out.Batch.Lines))
	}
	return out, err
}

// join appends a batch, checking that every slice in use has one entry a row.
func join(t testing.TB, to, from *Batch) {
	t.Helper()
	to.Set = from.Set
	to.Lines = append(to.Lines, from.Lines...)
	if to.Cols == nil {
		to.Cols = make([]Column, len(from.Cols))
	}
	for i, c := range from.Cols {
		n := c.Text.Len() + len(c.Num) + len(c.Bool) + len(c.Int)
		if n != len(from.Lines) || len(c.Valid) != n || c.Local != nil && len(c.Local) != n {
			t.Errorf("column %d: %d values for %d rows", i, n, len(from.Lines))
		}
		to.Cols[i].Valid = append(to.Cols[i].Valid, c.Valid...)
		for j := range c.Text.Len() {
			to.Cols[i].Text.Append([]byte(c.Text.At(j)))
		}
		to.Cols[i].Int = append(to.Cols[i].Int, c.Int...)
		to.Cols[i].Num = append(to.Cols[i].Num, c.Num...)
		to.Cols[i].Bool = append(to.Cols[i].Bool, c.Bool...)
		to.Cols[i].Local = append(to.Cols[i].Local, c.Local...)
	}
}

// readText reads content as a file of the given name.
func readText(t testing.TB, name, content string) (outcome, error) {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	return readFile(t, path)
}

func readFile(t testing.TB, path string) (outcome, error) {
	t.Helper()
	src, err := Identify(path, "")
	if err != nil {
		t.Fatal(err)
	}
	return readSource(t, src)
}

// mustRead is readText for content whose file is sound as a whole.
func mustRead(t testing.TB, name, content string) outcome {
	t.Helper()
	out, err := readText(t, name, content)
	if err != nil {
		t.Fatal(err)
	}
	return out
}
