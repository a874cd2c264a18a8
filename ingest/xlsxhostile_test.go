package ingest

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"fmt"
	"io"
	"os"
	"strings"
	"testing"
	"time"
)

const (
	sheetPart   = "xl/worksheets/sheet1.xml"
	stringsPart = "xl/sharedStrings.xml"
)

// sheetXML is a worksheet with these rows.
func sheetXML(rows string) string {
	return `<?xml version="1.0" encoding="UTF-8"?><worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>` + rows + `</sheetData></worksheet>`
}

// textRow is a row of texts in place, from column A on.
func textRow(row int, texts ...string) string {
	var out strings.Builder
	fmt.Fprintf(&out, `<row r="%d">`, row)
	for i, text := range texts {
		fmt.Fprintf(&out, `<c r="%c%d" t="inlineStr"><is><t>%s</t></is></c>`, 'A'+i, row, text)
	}
	out.WriteString("</row>")
	return out.String()
}

// TestHostileSheets are workbooks whose sheet a library would read as something else, or not to an end.
func TestHostileSheets(t *testing.T) {
	sound := table{header: []string{"technician_id", "name"}, rows: [][]any{{"T1", "a"}}}.xlsx(t, "technicians")
	head := textRow(1, "technician_id", "name")
	cell := func(attributes, value string) string { return "<c " + attributes + "><v>" + value + "</v></c>" }
	for _, test := range []struct{ name, part, content, cause string }{
		{"rows out of order", sheetPart, sheetXML(head + textRow(7, "T7", "a") + textRow(3, "T3", "b")), `row "3" after row 7`},
		{"a row twice", sheetPart, sheetXML(head + textRow(7, "T7", "a") + textRow(7, "T8", "b")), `row "7" after row 7`},
		{"row 0", sheetPart, sheetXML(`<row r="0">` + cell(`r="A0"`, "1") + "</row>"), "order"},
		{"row -1", sheetPart, sheetXML(head + `<row r="-1">` + cell(`r="A2"`, "1") + "</row>"), "order"},
		{"row two milliard", sheetPart, sheetXML(head + `<row r="2000000000">` + cell(`r="A2000000000"`, "1") + "</row>"), "order"},
		{"row without end", sheetPart, sheetXML(head + `<row r="99999999999999999999">` + cell("", "1") + "</row>"), "order"},
		{"cells out of order", sheetPart, sheetXML(head + `<row r="2">` + cell(`r="B2"`, "1") + cell(`r="A2"`, "2") + "</row>"), `cell "A2" in row 2`},
		{"a cell twice", sheetPart, sheetXML(head + `<row r="2">` + cell(`r="A2"`, "1") + cell(`r="A2"`, "2") + "</row>"), `cell "A2" in row 2`},
		{"a cell beyond the last column", sheetPart, sheetXML(head + `<row r="2">` + cell(`r="XFE2"`, "1") + "</row>"), "order"},
		{"a cell that is none", sheetPart, sheetXML(head + `<row r="2">` + cell(`r="2A"`, "1") + "</row>"), "order"},
		{"a text there is not", sheetPart, sheetXML(head + `<row r="2">` + cell(`r="A2" t="s"`, "99999") + "</row>"), "text 100000 of"},
		{"a text before the first", sheetPart, sheetXML(head + `<row r="2">` + cell(`r="A2" t="s"`, "-1") + "</row>"), `shared text by "-1"`},
		{"a text that has no number", sheetPart, sheetXML(head + `<row r="2">` + cell(`r="A2" t="s"`, "1<!-- -->x") + "</row>"), `shared text by "1x"`},
		{"nested 10,000 deep", sheetPart, sheetXML(head + strings.Repeat("<a>", 10_000) + strings.Repeat("</a>", 10_000)), "nested deeper"},
		{"entities that multiply", stringsPart, `<!DOCTYPE l [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]><sst><si><t>&b;</t></si></sst>`, "entity"},
		{"an entity from a file", stringsPart, `<!DOCTYPE l [<!ENTITY a SYSTEM "file:///etc/passwd">]><sst><si><t>&a;</t></si></sst>`, "entity"},
		{"another encoding", sheetPart, `<?xml version="1.0" encoding="UTF-7"?><worksheet/>`, "UTF-7"},
		{"no sheet", "xl/workbook.xml", `<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"/>`, "no sheet"},
		{"a sheet that is not there", "xl/_rels/workbook.xml.rels", `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"/>`, ""},
	} {
		content := rewrite(t, sound, test.part, func(string) string { return test.content })
		within(t, test.name, 256<<20, 20*time.Second, func() {
			_, err := readText(t, "technicians.xlsx", string(content))
			if err == nil || !strings.Contains(err.Error(), test.cause) {
				t.Errorf("%s: %v; want %q", test.name, err, test.cause)
			}
			checkMessages(t, nil, err)
		})
	}
}

// TestOddSheets are workbooks that are odd and yet sound.
func TestOddSheets(t *testing.T) {
	sound := table{header: []string{"technician_id", "name"}, rows: [][]any{{"T1", "a"}}}.xlsx(t, "technicians")
	head := textRow(1, "technician_id", "name")
	for _, test := range []struct{ name, content, want string }{
		{"no numbers of rows and cells", sheetXML(`<row><c t="inlineStr"><is><t>technician_id</t></is></c></row><row><c><v>7</v></c></row>`), "2 7|"},
		{"a hole of a million rows", sheetXML(head + textRow(1048576, "T9", "b")), "1048576 T9|b"},
		{"a cell in the last column", sheetXML(head + `<row r="2"><c r="A2"><v>7</v></c><c r="XFD2"><v>1</v></c></row>`), "2 7|"},
		{"control characters of XML", sheetXML(head + textRow(2, "T1", "a&#9;b")), "2 T1|a\tb"},
		{"markup in a text", sheetXML(head + textRow(2, "T1", "&lt;script>=1+1")), "2 T1|<script>=1+1"},
	} {
		content := rewrite(t, sound, sheetPart, func(string) string { return test.content })
		out, err := readText(t, "technicians.xlsx", string(content))
		if got := strings.Join(techRows(out), " "); err != nil || got != test.want {
			t.Errorf("%s: %q, %v; want %q", test.name, got, err, test.want)
		}
	}
}

// zipOf packs parts in order, each a text repeated up to a length.
func zipOf(t *testing.T, base []byte, parts ...zipPartOf) []byte {
	t.Helper()
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	w.RegisterCompressor(zip.Deflate, func(to io.Writer) (io.WriteCloser, error) { return flate.NewWriter(to, flate.BestSpeed) })
	add := func(name string, content io.Reader) {
		to, err := w.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.Copy(to, content); err != nil {
			t.Fatal(err)
		}
	}
	archive, err := zip.NewReader(bytes.NewReader(base), int64(len(base)))
	if err != nil {
		t.Fatal(err)
	}
	replaced := map[string]bool{}
	for _, p := range parts {
		replaced[p.name] = true
	}
	for _, f := range archive.File {
		if !replaced[f.Name] {
			add(f.Name, bytes.NewReader(zipPart(t, f)))
		}
	}
	for _, p := range parts {
		add(p.name, io.MultiReader(strings.NewReader(p.before), repeated(p.unit, p.length), strings.NewReader(p.after)))
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

type zipPartOf struct {
	name, before, unit, after string
	length                    int64
}

// TestZipBombs: small workbooks that unpack to much, or make much work of little.
func TestZipBombs(t *testing.T) {
	sound := table{header: []string{"technician_id", "name"}, rows: [][]any{{"T1", "a"}}}.xlsx(t, "technicians")
	sheet := strings.SplitAfter(sheetXML(""), "<sheetData>")
	texts := []string{`<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">`, "</sst>"}
	wide, narrow := `<row><c r="XFD1"><v>1</v></c></row>`, "<si/>"
	many := make([]zipPartOf, 18)
	for i := range many {
		many[i] = zipPartOf{name: fmt.Sprintf("xl/media/image%d.png", i), unit: "\x00", length: 15 << 20}
	}
	for _, test := range []struct {
		name, cause string
		content     []byte
	}{
		{"a large part", "unpacks to more", zipOf(t, sound, zipPartOf{name: "xl/media/image.png", unit: "\x00", length: maxOtherPart + 1})},
		{"many parts of some size", "unpacks to more", zipOf(t, sound, many...)},
		{"a sheet of blanks", "unpacks to more", zipOf(t, sound, zipPartOf{sheetPart, sheet[0], " ", sheet[1], 100 << 20})},
		{"rows that reach to the last column", "more columns", zipOf(t, sound, zipPartOf{sheetPart, sheet[0], wide, sheet[1], int64(len(wide)) * 400_000})},
		{"millions of texts", "more texts", zipOf(t, sound, zipPartOf{stringsPart, texts[0], narrow, texts[1], int64(len(narrow)) * (maxStrings + 1)})},
		{"a size that is not true", "", lying(t, sound)},
	} {
		within(t, test.name, 400<<20, 40*time.Second, func() {
			out, err := readText(t, "technicians.xlsx", string(test.content))
			if err == nil || !strings.Contains(err.Error(), test.cause) {
				t.Errorf("%s, %d bytes: %v; want %q; %d rows", test.name, len(test.content), err, test.cause, out.Summary.Rows)
			}
			checkMessages(t, nil, err)
		})
	}
}

// lying is a workbook whose sheet says that it unpacks to 10 bytes.
func lying(t *testing.T, sound []byte) []byte {
	t.Helper()
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	archive, err := zip.NewReader(bytes.NewReader(sound), int64(len(sound)))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range archive.File {
		raw, err := f.OpenRaw()
		if err != nil {
			t.Fatal(err)
		}
		head := f.FileHeader
		if f.Name == sheetPart {
			head.UncompressedSize64 = 10
		}
		to, err := w.CreateRaw(&head)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.Copy(to, raw); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// TestWorkbookPointsElsewhere: links to other books and paths out of the book's own folder lead nowhere, and leave nothing.
func TestWorkbookPointsElsewhere(t *testing.T) {
	dir := t.TempDir()
	t.Chdir(dir)
	t.Setenv("TMPDIR", dir)
	sound := table{header: []string{"technician_id", "name"}, rows: [][]any{{"T1", "a"}}}.xlsx(t, "technicians")
	link := `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/externalLinkPath" Target="file:///etc/passwd" TargetMode="External"/></Relationships>`
	formula := sheetXML(textRow(1, "technician_id", "name") + `<row r="2"><c r="A2" t="str"><f>[1]Sheet1!A1</f><v>T2</v></c><c r="B2" t="str"><f>WEBSERVICE("http://192.0.2.1/")</f><v>saved</v></c></row>`)
	content := zipOf(t, sound,
		zipPartOf{name: sheetPart, before: formula}, zipPartOf{name: "xl/externalLinks/externalLink1.xml", before: `<externalLink xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"/>`},
		zipPartOf{name: "xl/externalLinks/_rels/externalLink1.xml.rels", before: link}, zipPartOf{name: "../../evil.xml", before: "<evil/>"}, zipPartOf{name: "/evil.txt", before: "evil"}, zipPartOf{name: `..\evil.bin`, before: "evil"})
	if err := os.WriteFile("technicians.xlsx", content, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := readFile(t, "technicians.xlsx")
	if got := strings.Join(techRows(out), " "); err != nil || got != "2 T2|saved" {
		t.Errorf("%q, %v", got, err)
	}
	entries, err := os.ReadDir(dir)
	if err != nil || len(entries) != 1 {
		t.Errorf("left %v, %v", entries, err)
	}
}
