package demo

import (
	"fmt"
	"io"
	"strconv"
	"time"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/memory"
	"github.com/apache/arrow-go/v18/parquet"
	"github.com/apache/arrow-go/v18/parquet/compress"
	"github.com/apache/arrow-go/v18/parquet/pqarrow"
	"github.com/xuri/excelize/v2"

	"scanledger/ingest/contract"
)

// encodeXLSX writes a workbook whose first sheet is a note and whose second, named like the record
// set, holds the rows. Timestamps are text, as a cell's own dates have no offset.
func (f *file) encodeXLSX(w io.Writer) (err error) {
	book := excelize.NewFile()
	defer func() {
		if closeErr := book.Close(); err == nil {
			err = closeErr
		}
	}()
	if err := book.SetSheetName("Sheet1", "about"); err != nil {
		return err
	}
	if err := book.SetCellStr("about", "A1", "Invented records of a business that does not exist."); err != nil {
		return err
	}
	if _, err := book.NewSheet(f.set.Name); err != nil {
		return err
	}
	if err := f.fillSheet(book); err != nil {
		return err
	}
	return book.Write(w)
}

func (f *file) fillSheet(book *excelize.File) error {
	sheet, err := book.NewStreamWriter(f.set.Name)
	if err != nil {
		return err
	}
	values := make([]any, len(f.set.Fields))
	for i, name := range f.header() {
		values[i] = name
	}
	if err := sheet.SetRow("A1", values); err != nil {
		return err
	}
	for n, row := range f.rows {
		for i, field := range f.set.Fields {
			values[i] = nil
			if row.cells[i] != "" {
				values[i] = typed(field, row.cells[i])
			}
		}
		if err := sheet.SetRow("A"+strconv.Itoa(n+2), values); err != nil {
			return err
		}
	}
	return sheet.Flush()
}

// encodeParquet writes one row group. There is no dictionary, since its footer would not come out
// alike every time.
func (f *file) encodeParquet(w io.Writer) (err error) {
	schema := f.schema()
	builder := array.NewRecordBuilder(memory.DefaultAllocator, schema)
	defer builder.Release()
	for i, field := range f.set.Fields {
		for _, row := range f.rows {
			if err := appendCell(builder.Field(i), field, row.cells[i]); err != nil {
				return err
			}
		}
	}
	batch := builder.NewRecordBatch()
	defer batch.Release()
	props := parquet.NewWriterProperties(parquet.WithDictionaryDefault(false), parquet.WithCompression(compress.Codecs.Zstd))
	out, err := pqarrow.NewFileWriter(schema, w, props, pqarrow.DefaultWriterProps())
	if err != nil {
		return err
	}
	if err := out.Write(batch); err != nil {
		return err
	}
	return out.Close()
}

func (f *file) schema() *arrow.Schema {
	types := map[contract.Kind]arrow.DataType{
		contract.Text:      arrow.BinaryTypes.String,
		contract.Integer:   arrow.PrimitiveTypes.Int32,
		contract.Number:    arrow.PrimitiveTypes.Float64,
		contract.Boolean:   arrow.FixedWidthTypes.Boolean,
		contract.Date:      arrow.FixedWidthTypes.Date32,
		contract.Timestamp: arrow.FixedWidthTypes.Timestamp_us,
	}
	var fields []arrow.Field
	for _, field := range f.set.Fields {
		fields = append(fields, arrow.Field{Name: field.Name, Type: types[field.Kind()], Nullable: true})
	}
	return arrow.NewSchema(fields, nil)
}

// appendCell adds a cell to a column of its kind; an empty cell is null.
func appendCell(to array.Builder, field contract.Field, cell string) error {
	if cell == "" {
		to.AppendNull()
		return nil
	}
	switch column := to.(type) {
	case *array.TimestampBuilder:
		at, err := time.Parse(offsetTime, cell)
		if err != nil {
			return fmt.Errorf("column %s: %w", field.Name, err)
		}
		column.Append(arrow.Timestamp(at.UnixMicro()))
	default:
		return to.AppendValueFromString(cell)
	}
	return nil
}
