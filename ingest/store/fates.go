package store

import (
	"fmt"

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
	out, err := newTable(path, fateSchema, func(b *array.RecordBuilder, f Fate) {
		b.Field(0).(*array.Int32Builder).Append(int32(t.Load))
		b.Field(2).(*array.Int32Builder).Append(int32(f.File))
		b.Field(3).(*array.Int64Builder).Append(f.Line)
		b.Field(5).(*array.BooleanBuilder).Append(f.Held)
		appendTexts(b, []int{1, 4, 6, 7, 8, 9}, f.RecordSet, f.Fate, f.Column, f.Rule, f.Value, f.Message)
	})
	return &FateFile{out, path}, err
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
