package ingest

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"runtime/metrics"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/memory"
	"github.com/apache/arrow-go/v18/parquet/compress"
)

// repeated is a text repeated up to a length in bytes.
func repeated(unit string, length int64) io.Reader {
	return io.LimitReader(&repeater{unit: bytes.Repeat([]byte(unit), 1+1<<20/max(1, len(unit)))}, length)
}

type repeater struct {
	unit []byte
	at   int
}

func (r *repeater) Read(p []byte) (int, error) {
	n := copy(p, r.unit[r.at:])
	r.at = (r.at + n) % len(r.unit)
	return n, nil
}

// peak is how many bytes more than before the heap held while run was running.
func peak(run func()) uint64 {
	now := func() uint64 {
		sample := []metrics.Sample{{Name: "/memory/classes/heap/objects:bytes"}}
		metrics.Read(sample)
		return sample[0].Value.Uint64()
	}
	runtime.GC()
	before, most, done := now(), uint64(0), make(chan struct{})
	var watch sync.WaitGroup
	watch.Go(func() {
		for tick := time.NewTicker(2 * time.Millisecond); ; {
			select {
			case <-done:
				tick.Stop()
				return
			case <-tick.C:
				most = max(most, now())
			}
		}
	})
	run()
	close(done)
	watch.Wait()
	return max(most, before) - before
}

// within fails where something takes more memory or time than it may.
func within(t *testing.T, what string, bytes uint64, limit time.Duration, run func()) {
	t.Helper()
	began := time.Now()
	took := peak(run)
	if took > bytes {
		t.Errorf("%s: held %d MiB", what, took>>20)
	}
	since := time.Since(began)
	t.Logf("%s: held %d MiB, took %s", what, took>>20, since)
	if since > limit {
		t.Errorf("%s: took %s", what, since)
	}
}

// TestEndlessLines reads lines of 1 GB, which are made as they are read, in the memory of a few windows, and the rows after
// them.
func TestEndlessLines(t *testing.T) {
	size := int64(1 << 30)
	if testing.Short() {
		size = 32 << 20
	}
	for _, test := range []struct {
		name, file, before, unit, after string
		want                            []string
	}{
		{"a cell", "technicians.csv", techHeader + "T1,", "x", ",\nT3,c,\n", []string{"2 !line_length", "3 T3|c"}},
		{"a quoted cell", "technicians.csv", techHeader + "T1,\"", "x", "\",\nT3,c,\n", []string{"2 !line_length", "3 T3|c"}},
		{"quotes", "technicians.csv", techHeader + "T1,", `"`, ",\nT3,c,\n", []string{"2 !line_length", "3 T3|c"}},
		{"cells", "technicians.csv", techHeader + "T1", ",", "\nT3,c,\n", []string{"2 !line_length", "3 T3|c"}},
		{"no line end after it", "technicians.csv", techHeader + "T1,a,\n", "\x00", "", []string{"2 T1|a", "3 !line_length"}},
		{"a list of lists", "technicians.jsonl", "", "[", "\n{\"technician_id\":\"T2\"}\n", []string{"1 !line_length", "2 T2|"}},
		{"a text", "technicians.jsonl", `{"technician_id":"`, `\n`, "\"}\n{\"technician_id\":\"T2\"}\n", []string{"1 !line_length", "2 T2|"}},
	} {
		src, err := Identify(test.file, "")
		if err != nil {
			t.Fatal(err)
		}
		within(t, test.name, 160<<20, time.Minute, func() {
			out, err := readStream(t, src, io.MultiReader(strings.NewReader(test.before), repeated(test.unit, size), strings.NewReader(test.after)), size)
			if got := techRows(out); err != nil || !slices.Equal(got, test.want) {
				t.Errorf("%s: %.300q, %v; want %q", test.name, got, err, test.want)
			}
			checkMessages(t, out.Rejects, err)
		})
	}
	src, err := Identify("technicians.csv", "")
	if err != nil {
		t.Fatal(err)
	}
	_, err = readStream(t, src, repeated("technician_id,", size), size)
	if err == nil || !strings.Contains(err.Error(), "longer than 1 MiB") {
		t.Errorf("a header: %v", err)
	}
	checkMessages(t, nil, err)
}

// TestGzipBombs: what unpacks to a thousand times its size is refused long before it fills anything.
func TestGzipBombs(t *testing.T) {
	dir, member := t.TempDir(), gzipped(t, bytes.Repeat([]byte("x"), 16<<20)) // a file is a series of members (RFC 1952, 2.2)
	for name, before := range map[string]string{"technicians.csv.gz": techHeader, "technicians.jsonl.gz": "", "technicians.parquet.gz": "PAR1"} {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, append(gzipped(t, []byte(before)), bytes.Repeat(member, 32)...), 0o600); err != nil {
			t.Fatal(err)
		}
		within(t, name, 160<<20, time.Minute, func() {
			_, err := readFile(t, path)
			if err == nil || !strings.Contains(err.Error(), "times its size") {
				t.Errorf("%s: %v", name, err)
			}
			checkMessages(t, nil, err)
		})
	}
	if left, err := filepath.Glob(filepath.Join(os.TempDir(), "records-*.parquet")); err != nil || len(left) > 0 {
		t.Errorf("left %v, %v", left, err)
	}
}

// TestManyColumns: 100,000 of them cost their width, and the names remembered are bounded.
func TestManyColumns(t *testing.T) {
	const columns, rows = 100_000, 20
	var header, row, object strings.Builder
	for i := range columns {
		fmt.Fprintf(&header, ",c%d", i)
		row.WriteString(",1")
		fmt.Fprintf(&object, `,"c%d":1`, i)
	}
	var csv, jsonl strings.Builder
	csv.WriteString("technician_id" + header.String() + "\n")
	for i := range rows {
		fmt.Fprintf(&csv, "T%d%s\n", i, row.String())
		if i < rows/10 {
			fmt.Fprintf(&jsonl, "{\"technician_id\":\"T%d\"%s}\n", i, object.String()[:900_000])
		}
		fmt.Fprintf(&jsonl, "{\"technician_id\":\"T%d\"%s}\n", i, object.String()[:len(`,"c1":1`)*10])
	}
	for name, content := range map[string]string{"technicians.csv": csv.String(), "technicians.jsonl": jsonl.String()} {
		within(t, name, 256<<20, 20*time.Second, func() {
			out, err := readText(t, name, content)
			if err != nil || len(out.Batch.Lines) != rows || len(out.Summary.ExtraColumns) > maxExtraColumns {
				t.Errorf("%s: %+v, %d extra, %v", name, out.Summary.Rows, len(out.Summary.ExtraColumns), err)
			}
			checkMessages(t, out.Rejects, err)
		})
	}
}

// TestManyColumnsParquet is the same for a format that tells its columns beforehand.
func TestManyColumnsParquet(t *testing.T) {
	fields := []arrow.Field{{Name: "technician_id", Type: arrow.BinaryTypes.String}}
	for i := range 100_000 {
		fields = append(fields, arrow.Field{Name: fmt.Sprintf("c%d", i), Type: arrow.PrimitiveTypes.Int32, Nullable: true})
	}
	builder := array.NewRecordBuilder(memory.DefaultAllocator, arrow.NewSchema(fields, nil))
	defer builder.Release()
	builder.Field(0).(*array.StringBuilder).Append("T1")
	for i := range fields[1:] {
		builder.Field(i + 1).(*array.Int32Builder).AppendNull()
	}
	content := writeParquet(t, builder.NewRecordBatch(), 1, compress.Codecs.Uncompressed)
	within(t, "100,000 columns", 1<<30, 20*time.Second, func() {
		out, err := readText(t, "technicians.parquet", string(content))
		if err != nil || out.Summary.Rows != 1 || len(out.Summary.ExtraColumns) != maxExtraColumns {
			t.Errorf("%+v, %v", out.Summary.Rows, err)
		}
	})
}

// TestParquetBombs: packed bytes that claim more than the page, and few bytes that promise many rows.
func TestParquetBombs(t *testing.T) {
	huge := map[compress.Compression][]byte{
		compress.Codecs.Snappy: {0xff, 0xff, 0xff, 0xff, 0x0f, 0}, // 4 GiB less a byte
		// A frame (RFC 8878, 3.1.1) of a single segment with a content size of 32 GiB.
		compress.Codecs.Zstd: {0x28, 0xb5, 0x2f, 0xfd, 0xe0, 0, 0, 0, 0, 8, 0, 0, 0, 1, 0, 0},
	}
	for kind, packed := range huge {
		codec, err := compress.GetCodec(kind)
		if err != nil {
			t.Fatal(err)
		}
		within(t, kind.String(), 16<<20, time.Second, func() {
			if got, err := compress.Decode(codec, make([]byte, 1000), packed); err == nil {
				t.Errorf("%s: unpacked %d bytes", kind, len(got))
			}
		})
		large := bytes.Repeat([]byte("x"), 10<<20)
		again := codec.Encode(nil, large)
		if got, err := compress.Decode(codec, make([]byte, len(large)), again); err != nil || !bytes.Equal(got, large) {
			t.Errorf("%s: %v", kind, err)
		}
		if got, err := compress.Decode(codec, make([]byte, len(large)-1), again); err == nil {
			t.Errorf("%s: %d bytes into one less", kind, len(got))
		}
	}
	builder := array.NewRecordBuilder(memory.DefaultAllocator, arrow.NewSchema([]arrow.Field{{Name: "technician_id", Type: arrow.BinaryTypes.String, Nullable: true}}, nil))
	defer builder.Release()
	builder.Field(0).AppendNulls(3_000_000)
	content := writeParquet(t, builder.NewRecordBatch(), 3_000_000, compress.Codecs.Zstd)
	_, err := readText(t, "technicians.parquet", string(content))
	if err == nil || !strings.Contains(err.Error(), "promises 3000000 rows") {
		t.Errorf("%d bytes: %v", len(content), err)
	}
	checkMessages(t, nil, err)
}

// TestParquetLongTexts: a text that a file keeps once and has in every row is held to what rows may take.
func TestParquetLongTexts(t *testing.T) {
	for length, cause := range map[int]string{50: "", 5_000: "longer than those of records", 20_000: "bytes at once"} {
		tb := table{header: []string{"technician_id", "name"}}
		for range 2 * BatchRows {
			tb.rows = append(tb.rows, []any{strings.Repeat("x", length), strings.Repeat("y", length)})
		}
		content := tb.parquetPacked(t, 2*BatchRows, compress.Codecs.Zstd)
		within(t, fmt.Sprintf("%d rows of %d characters in %d bytes", len(tb.rows), length, len(content)), 700<<20, 20*time.Second, func() {
			_, err := readText(t, "technicians.parquet", string(content))
			if (err == nil) != (cause == "") || err != nil && !strings.Contains(err.Error(), cause) {
				t.Errorf("%d characters: %v; want %q", length, err, cause)
			}
			checkMessages(t, nil, err)
		})
	}
}
