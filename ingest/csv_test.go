package ingest

import (
	"fmt"
	"slices"
	"strings"
	"testing"
)

// technicians has few columns and one of free text, which suits tests of the splitter.
const techHeader = "technician_id,name,started_on\n"

// rows puts what came out of a technicians file as "line id|name" for a sound row and as
// "line !rule" for a reject, in file order.
func techRows(out outcome) []string {
	type entry struct {
		line int64
		text string
	}
	var entries []entry
	for i, line := range out.Batch.Lines {
		entries = append(entries, entry{line, fmt.Sprintf("%d %s|%s", line, out.Batch.Cols[0].Text.At(i), out.Batch.Cols[1].Text.At(i))})
	}
	for _, r := range out.Rejects {
		entries = append(entries, entry{r.Line, fmt.Sprintf("%d !%s", r.Line, r.Rule)})
	}
	slices.SortStableFunc(entries, func(a, b entry) int { return int(a.line - b.line) })
	var texts []string
	for _, e := range entries {
		texts = append(texts, e.text)
	}
	return texts
}

func TestRFC4180(t *testing.T) {
	tests := []struct {
		section string // of RFC 4180, or why the case is taken beyond it
		content string
		want    []string
	}{
		{"2.1 each record on its own line, CRLF", "technician_id,name,started_on\r\nT1,a,\r\nT2,b,\r\n", []string{"2 T1|a", "3 T2|b"}},
		{"2.1 LF alone: common practice", techHeader + "T1,a,\nT2,b,\n", []string{"2 T1|a", "3 T2|b"}},
		{"2.1 CR alone: common practice", "technician_id,name,started_on\rT1,a,\rT2,b,", []string{"2 T1|a", "3 T2|b"}},
		{"2.1 mixed line ends", techHeader + "T1,a,\r\nT2,b,\rT3,c,\n", []string{"2 T1|a", "3 T2|b", "4 T3|c"}},
		{"2.2 no line end after the last record", techHeader + "T1,a,", []string{"2 T1|a"}},
		{"2.3 the header may be quoted", "\"technician_id\",\"name\"\nT1,a\n", []string{"2 T1|a"}},
		{"2.4 as many fields as the header: too few", techHeader + "T1,a\nT2,b,\n", []string{"2 !cell_count", "3 T2|b"}},
		{"2.4 as many fields as the header: too many", techHeader + "T1,a,,\nT2,b,\n", []string{"2 !cell_count", "3 T2|b"}},
		{"2.4 spaces are part of a field: trimmed by the contract", techHeader + " T1 ,\ta b ,\n", []string{"2 T1|a b"}},
		{"2.4 a delimiter at the end adds a field", "technician_id,name\nT1,a,\n", []string{"2 !cell_count"}},
		{"2.5 fields may be quoted", techHeader + `"T1","a",""` + "\n", []string{"2 T1|a"}},
		{"2.5 no quote inside an unquoted field", techHeader + "T1,a\"b\",\nT2,b,\n", []string{"2 !quote_misplaced", "3 T2|b"}},
		{"2.5 a space before the quote makes it an unquoted field", techHeader + "T1, \"a\",\n", []string{"2 !quote_misplaced"}},
		{"2.5 text after a closing quote", techHeader + "T1,\"a\"b,\nT2,b,\n", []string{"2 !quote_misplaced", "3 T2|b"}},
		{"2.6 a quoted delimiter", techHeader + `T1,"a,b",` + "\n", []string{"2 T1|a,b"}},
		{"2.6 a quoted LF counts as a physical line", techHeader + "T1,\"a\nb\",\nT2,b,\n", []string{"2 T1|a\nb", "4 T2|b"}},
		{"2.6 a quoted CRLF is kept and counts once", techHeader + "T1,\"a\r\nb\",\r\nT2,b,\n", []string{"2 T1|a\r\nb", "4 T2|b"}},
		{"2.6 several quoted line ends", techHeader + "T1,\"a\n\n\nb\",\"\n\"\nT2,b,\n", []string{"2 T1|a\n\n\nb", "7 T2|b"}},
		{"2.7 a doubled quote", techHeader + `T1,"say ""a""",` + "\n", []string{`2 T1|say "a"`}},
		{"2.7 only a doubled quote", techHeader + `T1,"""",` + "\n", []string{`2 T1|"`}},
		{"2.7 an even run is content and end", techHeader + `T1,"""""",` + "\n", []string{`2 T1|""`}},
		{"recovery: a quote not closed before the end", techHeader + "T1,\"a,\nT2,b,\nT3,c,\n", []string{"2 !quote_not_closed", "3 T2|b", "4 T3|c"}},
		{"recovery: a quote closed by the next one by chance", techHeader + "T1,\"a,\nT2,\"b\",\nT3,c,\n", []string{"2 !quote_not_closed", "3 T2|b", "4 T3|c"}},
		{"recovery: a quote as the last byte", techHeader + "T1,a,\nT2,b,\"", []string{"2 T1|a", "3 !quote_not_closed"}},
		{"blank lines are no rows: common practice", "\n  \n" + techHeader + "\nT1,a,\n   \n\n", []string{"5 T1|a"}},
		{"a byte-order mark (RFC 3629, section 6)", "\ufeff" + techHeader + "T1,a,\n", []string{"2 T1|a"}},
		{"a byte-order mark before a quoted header", "\ufeff\"technician_id\",name\nT1,a\n", []string{"2 T1|a"}},
		{"semicolons: common practice", "technician_id;name\nT1;a,b\n", []string{"2 T1|a,b"}},
		{"tabs: common practice", "technician_id\tname\nT1\ta;b\n", []string{"2 T1|a;b"}},
		{"a single column", "technician_id\nT1\n", []string{"2 T1|"}},
		{"names are trimmed and lower-cased", " Technician_ID ,NAME\nT1,a\n", []string{"2 T1|a"}},
	}
	for _, test := range tests {
		t.Run(test.section, func(t *testing.T) {
			if got := techRows(mustRead(t, "technicians.csv", test.content)); !slices.Equal(got, test.want) {
				t.Errorf("got %q, want %q", got, test.want)
			}
		})
	}
}

// TestLongRecords goes to both sides of the limit and over the edge of the window.
func TestLongRecords(t *testing.T) {
	line := func(id string, length int) string {
		return id + "," + strings.Repeat("x", length-len(id)-2) + ","
	}
	for _, end := range []string{"\n", "\r\n", "\r"} {
		for _, length := range []int{maxRecord - 1, maxRecord, maxRecord + 1, windowBytes - len(techHeader), windowBytes, 3 * windowBytes} {
			content := strings.ReplaceAll(techHeader, "\n", end) + line("T1", length) + end + "T2,b," + end
			want := "2 !line_length"
			if length <= maxRecord {
				want = "2 T1|" + strings.Repeat("x", length-4)
			}
			got := techRows(mustRead(t, "technicians.csv", content))
			if len(got) != 2 || got[0] != want || got[1] != "3 T2|b" {
				t.Errorf("line end %q, length %d: %d rows, last %q", end, length, len(got), got[len(got)-1])
			}
		}
	}
}

// TestQuoteTooLong: a quote not closed within the limit gives up one line, however much follows.
func TestQuoteTooLong(t *testing.T) {
	filler := strings.Repeat("T,b,\n", 2*windowBytes/5)
	out := mustRead(t, "technicians.csv", techHeader+"T1,\"a,\n"+filler+"T2,\"c\",\n")
	if len(out.Rejects) != 1 || out.Rejects[0].Rule != "quote_not_closed" || out.Rejects[0].Line != 2 ||
		out.Summary.Rows != int64(2+strings.Count(filler, "\n")) {
		t.Errorf("%+v, %+v", out.Summary, out.Rejects)
	}
}

// TestWindowEdges moves quoted cells with line ends across the edges of windows and blocks.
func TestWindowEdges(t *testing.T) {
	row := "T%06d,\"say \"\"a\"\"\r\n%s\",\r\n"
	for shift := range 23 {
		var b strings.Builder
		b.WriteString(techHeader + "T," + strings.Repeat("y", shift) + ",\r\n")
		n := 0
		for ; b.Len() < windowBytes+windowBytes/2; n++ {
			fmt.Fprintf(&b, row, n, strings.Repeat("z", 300))
		}
		out := mustRead(t, "technicians.csv", b.String())
		if out.Summary.Rows != int64(n+1) || out.Summary.Rejected != 0 || out.Batch.Lines[n] != int64(1+2*n) {
			t.Fatalf("shift %d: %+v, want %d rows", shift, out.Summary, n+1)
		}
	}
}

func TestDecimalComma(t *testing.T) {
	tests := []struct {
		name, content, want string
	}{
		{"comma with semicolons", "material;density_class;typical_thickness_mm\nm;light;12,5\n", "12.5"},
		{"point with semicolons", "material;density_class;typical_thickness_mm\nm;light;12.5\n", "12.5"},
		{"comma with tabs", "material\tdensity_class\ttypical_thickness_mm\nm\tlight\t12,5\n", "!type"},
		{"both", "material;density_class;typical_thickness_mm\nm;light;1.012,5\n", "!type"},
		{"two commas", "material;density_class;typical_thickness_mm\nm;light;1,012,5\n", "!type"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			out := mustRead(t, "materials.csv", test.content)
			got := ""
			if len(out.Rejects) == 1 {
				got = "!" + out.Rejects[0].Rule
			} else {
				got = fmt.Sprint(out.Batch.Cols[5].Num[0])
			}
			if got != test.want {
				t.Errorf("got %s, want %s", got, test.want)
			}
		})
	}
}
