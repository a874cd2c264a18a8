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
)

// rowGroup is how many rows a row group of a part holds.
const rowGroup = 122_880

// partWriter writes one Parquet file from record batches.
type partWriter struct {
	out     *pqarrow.FileWriter
	inGroup int64 // rows in the open row group
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
	return &partWriter{out: w}, nil
}

// write encodes a batch and keeps nothing of its memory.
func (w *partWriter) write(batch arrow.RecordBatch) error {
	if w.inGroup == 0 || w.inGroup+batch.NumRows() > rowGroup {
		if err := w.out.NewBufferedRowGroupChecked(); err != nil {
			return err
		}
		w.inGroup = 0
	}
	w.inGroup += batch.NumRows()
	return w.out.WriteBuffered(batch)
}

// close finishes the file; it is not yet synced.
func (w *partWriter) close() error { return w.out.Close() } // closes the file too

// table writes one Parquet file row by row.
type table[R any] struct {
	*partWriter
	path    string
	rows    *array.RecordBuilder
	add     func(*array.RecordBuilder, R)
	pending int   // rows in the builder
	Rows    int64 // rows so far
}

func newTable[R any](path string, schema *arrow.Schema, add func(*array.RecordBuilder, R)) (*table[R], error) {
	w, err := newPartWriter(path, schema)
	if err != nil {
		return nil, partError(path, err)
	}
	return &table[R]{partWriter: w, path: path, rows: array.NewRecordBuilder(memory.DefaultAllocator, schema), add: add}, nil
}

// Write adds a row.
func (t *table[R]) Write(r R) error {
	t.add(t.rows, r)
	t.Rows++
	if t.pending++; t.pending < ingest.BatchRows {
		return nil
	}
	return partError(t.path, t.flush())
}

func (t *table[R]) flush() error {
	if t.pending == 0 {
		return nil
	}
	t.pending = 0
	batch := t.rows.NewRecordBatch()
	defer batch.Release()
	return t.write(batch)
}

// Close finishes the file; it is not yet synced.
func (t *table[R]) Close() error {
	defer t.rows.Release()
	return partError(t.path, errors.Join(t.flush(), t.close()))
}

// writeTable writes rows to a Parquet file.
func writeTable[R any](path string, schema *arrow.Schema, rows []R, add func(*array.RecordBuilder, R)) error {
	t, err := newTable(path, schema, add)
	if err != nil {
		return err
	}
	for _, r := range rows {
		if err := t.Write(r); err != nil {
			return errors.Join(err, t.Close())
		}
	}
	return t.Close()
}

// partError names the part that could not be written.
func partError(path string, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("write %s: %w", path, err)
}
