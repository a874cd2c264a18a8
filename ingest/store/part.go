package store

import (
	"errors"
	"fmt"
	"os"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/memory"
	"github.com/apache/arrow-go/v18/parquet/pqarrow"

	"scanledger/ingest"
	"scanledger/ingest/contract"
)

// rowGroup is how many rows a row group of a part holds.
const rowGroup = 122_880

// partWriter writes one Parquet file row by row, by column.
type partWriter struct {
	file    *os.File
	out     *pqarrow.FileWriter
	rows    *array.RecordBuilder
	pending int   // rows in the builder
	inGroup int   // rows in the open row group
	Rows    int64 // rows so far
}

func newPartWriter(path string, schema *arrow.Schema) (*partWriter, error) {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return nil, err
	}
	props, arrowProps := writerOptions(schema)
	w, err := pqarrow.NewFileWriter(schema, f, props, arrowProps)
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return &partWriter{file: f, out: w, rows: array.NewRecordBuilder(memory.DefaultAllocator, schema)}, nil
}

// rowDone ends a row whose values the caller has appended to w.rows.
func (w *partWriter) rowDone() error {
	w.pending++
	w.Rows++
	if w.pending < ingest.BatchRows {
		return nil
	}
	return w.flush()
}

func (w *partWriter) flush() error {
	if w.pending == 0 {
		return nil
	}
	if w.inGroup == 0 || w.inGroup+w.pending > rowGroup {
		w.out.NewBufferedRowGroup()
		w.inGroup = 0
	}
	batch := w.rows.NewRecordBatch()
	defer batch.Release()
	w.inGroup += w.pending
	w.pending = 0
	return w.out.WriteBuffered(batch)
}

// close finishes the file; it is not yet synced.
func (w *partWriter) close() error {
	defer w.rows.Release()
	if err := w.flush(); err != nil {
		return errors.Join(err, w.file.Close())
	}
	return w.out.Close() // closes the file too
}

// appendRow adds row i of a batch with its lineage; a pool row also keeps which times are wall clocks.
func (w *partWriter) appendRow(b *ingest.Batch, i int, file int32, line int64, pool bool) error {
	for c, col := range b.Cols {
		appendValue(w.rows.Field(c), b.Set.Fields[c].Kind(), &col, i)
	}
	n := len(b.Cols)
	w.rows.Field(n).(*array.Int32Builder).Append(file)
	w.rows.Field(n + 1).(*array.Int64Builder).Append(line)
	if pool {
		w.rows.Field(n + 2).(*array.Int32Builder).Append(localMask(b, i))
	}
	return w.rowDone()
}

func localMask(b *ingest.Batch, i int) (mask int32) {
	for c, col := range b.Cols {
		if col.Local != nil && col.Local[i] {
			mask |= 1 << c
		}
	}
	return mask
}

func appendValue(b array.Builder, kind contract.Kind, col *ingest.Column, i int) {
	if !col.Valid[i] {
		b.AppendNull()
		return
	}
	switch kind {
	case contract.Text:
		b.(*array.StringBuilder).Append(col.Text[i])
	case contract.Integer:
		b.(*array.Int32Builder).Append(int32(col.Int[i]))
	case contract.Number:
		b.(*array.Float64Builder).Append(col.Num[i])
	case contract.Boolean:
		b.(*array.BooleanBuilder).Append(col.Bool[i])
	case contract.Date:
		b.(*array.Date32Builder).Append(arrow.Date32(col.Int[i]))
	case contract.Timestamp:
		b.(*array.TimestampBuilder).Append(arrow.Timestamp(col.Int[i]))
	}
}

// partError names the part that could not be written.
func partError(path string, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("write %s: %w; check the disk's space and rights", path, err)
}
