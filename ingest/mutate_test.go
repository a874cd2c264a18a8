package ingest

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime/metrics"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/apache/arrow-go/v18/parquet/compress"
)

// How much a mutated file may cost. Files are small, so what goes beyond is a reader gone astray.
const (
	mutants     = 10_000           // per reader; with -short, for the race detector, a twentieth
	mutantTime  = 20 * time.Second // on a machine that is busy with other things as well
	mutantBytes = 96 << 20         // allocated in all while one file is read, which bounds what it held at once
)

// TestMutatedFiles reads files made from good ones by seeded damage. Whatever the damage: no panic, an end in time, bounded
// memory, every row sound or rejected (readSource), and a message that says what to do.
func TestMutatedFiles(t *testing.T) {
	good := goodFiles(t)
	packed := map[string][]byte{}
	for name, content := range good {
		if strings.HasSuffix(name, ".csv") || strings.HasSuffix(name, ".jsonl") || strings.HasSuffix(name, ".parquet") {
			packed[name+".gz"] = gzipped(t, content)
		}
	}
	for reader, seeds := range map[string][]seedFile{
		"CSV": ending(good, ".csv"), "JSONL": ending(good, ".jsonl"), "XLSX": ending(good, ".xlsx"),
		"Parquet": ending(good, ".parquet"), "gzip": ending(packed, ".gz"),
	} {
		t.Run(reader, func(t *testing.T) {
			dir, sound, rejected, refused, files := t.TempDir(), 0, 0, 0, mutants
			if testing.Short() {
				files /= 20
			}
			for n := range files {
				rng := rand.New(rand.NewPCG(20261125, uint64(n)))
				seed := seeds[rng.IntN(len(seeds))]
				out, err := readMutant(t, filepath.Join(dir, seed.name), seed.mutant(t, rng, seeds))
				if t.Failed() {
					t.Fatalf("file %d, from %s", n, seed.name)
				}
				sound += len(out.Batch.Lines)
				rejected += len(out.Rejects)
				if err != nil {
					refused++
				}
			}
			t.Logf("%d files refused; of the others %d rows sound, %d rules broken", refused, sound, rejected)
			if sound < files/10 || rejected < files/10 {
				t.Error("the damage is too strong to tell anything")
			}
		})
	}
}

// readMutant reads one file within the limits.
func readMutant(t *testing.T, path string, content []byte) (outcome, error) {
	t.Helper()
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = os.Remove(path) }() // to write over a file makes some file systems wait for the disk
	hang := time.AfterFunc(mutantTime, func() {
		kept := filepath.Join(os.TempDir(), "hangs-"+filepath.Base(path))
		panic(fmt.Sprintf("reading %s does not end (%v)", kept, os.WriteFile(kept, content, 0o600)))
	})
	defer hang.Stop()
	before := allocated()
	out, err := readFile(t, path)
	if took := allocated() - before; took > mutantBytes {
		t.Errorf("%d bytes of file took %d MiB", len(content), took>>20)
	}
	checkMessages(t, out.Rejects, err)
	return out, err
}

// allocated is how many bytes the program has ever allocated.
func allocated() uint64 {
	sample := []metrics.Sample{{Name: "/gc/heap/allocs:bytes"}}
	metrics.Read(sample)
	return sample[0].Value.Uint64()
}

// checkMessages: an error names the file and a remedy, a reject says what to do, and neither breaks a line or holds bytes
// that are no text.
func checkMessages(t *testing.T, rejects []Reject, err error) {
	t.Helper()
	if err != nil {
		fileErr, ok := errors.AsType[*FileError](err)
		if !ok || fileErr.Remedy == "" || fileErr.Op == "" || fileErr.File == "" {
			t.Errorf("%v (%T) does not say what to do", err, err)
		}
	}
	for _, r := range rejects {
		if !strings.Contains(r.Message, ";") || strings.ContainsAny(r.Message, "\n\x00") {
			t.Errorf("%s: %q does not say what to do", r.Rule, r.Message)
		}
	}
}

// seedFile is a good file to be damaged.
type seedFile struct {
	name    string
	content []byte
}

// ending are the files with an extension, in order of their names.
func ending(files map[string][]byte, extension string) (out []seedFile) {
	for _, name := range sortedNames(files) {
		if strings.HasSuffix(name, extension) {
			out = append(out, seedFile{name, files[name]})
		}
	}
	return out
}

// mutant damages a file: its bytes, or for a container what is in it, so that damage reaches the rows as well.
func (s seedFile) mutant(t *testing.T, rng *rand.Rand, others []seedFile) []byte {
	t.Helper()
	other := others[rng.IntN(len(others))].content
	within := rng.IntN(4) > 0
	switch {
	case within && strings.HasSuffix(s.name, ".gz"):
		return gzipped(t, mutate(rng, gunzipped(t, s.content), gunzipped(t, other)))
	case within && strings.HasSuffix(s.name, ".xlsx"):
		return mutatePart(t, rng, s.content)
	case within && strings.HasSuffix(s.name, ".parquet"): // what moves is refused at once, since the footer says where everything lies
		return mutateInPlace(rng, bytes.Clone(s.content))
	default:
		return mutate(rng, s.content, other)
	}
}

// tokens are texts that readers trip over.
var tokens = []string{
	"\"", "\"\"", "\r", "\r\n", "\n", ",", ";", "\t", "\x00", "\xff", "\xc3", "\xed\xa0\x80", "\ufeff", "\u202e", "\u2028", "\x1b[2J", "{", "}", "[[[[", "\\", `\ud800`, `\u0000`,
	"null", "true", "NaN", "-Infinity", "1e999", "-0", "1e-400", "9223372036854775808", "00000000000000000000001", "0x10", "1,5", "0000-01-01", "9999-12-31T23:59:60Z", "1970-01-01T00:00",
	"+14:00", "=1+1", "'", "--", "<row>", "</row>", "<c r=\"XFD1048576\"><v>1</v></c>", "r=\"-1\"", "r=\"A0\"", "t=\"s\"", "<v>99999999</v>", "&#0;", "&lol;", "<![CDATA[", "<!DOCTYPE x [", "PAR1", "PK\x03\x04",
	"\x1f\x8b", "\xff\xff\xff\x7f", "\xff\xff\xff\xff\x0f", "\x80\x80\x80\x80\x80\x80\x80\x80\x80\x01", "../../x", strings.Repeat("a", 300),
}

// mutate makes one to four changes.
func mutate(rng *rand.Rand, content, other []byte) []byte {
	out := bytes.Clone(content)
	for range 1 + rng.IntN(4) {
		out = change(rng, out, other)
	}
	return out
}

// mutateInPlace changes one to three bytes or stretches without moving anything.
func mutateInPlace(rng *rand.Rand, b []byte) []byte {
	for range 1 + rng.IntN(3) {
		if at := rng.IntN(len(b)); rng.IntN(4) > 0 {
			b[at] ^= 1 << rng.IntN(8)
		} else {
			copy(b[at:], tokens[rng.IntN(len(tokens))])
		}
	}
	return b
}

// change makes one change: bits, bytes, a token, or a stretch that is cut, doubled, moved or taken from another file.
func change(rng *rand.Rand, b, other []byte) []byte {
	if len(b) == 0 {
		return append(b, tokens[rng.IntN(len(tokens))]...)
	}
	at, from := rng.IntN(len(b)), rng.IntN(len(b))
	to := min(len(b), from+1+rng.IntN(64))
	stretch := bytes.Clone(b[from:to])
	insert := func(at int, what []byte) []byte { return append(b[:at:at], append(bytes.Clone(what), b[at:]...)...) }
	switch rng.IntN(9) {
	case 0:
		b[at] ^= 1 << rng.IntN(8)
	case 1:
		b[at] = []byte{0, 1, 0x7f, 0x80, 0xff, byte(rng.Uint32())}[rng.IntN(6)]
	case 2:
		return b[:at]
	case 3:
		return append(b[:from:from], b[to:]...)
	case 4:
		return insert(at, stretch)
	case 5:
		return insert(at, bytes.Repeat(stretch, 1+rng.IntN(50)))
	case 6:
		copy(b[at:], stretch)
	case 7:
		start := rng.IntN(len(other))
		return append(b[:at:at], other[start:]...)
	default:
		return insert(at, []byte(tokens[rng.IntN(len(tokens))]))
	}
	return b
}

// mutatePart damages one part of a workbook, most often its sheet.
func mutatePart(t *testing.T, rng *rand.Rand, content []byte) []byte {
	t.Helper()
	archive := openZip(t, content)
	damaged := archive.File[rng.IntN(len(archive.File))].Name
	if rng.IntN(3) > 0 {
		damaged = []string{"xl/worksheets/sheet1.xml", "xl/sharedStrings.xml"}[rng.IntN(2)]
	}
	return repack(t, archive, zip.Store, damaged, func(raw []byte) []byte { return mutateXML(rng, raw) })
}

// mutateXML mostly keeps XML well formed, since what is not is refused before anything is looked at: it moves elements
// about and changes the values of attributes and texts.
func mutateXML(rng *rand.Rand, raw []byte) []byte {
	if rng.IntN(3) == 0 {
		return mutate(rng, raw, raw)
	}
	for range 1 + rng.IntN(3) {
		elements := bytes.SplitAfter(raw, []byte(">"))
		i, j := rng.IntN(len(elements)), rng.IntN(len(elements))
		switch rng.IntN(4) {
		case 0:
			elements[i], elements[j] = elements[j], elements[i]
		case 1:
			if open := bytes.IndexByte(elements[i], '<'); open > 0 { // a text
				elements[i] = append([]byte(tokens[rng.IntN(len(tokens))]), elements[i][open:]...)
			}
		default:
			if parts := bytes.Split(elements[i], []byte(`"`)); len(parts) > 2 { // an attribute
				parts[1+2*rng.IntN(len(parts)/2)] = []byte([]string{"0", "-1", "1", "2", "99999999999999999999", "A1", "XFD1", "ZZZZ1", "A1048577", "b", "e", "inlineStr", "str", ""}[rng.IntN(14)])
				elements[i] = bytes.Join(parts, []byte(`"`))
			}
		}
		raw = bytes.Join(elements, nil)
	}
	return raw
}

func zipPart(t testing.TB, f *zip.File) []byte {
	t.Helper()
	r, err := f.Open()
	if err != nil {
		t.Fatal(err)
	}
	raw, err := io.ReadAll(r)
	if err != nil {
		t.Fatal(err)
	}
	return raw
}

func gzipped(t testing.TB, content []byte) []byte {
	t.Helper()
	var out bytes.Buffer
	w, err := gzip.NewWriterLevel(&out, gzip.BestSpeed)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Write(content); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func gunzipped(t testing.TB, packed []byte) []byte {
	t.Helper()
	r, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		t.Fatal(err)
	}
	content, err := io.ReadAll(r)
	if err != nil {
		t.Fatal(err)
	}
	return content
}

// goodFiles are small files that every reader takes: those kept for tests, and two sets in the containers.
func goodFiles(t *testing.T) map[string][]byte {
	t.Helper()
	files := map[string][]byte{"readings.csv": seedTable.csv(t), "readings.jsonl": seedTable.jsonl(t), "readings.xlsx": seedTable.xlsx(t, "readings")}
	for _, path := range listed(t, "small") {
		content, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		files[filepath.Base(path)] = content
	}
	people := table{header: []string{"technician_id", "name", "started_on"}}
	for i := range 200 { // much data to little metadata, so that damage reaches it
		people.rows = append(people.rows, []any{fmt.Sprintf("T%02d", i), strings.Repeat("name ", i%4), calendarDay(20_000 + i)})
	}
	files["technicians.xlsx"] = table{people.header, people.rows[:12]}.xlsx(t, "technicians")
	for name, codec := range map[string]compress.Compression{
		"plain": compress.Codecs.Uncompressed, "snappy": compress.Codecs.Snappy, "gzip": compress.Codecs.Gzip, "zstd": compress.Codecs.Zstd, "brotli": compress.Codecs.Brotli, "lz": compress.Codecs.Lz4Raw,
	} {
		files["technicians-"+name+".parquet"] = people.parquetPacked(t, 100, codec)
		files["readings-"+name+".parquet"] = seedTable.parquetPacked(t, 3, codec)
	}
	return files
}

func sortedNames(files map[string][]byte) []string { return slices.Sorted(maps.Keys(files)) }
