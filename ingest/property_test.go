package ingest

import (
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"scanledger/ingest/contract"
)

// drawTable draws rows of a set. About one value in twelve breaks a rule, one optional value in
// three is missing. Each column keeps to one type, so that Parquet can hold it.
func drawTable(t *rapid.T, set *contract.Set) table {
	tb := table{}
	for _, f := range set.Fields {
		tb.header = append(tb.header, f.Name)
	}
	local := rapid.Bool().Draw(t, "local")
	for range rapid.IntRange(1, 12).Draw(t, "rows") {
		var row []any
		for _, f := range set.Fields {
			row = append(row, drawValue(t, f, local))
		}
		if !slices.ContainsFunc(row, func(v any) bool { return v != nil }) {
			row[0] = "Z9" // a sheet has no row without a value
		}
		tb.rows = append(tb.rows, row)
	}
	return tb
}

func drawValue(t *rapid.T, f contract.Field, local bool) any {
	wrong := rapid.IntRange(0, 11).Draw(t, "wrong") == 0
	if wrong && f.Constraints.Required || !f.Constraints.Required && rapid.IntRange(0, 2).Draw(t, "missing") == 0 {
		return nil
	}
	switch f.Kind() {
	case contract.Integer:
		return rapid.Int64Range(-3, 12).Draw(t, f.Name)
	case contract.Number:
		limit := 60.0
		if wrong {
			limit = -1e6
		}
		// A spreadsheet keeps 15 digits.
		return math.Round(rapid.Float64Range(0, 1).Draw(t, f.Name)*limit*1000) / 1000
	case contract.Boolean:
		return rapid.Bool().Draw(t, f.Name)
	case contract.Date:
		return calendarDay(rapid.Int64Range(-20_000, 40_000).Draw(t, f.Name))
	case contract.Timestamp:
		return moment{rapid.Int64Range(0, 4_000_000_000_000).Draw(t, f.Name) * 1000, local}
	default:
		return drawText(t, f, wrong)
	}
}

func drawText(t *rapid.T, f contract.Field, wrong bool) string {
	switch {
	case f.Constraints.Enum != nil && !wrong:
		return rapid.SampledFrom(f.Constraints.Enum).Draw(t, f.Name)
	case f.Role == "zone":
		return rapid.SampledFrom([]string{"Australia/Perth", "UTC", "Asia/Tokyo", "Nowhere"}).Draw(t, f.Name)
	case f.Role == "id":
		return rapid.StringMatching(`[A-Za-zäß€0-9][A-Za-z0-9 "',;.-]{0,8}[A-Z0-9]`).Draw(t, f.Name)
	default:
		return rapid.StringMatching(`[a-z]["',;a-zé🐜 ]{0,30}[a-z]`).Draw(t, f.Name)
	}
}

// readContent reads content as a file of the set in dir.
func readContent(t *rapid.T, dir string, set *contract.Set, ext string, content []byte) outcome {
	path := filepath.Join(dir, set.Name+ext)
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
	src, err := Identify(path, "")
	if err != nil {
		t.Fatal(err)
	}
	out := readRapid(t, src)
	for i := range out.Rejects {
		out.Rejects[i].File = ""
	}
	return out
}

// readRapid is readSource with failures reported to rapid, which then shrinks the input.
func readRapid(t *rapid.T, src Source) outcome {
	out, err := readSource(rapidTB{TB: nil, t: t}, src)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// rapidTB lets helpers for testing.TB report to a rapid.T.
type rapidTB struct {
	testing.TB
	t *rapid.T
}

func (r rapidTB) Helper()                           {}
func (r rapidTB) Errorf(format string, args ...any) { r.t.Errorf(format, args...) }
func (r rapidTB) Fatal(args ...any)                 { r.t.Fatal(args...) }

// renumber moves line numbers to row numbers from 1, as if there were no header.
func renumber(out outcome, header int64) outcome {
	for i := range out.Batch.Lines {
		out.Batch.Lines[i] -= header
	}
	for i := range out.Rejects {
		out.Rejects[i].Line -= header
	}
	return out
}

// ruleOnly drops what a format may show in its own way: 1e+06 or 1000000.
func ruleOnly(rejects []Reject) []Reject {
	out := slices.Clone(rejects)
	for i := range out {
		out[i].Value = ""
	}
	return out
}

// TestFormatsAgree: the same rows give the same result from each of the four formats.
func TestFormatsAgree(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(r *rapid.T) {
		set := rapid.SampledFrom(contract.Sets()).Draw(r, "set")
		tb := drawTable(r, set)
		want := renumber(readContent(r, dir, set, ".csv", tb.csv(t)), 1)
		if want.Summary.Rows != int64(len(tb.rows)) {
			r.Fatalf("%d rows of %d", want.Summary.Rows, len(tb.rows))
		}
		for format, got := range map[string]outcome{
			"JSON Lines": readContent(r, dir, set, ".jsonl", tb.jsonl(t)),
			"XLSX":       renumber(readContent(r, dir, set, ".xlsx", tb.xlsx(t, set.Name)), 1),
			"Parquet":    readContent(r, dir, set, ".parquet", tb.parquet(t)),
		} {
			if !reflect.DeepEqual(got.Batch, want.Batch) {
				r.Fatalf("%s gave %+v, CSV %+v", format, got.Batch, want.Batch)
			}
			if !reflect.DeepEqual(ruleOnly(got.Rejects), ruleOnly(want.Rejects)) {
				r.Fatalf("%s rejected %+v, CSV %+v", format, got.Rejects, want.Rejects)
			}
		}
	})
}

// TestColumnOrderIsFree: shuffled columns, with strange ones among them, change nothing.
func TestColumnOrderIsFree(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(r *rapid.T) {
		set := rapid.SampledFrom(contract.Sets()).Draw(r, "set")
		tb := drawTable(r, set)
		want := readContent(r, dir, set, ".csv", tb.csv(t))
		order := rapid.Permutation(slices.Collect(seq(len(tb.header)))).Draw(r, "order")
		shuffled := table{header: []string{"strange"}}
		for _, i := range order {
			shuffled.header = append(shuffled.header, strings.ToUpper(tb.header[i]))
		}
		for _, row := range tb.rows {
			moved := []any{"x,\n\"y"}
			for _, i := range order {
				moved = append(moved, row[i])
			}
			shuffled.rows = append(shuffled.rows, moved)
		}
		got := readContent(r, dir, set, ".csv", shuffled.csv(t))
		for i := range got.Batch.Lines { // the strange column puts each row on two lines
			got.Batch.Lines[i] = 1 + got.Batch.Lines[i]/2
		}
		for i := range got.Rejects {
			got.Rejects[i].Line = 1 + got.Rejects[i].Line/2
		}
		if !reflect.DeepEqual(got.Batch, want.Batch) || !reflect.DeepEqual(got.Rejects, want.Rejects) {
			r.Fatalf("shuffled %+v, straight %+v", got, want)
		}
	})
}

func seq(n int) func(func(int) bool) {
	return func(yield func(int) bool) {
		for i := range n {
			if !yield(i) {
				return
			}
		}
	}
}

// TestDamageIsLocal: with bytes of a sound file overwritten at random, every row is still counted
// once, and rows on lines that were not touched stay sound, even beside a stray quote (one: two can enclose a sound cell of many lines).
func TestDamageIsLocal(t *testing.T) {
	dir := t.TempDir()
	set, err := contract.Lookup("readings")
	if err != nil {
		t.Fatal(err)
	}
	const rows = 200
	rapid.Check(t, func(r *rapid.T) {
		content := readingsCSV(rows)
		header := slices.Index(content, '\n') + 1
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(r, "seed"), 0))
		touched := map[int64]bool{}
		damage := []byte("\"\x00\xff,;x ")
		for range rapid.IntRange(1, 5).Draw(r, "hits") {
			at := header + rng.IntN(len(content)-header)
			if content[at] == '\n' {
				continue // would join two rows
			}
			content[at] = damage[rng.IntN(len(damage))]
			if content[at] == '"' {
				damage = []byte("\x00\xff,;x ") // two quotes far apart can make one sound cell of all between
			}
			touched[1+int64(strings.Count(string(content[:at]), "\n"))] = true
		}
		out := readContent(r, dir, set, ".csv", content)
		if out.Summary.Rows != rows {
			r.Fatalf("%d rows of %d", out.Summary.Rows, rows)
		}
		for _, reject := range out.Rejects {
			if !touched[reject.Line] {
				r.Fatalf("line %d was not touched: %+v", reject.Line, reject)
			}
		}
	})
}
