package store

import (
	"encoding/csv"
	"errors"
	"fmt"
	"os"
	"strconv"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"
)

// Fate says what became of one row in one load. A row without an entry is accepted and held.
type Fate struct {
	RecordSet string
	File      int
	Line      int64
	Fate      string // accepted, duplicate, corrected, waiting or rejected
	Held      bool   // the row is the one that counts for its key
	Column    string // for waiting and rejected rows, the first broken rule
	Rule      string
	Value     string
	Message   string
}

// RejectRow is one broken rule of one row, for the people who mend files.
type RejectRow struct {
	FileName  string
	RecordSet string
	Line      int64
	Column    string
	Rule      string
	Value     string
	Message   string
}

func textField(name string) arrow.Field {
	return arrow.Field{Name: name, Type: arrow.BinaryTypes.String, Nullable: true}
}

var fateSchema = arrow.NewSchema([]arrow.Field{
	{Name: "load", Type: arrow.PrimitiveTypes.Int32, Nullable: true},
	textField("record_set"),
	{Name: "file", Type: arrow.PrimitiveTypes.Int32, Nullable: true},
	{Name: "line", Type: arrow.PrimitiveTypes.Int64, Nullable: true},
	textField("fate"),
	{Name: "held", Type: arrow.FixedWidthTypes.Boolean, Nullable: true},
	textField("column"), textField("rule"), textField("value"), textField("message"),
}, nil)

var rejectSchema = arrow.NewSchema([]arrow.Field{
	textField("file"), textField("record_set"),
	{Name: "line", Type: arrow.PrimitiveTypes.Int64, Nullable: true},
	textField("column"), textField("rule"), textField("value"), textField("message"),
}, nil)

// WriteFates stages the load's fates, given in order of record set, file and line.
func (t *Txn) WriteFates(fates []Fate) error {
	part := Part{Kind: Fates, Path: fmt.Sprintf("%s/load-%06d.parquet", Fates, t.Load), Rows: int64(len(fates))}
	path := t.StagePath("fates.parquet")
	if err := fateTable(path, t.Load, fates); err != nil {
		return err
	}
	return t.Add(part, path)
}

// ScratchFates writes fates to a scratch file of the stage, for SQL to read, and returns its path.
func (t *Txn) ScratchFates(fates []Fate) (string, error) {
	t.parts++
	path := t.StagePath(fmt.Sprintf("fates-%d.parquet", t.parts))
	return path, fateTable(path, t.Load, fates)
}

func fateTable(path string, load int, fates []Fate) error {
	return writeTable(path, fateSchema, fates, func(b *array.RecordBuilder, f Fate) {
		b.Field(0).(*array.Int32Builder).Append(int32(load))
		b.Field(2).(*array.Int32Builder).Append(int32(f.File))
		b.Field(3).(*array.Int64Builder).Append(f.Line)
		b.Field(5).(*array.BooleanBuilder).Append(f.Held)
		appendTexts(b, []int{1, 4, 6, 7, 8, 9}, f.RecordSet, f.Fate, f.Column, f.Rule, f.Value, f.Message)
	})
}

// WriteRejects stages the load's rejects as Parquet and as CSV.
func (t *Txn) WriteRejects(rows []RejectRow) error {
	base := fmt.Sprintf("%s/load-%06d", Rejects, t.Load)
	for _, form := range rejectForms {
		path := t.StagePath("rejects" + form.ending)
		if err := form.write(path, rows); err != nil {
			return err
		}
		if err := t.Add(Part{Kind: Rejects, Path: base + form.ending, Rows: int64(len(rows))}, path); err != nil {
			return err
		}
	}
	return nil
}

// rejectForms are the two files that the rejects of a load are kept in.
var rejectForms = []struct {
	ending string
	write  func(path string, rows []RejectRow) error
}{{".parquet", rejectTable}, {".csv", rejectCSV}}

func rejectTable(path string, rows []RejectRow) error {
	return writeTable(path, rejectSchema, rows, func(b *array.RecordBuilder, r RejectRow) {
		b.Field(2).(*array.Int64Builder).Append(r.Line)
		appendTexts(b, []int{0, 1, 3, 4, 5, 6}, r.FileName, r.RecordSet, r.Column, r.Rule, r.Value, r.Message)
	})
}

func appendTexts(b *array.RecordBuilder, at []int, values ...string) {
	for i, v := range values {
		b.Field(at[i]).(*array.StringBuilder).Append(v)
	}
}

// writeTable writes rows to a Parquet file.
func writeTable[R any](path string, schema *arrow.Schema, rows []R, add func(*array.RecordBuilder, R)) error {
	w, err := newPartWriter(path, schema)
	if err != nil {
		return partError(path, err)
	}
	for _, r := range rows {
		add(w.rows, r)
		if err := w.rowDone(); err != nil {
			return partError(path, errors.Join(err, w.close()))
		}
	}
	return partError(path, w.close())
}

func rejectCSV(path string, rows []RejectRow) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return partError(path, err)
	}
	w := csv.NewWriter(f)
	err = w.Write([]string{"file", "record_set", "line", "column", "rule", "value", "message"})
	for _, r := range rows {
		err = errors.Join(err, w.Write([]string{Inert(r.FileName), r.RecordSet, strconv.FormatInt(r.Line, 10),
			Inert(r.Column), r.Rule, Inert(r.Value), Inert(r.Message)}))
	}
	w.Flush()
	return partError(path, errors.Join(err, w.Error(), f.Close()))
}

// Inert makes a text harmless to a spreadsheet: one that could be read as a formula is quoted.
// (Common practice against formula injection, no source.)
func Inert(s string) string {
	if s == "" {
		return s
	}
	switch s[0] {
	case '=', '+', '-', '@', '\t', '\r':
		return "'" + s
	}
	return s
}
