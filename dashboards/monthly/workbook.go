package monthly

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strings"

	"github.com/xuri/excelize/v2"

	"scanledger/dashboards"
	"scanledger/ingest/store"
	"scanledger/queries"
)

// sheets are the results in the workbook, by whom it is for.
var sheets = map[string][]string{
	dashboards.ForOwner: {"month_counts", "trend", "detection", "accuracy", "gain_guidance", "false_alarm_patterns", "missed_patterns", "season", "unit_health", "data_quality"},
	dashboards.ForAuditor: {"month_counts", "accuracy", "technician_consistency", "technician_drift", "technician_agreement", "protocol", "protocol_breaches", "open_matters", "unit_health",
		"flagged_inspections", "audit_sample", "data_quality", "reject_rules"},
}

// sheetNames are those for someone; for all, both lists without repeats.
func sheetNames(who string) []string {
	if who != dashboards.ForAll {
		return sheets[who]
	}
	out := slices.Clone(sheets[dashboards.ForOwner])
	for _, name := range sheets[dashboards.ForAuditor] {
		if !slices.Contains(out, name) {
			out = append(out, name)
		}
	}
	return out
}

// mostRows bounds a sheet; the results of a build hold all rows.
const mostRows = 20_000

// workbook makes the issue as XLSX: a sheet of figures, one of changes, one a result, and one of notes. Numbers are numbers;
// text that a spreadsheet could take for a formula is made inert.
func workbook(i Issue, b *queries.Book) (_ []byte, err error) {
	book := excelize.NewFile()
	defer func() {
		if closed := book.Close(); err == nil {
			err = closed
		}
	}()
	w := writer{book: book}
	if w.head, err = book.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}, Border: []excelize.Border{{Type: "bottom", Style: 1, Color: "000000"}}}); err != nil {
		return nil, err
	}
	if err := book.SetSheetName("Sheet1", "figures"); err != nil {
		return nil, err
	}
	w.sheet("figures", figureColumns, figureRows(i))
	if i.Restates != "" {
		w.sheet("changes", []string{"figure", "issued", "issued_of", "now", "now_of", "because"}, changeRows(i))
	}
	notes := [][]any{{"figures", "", "Figures of " + i.Month + " as of " + i.AsOf + ", beside those of the month before and of the same month a year ago. A clear reading never proves absence."}}
	for _, name := range sheetNames(i.For) {
		r := b.Result(name)
		columns, cells := ofMonth(r, i.Month)
		w.sheet(name, columns, cells[:min(len(cells), mostRows)])
		notes = append(notes, noteRows(r, columns, len(cells))...)
	}
	w.sheet("notes", []string{"sheet", "column", "meaning"}, notes)
	if w.err != nil {
		return nil, fmt.Errorf("make workbook: %w", w.err)
	}
	var out bytes.Buffer
	if err := book.Write(&out); err != nil {
		return nil, err
	}
	return inOrder(out.Bytes())
}

// inOrder packs the parts of a workbook anew in order of their names: the library writes its sheets in any order, and the
// same input must give the same bytes.
func inOrder(packed []byte) ([]byte, error) {
	in, err := zip.NewReader(bytes.NewReader(packed), int64(len(packed)))
	if err != nil {
		return nil, err
	}
	slices.SortFunc(in.File, func(a, b *zip.File) int { return strings.Compare(a.Name, b.Name) })
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	for _, part := range in.File {
		if err := repack(w, part); err != nil {
			return nil, err
		}
	}
	err = w.Close()
	return out.Bytes(), err
}

func repack(w *zip.Writer, part *zip.File) error {
	content, err := part.Open()
	if err != nil {
		return err
	}
	to, err := w.Create(part.Name)
	if err != nil {
		return errors.Join(err, content.Close())
	}
	_, err = io.Copy(to, content) //nolint:gosec // our own workbook, of bounded size
	return errors.Join(err, content.Close())
}

// ofMonth are the rows of a result; where they have a date, those of the month.
func ofMonth(r queries.Result, month string) (columns []string, cells [][]any) {
	rows := reflect.ValueOf(r.Rows)
	columns = queries.Columns(rows.Type().Elem())
	date := slices.Index(columns, "date")
	for k := range rows.Len() {
		row := queries.Values(rows.Index(k).Interface())
		if date < 0 || strings.HasPrefix(fmt.Sprint(row[date]), month) {
			cells = append(cells, row)
		}
	}
	return columns, cells
}

func noteRows(r queries.Result, columns []string, rows int) [][]any {
	out := [][]any{{r.Analysis, "", r.Question + " There is " + r.Query.Grain + "."}}
	if slices.Contains(columns, "date") {
		out = append(out, []any{r.Analysis, "", "Rows dated in the month only."})
	}
	if rows > mostRows {
		out = append(out, []any{r.Analysis, "", fmt.Sprintf("The first %d of %d rows; results/%s.csv of a build holds all.", mostRows, rows, r.Analysis)})
	}
	for _, c := range r.Query.Columns {
		out = append(out, []any{r.Analysis, c.Name, c.Meaning})
	}
	for _, note := range r.Notes {
		out = append(out, []any{r.Analysis, "", note})
	}
	return out
}

var figureColumns = []string{"figure", "kind", "value", "low", "high", "events", "of", "before", "before_low", "before_high", "change", "change_low", "change_high",
	"year_ago", "year_ago_low", "year_ago_high", "year_change", "year_change_low", "year_change_high"}

func figureRows(i Issue) [][]any {
	var out [][]any
	for _, f := range i.Figures {
		row := []any{f.Title, f.Kind, f.Now.Value, f.Now.Low, f.Now.High, f.Now.Events, f.Now.Of}
		for _, c := range []queries.ComparedWith{f.Before, f.Year} {
			row = append(row, c.Value, c.Low, c.High, c.Change, c.ChangeLow, c.ChangeHigh)
		}
		out = append(out, row)
	}
	return out
}

func changeRows(i Issue) [][]any {
	var out [][]any
	for _, c := range i.Changes {
		out = append(out, []any{c.Title, c.From.Value, c.From.Of, c.To.Value, c.To.Of, dashboards.BecauseText(c.Because)})
	}
	return out
}

// writer writes sheets; after an error it writes nothing more.
type writer struct {
	book *excelize.File
	head int // style of a heading
	err  error
}

// sheet writes a sheet with a frozen heading.
func (w *writer) sheet(name string, columns []string, rows [][]any) {
	if w.err == nil {
		w.err = w.write(name, columns, rows)
	}
}

func (w *writer) write(name string, columns []string, rows [][]any) error {
	if _, err := w.book.NewSheet(name); err != nil {
		return err
	}
	out, err := w.book.NewStreamWriter(name)
	if err != nil {
		return err
	}
	for i, c := range columns {
		if err := out.SetColWidth(i+1, i+1, width(c, i, rows)); err != nil {
			return err
		}
	}
	if err := out.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return err
	}
	heading := make([]any, len(columns))
	for i, c := range columns {
		heading[i] = excelize.Cell{StyleID: w.head, Value: c}
	}
	if err := out.SetRow("A1", heading); err != nil {
		return err
	}
	for n, row := range rows {
		cells := make([]any, len(row))
		for i, v := range row {
			cells[i] = plain(v)
		}
		if err := out.SetRow(fmt.Sprintf("A%d", n+2), cells); err != nil {
			return err
		}
	}
	return out.Flush()
}

// plain is a value as a sheet holds it: a number, a truth value, inert text, or nothing where it is not known.
func plain(v any) any {
	switch v := v.(type) {
	case queries.Figure:
		if !v.Known() {
			return nil
		}
		return float64(v)
	case string:
		return store.Inert(v)
	}
	return v
}

// widest is the widest a column gets, in characters.
const widest = 60

// width fits a column to its heading and the text of its first rows.
func width(column string, i int, rows [][]any) float64 {
	longest := len(column)
	for _, row := range rows[:min(len(rows), 200)] {
		if s, ok := row[i].(string); ok {
			longest = max(longest, len(s))
		}
	}
	return float64(min(longest, widest) + 2)
}
