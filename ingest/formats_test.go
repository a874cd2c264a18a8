package ingest

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/memory"
	"github.com/apache/arrow-go/v18/parquet"
	"github.com/apache/arrow-go/v18/parquet/compress"
	"github.com/apache/arrow-go/v18/parquet/pqarrow"
	"github.com/xuri/excelize/v2"
)

// moment is a timestamp in microseconds since 1970-01-01 UTC; local ones carry no offset.
type moment struct {
	micros int64
	local  bool
}

// calendarDay is a date in days since 1970-01-01.
type calendarDay int64

// table is what a writer gets: cells are nil, string, int64, float64, bool, moment or calendarDay.
type table struct {
	header []string
	rows   [][]any
}

// asText is how text formats write a cell.
func asText(v any) string {
	switch v := v.(type) {
	case nil:
		return ""
	case moment:
		return string(appendTimestamp(nil, v.micros, v.local))
	case calendarDay:
		return string(appendDate(nil, int64(v)))
	default:
		return fmt.Sprint(v)
	}
}

func (tb table) csv(t testing.TB) []byte {
	t.Helper()
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	lines := [][]string{tb.header}
	for _, row := range tb.rows {
		var line []string
		for _, v := range row {
			line = append(line, asText(v))
		}
		lines = append(lines, line)
	}
	if err := w.WriteAll(lines); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func (tb table) jsonl(t testing.TB) []byte {
	t.Helper()
	var b bytes.Buffer
	encoder := json.NewEncoder(&b)
	for _, row := range tb.rows {
		object := map[string]any{}
		for i, v := range row {
			switch v.(type) {
			case moment, calendarDay:
				object[tb.header[i]] = asText(v)
			default:
				object[tb.header[i]] = v
			}
		}
		if err := encoder.Encode(object); err != nil {
			t.Fatal(err)
		}
	}
	return b.Bytes()
}

// xlsx writes dates and local times as serial dates with a date style, as spreadsheets do.
func (tb table) xlsx(t testing.TB, sheet string) []byte {
	t.Helper()
	book := excelize.NewFile()
	defer func() { _ = book.Close() }()
	if err := book.SetSheetName("Sheet1", sheet); err != nil {
		t.Fatal(err)
	}
	set := func(column, row int, v any) {
		name, err := excelize.CoordinatesToCellName(column, row)
		if err != nil {
			t.Fatal(err)
		}
		if err := book.SetCellValue(sheet, name, v); err != nil {
			t.Fatal(err)
		}
	}
	for c, name := range tb.header {
		set(c+1, 1, name)
	}
	for r, row := range tb.rows {
		for c, v := range row {
			switch v := v.(type) {
			case nil:
			case calendarDay:
				set(c+1, r+2, time.Unix(int64(v)*86400, 0).UTC())
			case moment:
				if v.local {
					set(c+1, r+2, time.UnixMicro(v.micros).UTC())
				} else {
					set(c+1, r+2, asText(v))
				}
			default:
				set(c+1, r+2, v)
			}
		}
	}
	content, err := book.WriteToBuffer()
	if err != nil {
		t.Fatal(err)
	}
	return content.Bytes()
}

// parquet gives each column the type of its first value; columns must not mix types.
func (tb table) parquet(t testing.TB) []byte {
	t.Helper()
	return tb.parquetPacked(t, 3, compress.Codecs.Snappy)
}

func (tb table) parquetPacked(t testing.TB, rowGroup int64, codec compress.Compression) []byte {
	t.Helper()
	var fields []arrow.Field
	for c, name := range tb.header {
		fields = append(fields, arrow.Field{Name: name, Type: tb.columnType(c), Nullable: true})
	}
	builder := array.NewRecordBuilder(memory.DefaultAllocator, arrow.NewSchema(fields, nil))
	defer builder.Release()
	for _, row := range tb.rows {
		for c, v := range row {
			appendTo(builder.Field(c), v)
		}
	}
	return writeParquet(t, builder.NewRecordBatch(), rowGroup, codec)
}

func (tb table) columnType(c int) arrow.DataType {
	for _, row := range tb.rows {
		switch v := row[c].(type) {
		case string:
			return arrow.BinaryTypes.String
		case int64:
			return arrow.PrimitiveTypes.Int64
		case float64:
			return arrow.PrimitiveTypes.Float64
		case bool:
			return arrow.FixedWidthTypes.Boolean
		case calendarDay:
			return arrow.FixedWidthTypes.Date32
		case moment:
			if v.local {
				return &arrow.TimestampType{Unit: arrow.Microsecond}
			}
			return &arrow.TimestampType{Unit: arrow.Microsecond, TimeZone: "UTC"}
		}
	}
	return arrow.BinaryTypes.String
}

func appendTo(builder array.Builder, v any) {
	switch v := v.(type) {
	case nil:
		builder.AppendNull()
	case string:
		builder.(*array.StringBuilder).Append(v)
	case int64:
		builder.(*array.Int64Builder).Append(v)
	case float64:
		builder.(*array.Float64Builder).Append(v)
	case bool:
		builder.(*array.BooleanBuilder).Append(v)
	case calendarDay:
		builder.(*array.Date32Builder).Append(arrow.Date32(v))
	case moment:
		builder.(*array.TimestampBuilder).Append(arrow.Timestamp(v.micros))
	}
}

// writeParquet writes one record batch in row groups of the given size and releases it.
func writeParquet(t testing.TB, batch arrow.RecordBatch, rowGroup int64, codec compress.Compression) []byte {
	t.Helper()
	defer batch.Release()
	rows := array.NewTableFromRecords(batch.Schema(), []arrow.RecordBatch{batch})
	defer rows.Release()
	var b bytes.Buffer
	props := parquet.NewWriterProperties(parquet.WithCompression(codec))
	arrowProps := pqarrow.NewArrowWriterProperties(pqarrow.WithStoreSchema())
	if err := pqarrow.WriteTable(rows, &b, rowGroup, props, arrowProps); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}
