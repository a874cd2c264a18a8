package ingest

import (
	"archive/zip"
	"bytes"
	"errors"
	"slices"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"
)

// workbook builds a file by a function that may fail.
func workbook(t *testing.T, fill func(book *excelize.File) error) []byte {
	t.Helper()
	book := excelize.NewFile()
	defer func() { _ = book.Close() }()
	if err := fill(book); err != nil {
		t.Fatal(err)
	}
	content, err := book.WriteToBuffer()
	if err != nil {
		t.Fatal(err)
	}
	return content.Bytes()
}

func setRows(book *excelize.File, sheet string, first int, rows ...[]any) error {
	for i, row := range rows {
		name, err := excelize.CoordinatesToCellName(1, first+i)
		if err != nil {
			return err
		}
		if err := book.SetSheetRow(sheet, name, &row); err != nil {
			return err
		}
	}
	return nil
}

func TestXLSXChoosesSheetAndCountsRows(t *testing.T) {
	content := workbook(t, func(book *excelize.File) error {
		_, err := book.NewSheet("Technicians")
		return errors.Join(err,
			setRows(book, "Sheet1", 1, []any{"nothing"}),
			setRows(book, "Technicians", 3, []any{"technician_id", "name", "", "Note"}, []any{7, "a", "stray"}),
			setRows(book, "Technicians", 7, []any{"T2"}))
	})
	out := mustRead(t, "technicians.xlsx", string(content))
	if got := techRows(out); !slices.Equal(got, []string{"4 7|a", "7 T2|"}) {
		t.Errorf("%q", got)
	}
	if !slices.Equal(out.Summary.ExtraColumns, []string{"note"}) {
		t.Errorf("%q", out.Summary.ExtraColumns)
	}
}

// TestXLSXCells: formulas count with their saved value, error values are rejected, dates are read
// by the column and not by the display.
func TestXLSXCells(t *testing.T) {
	for _, date1904 := range []bool{false, true} {
		serial := 46023.0 // 2026-01-01
		if date1904 {
			serial -= from1904
		}
		content := workbook(t, func(book *excelize.File) error {
			return errors.Join(
				book.SetWorkbookProps(&excelize.WorkbookPropsOptions{Date1904: &date1904}),
				setRows(book, "Sheet1", 1,
					[]any{"technician_id", "name", "started_on"},
					[]any{"T1", "a", serial},
					[]any{"T2", "b", serial + 0.5},
					[]any{"#N/A", "#VALUE!", "2026-01-01"},
					[]any{"T4", "", "46023 days"}))
		})
		out := mustRead(t, "technicians.xlsx", string(content))
		want := []string{"2 T1|a", "3 !type", "4 !type", "4 !type", "5 !type"}
		if got := techRows(out); !slices.Equal(got, want) || out.Batch.Cols[2].Int[0] != daysFromCivil(2026, 1, 1) {
			t.Errorf("1904: %v: %q", date1904, got)
		}
	}
}

// TestXLSXFormula puts a saved value beside a formula, as spreadsheet programs do.
func TestXLSXFormula(t *testing.T) {
	content := rewrite(t, workbook(t, func(book *excelize.File) error {
		return setRows(book, "Sheet1", 1, []any{"unit_id", "gain_min", "gain_max", "gain_start"}, []any{"U1", 1, 424242, 1})
	}), "xl/worksheets/sheet1.xml", func(s string) string {
		return strings.Replace(s, "<v>424242</v>", "<f>B2+9</f><v>10</v>", 1)
	})
	out := mustRead(t, "units.xlsx", string(content))
	if out.Summary.Rejected != 0 || out.Batch.Cols[3].Int[0] != 10 {
		t.Errorf("%+v %+v", out.Batch, out.Rejects)
	}
}

// rewrite changes one part of a zip file.
func rewrite(t *testing.T, content []byte, part string, change func(string) string) []byte {
	t.Helper()
	return repack(t, openZip(t, content), zip.Deflate, part, func(raw []byte) []byte { return []byte(change(string(raw))) })
}

func openZip(t *testing.T, content []byte) *zip.Reader {
	t.Helper()
	archive, err := zip.NewReader(bytes.NewReader(content), int64(len(content)))
	if err != nil {
		t.Fatal(err)
	}
	return archive
}

// repack packs a zip file again, with one part changed.
func repack(t *testing.T, archive *zip.Reader, method uint16, part string, change func(raw []byte) []byte) []byte {
	t.Helper()
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	for _, f := range archive.File {
		raw := zipPart(t, f)
		if f.Name == part {
			raw = change(raw)
		}
		to, err := w.CreateHeader(&zip.FileHeader{Name: f.Name, Method: method})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := to.Write(raw); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// TestXLSXDamage: what a row iterator would take for the end of the sheet is an error.
func TestXLSXDamage(t *testing.T) {
	sound := seedTable.xlsx(t, "readings")
	sheet, strs := "xl/worksheets/sheet1.xml", "xl/sharedStrings.xml"
	tests := map[string][]byte{
		"cut sheet":     rewrite(t, sound, sheet, func(s string) string { return s[:len(s)/2] }),
		"broken tag":    rewrite(t, sound, sheet, func(s string) string { return strings.Replace(s, "</row>", "</rov>", 1) }),
		"deep nesting":  rewrite(t, sound, strs, func(string) string { return strings.Repeat("<a>", 1000) }),
		"packed filler": rewrite(t, sound, sheet, func(s string) string { return s + strings.Repeat(" ", inMemoryPart) }),
		"no sheet list": rewrite(t, sound, "xl/workbook.xml", func(string) string { return "" }),
		"cut file":      sound[:len(sound)-10],
	}
	for name, content := range tests {
		_, err := readText(t, "readings.xlsx", string(content))
		if _, ok := errors.AsType[*FileError](err); !ok {
			t.Errorf("%s: %v", name, err)
		}
	}
}
