package store

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/memory"
	"github.com/apache/arrow-go/v18/parquet/file"
	"github.com/apache/arrow-go/v18/parquet/pqarrow"

	"scanledger/ingest"
	"scanledger/ingest/contract"
)

// ReadPart reads a data or pool part back in order: batches of its rows, each with its line, and the numbers of their files.
func ReadPart(ctx context.Context, path string, set *contract.Set, visit func(b *ingest.Batch, files []int32) error) error {
	return readRecords(ctx, path, func(rec arrow.RecordBatch) error {
		b := &ingest.Batch{Set: set, Cols: make([]ingest.Column, len(set.Fields))}
		for c, f := range set.Fields {
			b.Cols[c] = columnOf(rec.Column(c), f.Kind())
		}
		n := len(set.Fields)
		b.Lines = slices.Clone(rec.Column(n + 1).(*array.Int64).Int64Values())
		if int(rec.NumCols()) > n+2 {
			markLocal(b, rec.Column(n+2).(*array.Int32))
		}
		return visit(b, rec.Column(n).(*array.Int32).Int32Values())
	})
}

func readRecords(ctx context.Context, path string, visit func(arrow.RecordBatch) error) (err error) {
	f, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("read part: %w", err)
	}
	pf, err := file.NewParquetReader(f)
	if err != nil {
		return errors.Join(fmt.Errorf("read part %s: %w", path, err), f.Close())
	}
	defer func() { err = errors.Join(err, pf.Close()) }()
	rd, err := pqarrow.NewFileReader(pf, pqarrow.ArrowReadProperties{BatchSize: ingest.BatchRows}, memory.DefaultAllocator)
	if err != nil {
		return fmt.Errorf("read part %s: %w", path, err)
	}
	recs, err := rd.GetRecordReader(ctx, nil, nil)
	if err != nil {
		return fmt.Errorf("read part %s: %w", path, err)
	}
	defer recs.Release()
	for recs.Next() {
		if err := visit(recs.RecordBatch()); err != nil {
			return err
		}
	}
	if err := recs.Err(); err != nil {
		return fmt.Errorf("read part %s: %w", path, err)
	}
	return nil
}

func columnOf(a arrow.Array, kind contract.Kind) ingest.Column {
	n := a.Len()
	col := ingest.Column{Valid: make([]bool, n)}
	for i := range n {
		col.Valid[i] = a.IsValid(i)
	}
	switch kind {
	case contract.Text:
		for i := range n {
			col.Text.Append([]byte(a.(*array.String).Value(i)))
		}
	case contract.Number:
		col.Num = fill(n, a.(*array.Float64).Value)
	case contract.Boolean:
		col.Bool = fill(n, a.(*array.Boolean).Value)
	case contract.Integer:
		col.Int = fill(n, func(i int) int64 { return int64(a.(*array.Int32).Value(i)) })
	case contract.Date:
		col.Int = fill(n, func(i int) int64 { return int64(a.(*array.Date32).Value(i)) })
	case contract.Timestamp:
		col.Int = fill(n, func(i int) int64 { return int64(a.(*array.Timestamp).Value(i)) })
		col.Local = make([]bool, n)
	}
	return col
}

// markLocal restores which times are wall clocks.
func markLocal(b *ingest.Batch, masks *array.Int32) {
	for c := range b.Cols {
		for i := range b.Cols[c].Local {
			b.Cols[c].Local[i] = masks.Value(i)&(1<<c) != 0
		}
	}
}

func fill[T any](n int, at func(int) T) []T {
	out := make([]T, n)
	for i := range out {
		out[i] = at(i)
	}
	return out
}
