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

// FateFile is a table of fates that is being written.
type FateFile struct {
	*table[Fate]
	Path string
}

// ScratchFates begins a file of fates in the stage, for SQL to read once it is closed.
func (t *Txn) ScratchFates() (*FateFile, error) {
	t.parts++
	return t.fateFile(fmt.Sprintf("fates-%d.parquet", t.parts))
}

func (t *Txn) fateFile(name string) (*FateFile, error) {
	path := t.StagePath(name)
	out, err := newTable(path, fateSchema, addFate(t.Load))
	return &FateFile{out, path}, err
}

// fateTable writes the fates of a load to a file.
func fateTable(path string, load int, fates []Fate) error {
	return writeTable(path, fateSchema, fates, addFate(load))
}

func addFate(load int) func(b *array.RecordBuilder, f Fate) {
	return func(b *array.RecordBuilder, f Fate) {
		b.Field(0).(*array.Int32Builder).Append(int32(load))
		b.Field(2).(*array.Int32Builder).Append(int32(f.File))
		b.Field(3).(*array.Int64Builder).Append(f.Line)
		b.Field(5).(*array.BooleanBuilder).Append(f.Held)
		appendTexts(b, []int{1, 4, 6, 7, 8, 9}, f.RecordSet, f.Fate, f.Column, f.Rule, f.Value, f.Message)
	}
}

// rejectForms are the two files that the rejects of a load are kept in.
var rejectForms = []struct {
	ending string
	write  func(path string, rows []RejectRow) error
}{{".parquet", rejectTable}, {".csv", rejectCSV}}

func rejectTable(path string, rows []RejectRow) error {
	return writeTable(path, rejectSchema, rows, addReject)
}

func rejectCSV(path string, rows []RejectRow) error {
	f, err := newRejectLines(path)
	if err != nil {
		return err
	}
	for _, r := range rows {
		err = errors.Join(err, f.write(r))
	}
	return errors.Join(err, f.close())
}

// rejectLines is the CSV file of a load's rejects, being written.
type rejectLines struct {
	path string
	file *os.File
	csv  *csv.Writer // of file
}

func newRejectLines(path string) (rejectLines, error) {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return rejectLines{}, partError(path, err)
	}
	l := rejectLines{path, f, csv.NewWriter(f)}
	return l, partError(path, l.csv.Write([]string{"file", "record_set", "line", "column", "rule", "value", "message"}))
}

func (l rejectLines) write(r RejectRow) error {
	return partError(l.path, l.csv.Write([]string{Inert(r.FileName), r.RecordSet, strconv.FormatInt(r.Line, 10),
		Inert(r.Column), r.Rule, Inert(r.Value), Inert(r.Message)}))
}

func (l rejectLines) close() error {
	l.csv.Flush()
	return partError(l.path, errors.Join(l.csv.Error(), l.file.Close()))
}

func addReject(b *array.RecordBuilder, r RejectRow) {
	b.Field(2).(*array.Int64Builder).Append(r.Line)
	appendTexts(b, []int{0, 1, 3, 4, 5, 6}, r.FileName, r.RecordSet, r.Column, r.Rule, r.Value, r.Message)
}

func appendTexts(b *array.RecordBuilder, at []int, values ...string) {
	for i, v := range values {
		b.Field(at[i]).(*array.StringBuilder).Append(v)
	}
}
