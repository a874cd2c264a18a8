package ingest

import (
	"bytes"
	"compress/gzip"
	"errors"
	"slices"
	"strings"
	"testing"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/decimal128"
	"github.com/apache/arrow-go/v18/arrow/memory"
	"github.com/apache/arrow-go/v18/parquet/compress"
)

// unitLog builds a unit_log file of one row with the given type for each column.
func unitLog(t *testing.T, types map[string]arrow.DataType, fill func(*array.RecordBuilder)) []byte {
	t.Helper()
	text := arrow.BinaryTypes.String
	var fields []arrow.Field
	for _, name := range []string{"unit_id", "logged_at", "sensing", "gain", "level_pct"} {
		field := arrow.Field{Name: name, Type: text, Nullable: true}
		if other, ok := types[name]; ok {
			field.Type = other
		}
		fields = append(fields, field)
	}
	builder := array.NewRecordBuilder(memory.DefaultAllocator, arrow.NewSchema(fields, nil))
	defer builder.Release()
	fill(builder)
	return writeParquet(t, builder.NewRecordBatch(), 100, compress.Codecs.Snappy)
}

func TestParquetTypes(t *testing.T) {
	dictionary := &arrow.DictionaryType{IndexType: arrow.PrimitiveTypes.Int32, ValueType: arrow.BinaryTypes.String}
	content := unitLog(t, map[string]arrow.DataType{
		"unit_id":   dictionary,
		"logged_at": &arrow.TimestampType{Unit: arrow.Nanosecond, TimeZone: "Australia/Sydney"},
		"sensing":   arrow.PrimitiveTypes.Uint8,
		"gain":      arrow.PrimitiveTypes.Float32,
		"level_pct": &arrow.Decimal128Type{Precision: 10, Scale: 2},
	}, func(b *array.RecordBuilder) {
		if err := b.Field(0).(*array.BinaryDictionaryBuilder).AppendString("U1"); err != nil {
			t.Fatal(err)
		}
		b.Field(1).(*array.TimestampBuilder).Append(1_767_225_600_123_456_789)
		b.Field(2).(*array.Uint8Builder).Append(1)
		b.Field(3).(*array.Float32Builder).Append(5)
		b.Field(4).(*array.Decimal128Builder).Append(decimal128.FromI64(1234))
	})
	out := mustRead(t, "unit_log.parquet", string(content))
	if out.Summary.Rejected != 0 {
		t.Fatalf("%+v", out.Rejects)
	}
	cols := out.Batch.Cols
	if cols[0].Text.At(0) != "U1" || cols[1].Int[0] != 1_767_225_600_123_456 || cols[1].Local[0] || !cols[2].Bool[0] ||
		cols[3].Int[0] != 5 || cols[4].Num[0] != 12.34 || out.Batch.Lines[0] != 1 {
		t.Errorf("%+v", out.Batch)
	}
}

func TestParquetRefusesTypes(t *testing.T) {
	list := arrow.ListOf(arrow.PrimitiveTypes.Int64)
	for column, kinds := range map[string][]arrow.DataType{
		"unit_id":   {arrow.PrimitiveTypes.Float64, arrow.FixedWidthTypes.Date32, arrow.FixedWidthTypes.Boolean, list},
		"logged_at": {arrow.PrimitiveTypes.Int64, arrow.FixedWidthTypes.Date32},
		"sensing":   {arrow.PrimitiveTypes.Float64},
		"gain":      {arrow.FixedWidthTypes.Boolean, arrow.FixedWidthTypes.Timestamp_us},
		"level_pct": {arrow.FixedWidthTypes.Date32, list},
	} {
		for _, kind := range kinds {
			content := unitLog(t, map[string]arrow.DataType{column: kind}, func(*array.RecordBuilder) {})
			_, err := readText(t, "unit_log.parquet", string(content))
			fileErr, ok := errors.AsType[*FileError](err)
			if !ok || !strings.Contains(fileErr.Error(), column) {
				t.Errorf("%s as %s: %v", column, kind, err)
			}
		}
	}
}

// TestParquetValues: a null in a required column and bytes that are no text are rejects.
func TestParquetValues(t *testing.T) {
	tb := table{header: []string{"technician_id", "strange", "name"}, rows: [][]any{{nil, int64(1), "a"}, {"T2", nil, "b"}, {"\xff", nil, nil}}}
	out := mustRead(t, "technicians.parquet", string(tb.parquet(t)))
	if got := techRows(out); !slices.Equal(got, []string{"1 !required", "2 T2|b", "3 !utf8"}) {
		t.Errorf("%q", got)
	}
	if !slices.Equal(out.Summary.ExtraColumns, []string{"strange"}) {
		t.Errorf("%q", out.Summary.ExtraColumns)
	}
}

func TestParquetEmptyAndGzipped(t *testing.T) {
	empty := table{header: []string{"technician_id"}}
	if out := mustRead(t, "technicians.parquet", string(empty.parquet(t))); out.Summary.Rows != 0 {
		t.Errorf("%+v", out.Summary)
	}
	var packed bytes.Buffer
	w := gzip.NewWriter(&packed)
	if _, err := w.Write(seedTable.parquet(t)); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	out := mustRead(t, "readings.parquet.gz", packed.String())
	if out.Summary.Rows != 2 || out.Summary.Rejected != 1 {
		t.Errorf("%+v %+v", out.Summary, out.Rejects)
	}
	_, err := readText(t, "readings.parquet.gz", packed.String()[:packed.Len()/2])
	if _, ok := errors.AsType[*FileError](err); !ok {
		t.Errorf("cut short: %v", err)
	}
}

// TestParquetCutAnywhere: no start of a file passes for a whole one.
func TestParquetCutAnywhere(t *testing.T) {
	content := seedTable.parquet(t)
	for cut := 0; cut < len(content); cut += 37 {
		_, err := readText(t, "readings.parquet", string(content[:cut]))
		if _, ok := errors.AsType[*FileError](err); !ok {
			t.Fatalf("cut at %d: %v", cut, err)
		}
	}
}
