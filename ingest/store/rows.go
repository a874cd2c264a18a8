package store

import (
	"math"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/memory"

	"scanledger/ingest"
	"scanledger/ingest/contract"
)

// stretch is rows on their way to a part, at most ingest.BatchRows of them, with the numbers of the files they came from.
type stretch struct {
	*ingest.Batch
	files []int32
}

func (s *stretch) len() int { return len(s.files) }

// room is how many more rows may be appended from b; texts are counted in 31 bits.
func (s *stretch) room(b *ingest.Batch) int {
	if s.TextBytes()+b.TextBytes() > math.MaxInt32 {
		return 0
	}
	return ingest.BatchRows - s.len()
}

func (s *stretch) append(b *ingest.Batch, files []int32, i, j int) {
	s.AppendRows(b, i, j)
	s.files = append(s.files, files[i:j]...)
}

// record puts the rows as Arrow does, mostly in the memory they are in. A pool's rows also keep which times are wall clocks.
func (s *stretch) record(schema *arrow.Schema, pool bool) arrow.RecordBatch {
	var columns []arrow.Array
	for c, f := range s.Set.Fields {
		columns = append(columns, arrowColumn(f.Kind(), &s.Cols[c]))
	}
	columns = append(columns, int32Column(s.files), arrowArray(arrow.PrimitiveTypes.Int64, s.len(), nil, arrow.Int64Traits.CastToBytes(s.Lines)))
	if pool {
		columns = append(columns, int32Column(localMasks(s.Batch)))
	}
	return array.NewRecordBatch(schema, columns, int64(s.len()))
}

func int32Column(values []int32) arrow.Array {
	return arrowArray(arrow.PrimitiveTypes.Int32, len(values), nil, arrow.Int32Traits.CastToBytes(values))
}

func arrowColumn(kind contract.Kind, col *ingest.Column) arrow.Array {
	var values [][]byte
	switch kind {
	case contract.Text:
		values = [][]byte{arrow.Int32Traits.CastToBytes(col.Text.Offsets), col.Text.Bytes}
	case contract.Number:
		values = [][]byte{arrow.Float64Traits.CastToBytes(col.Num)}
	case contract.Boolean:
		values = [][]byte{bitmap(col.Bool)}
	case contract.Timestamp:
		values = [][]byte{arrow.Int64Traits.CastToBytes(col.Int)}
	case contract.Integer, contract.Date:
		values = [][]byte{arrow.Int32Traits.CastToBytes(narrow(col.Int))}
	}
	return arrowArray(arrowTypes[kind], len(col.Valid), col.Valid, values...)
}

// arrowArray makes an array of n values; without valid, none is missing.
func arrowArray(dt arrow.DataType, n int, valid []bool, values ...[]byte) arrow.Array {
	missing := 0
	for _, v := range valid {
		if !v {
			missing++
		}
	}
	buffers := []*memory.Buffer{nil}
	if missing > 0 {
		buffers[0] = memory.NewBufferBytes(bitmap(valid))
	}
	for _, v := range values {
		buffers = append(buffers, memory.NewBufferBytes(v))
	}
	return array.MakeFromData(array.NewData(dt, n, buffers, nil, missing, 0))
}

// bitmap packs truths, the first into the lowest bit.
func bitmap(truths []bool) []byte {
	bits := make([]byte, (len(truths)+7)/8)
	for i, t := range truths {
		if t {
			bits[i/8] |= 1 << (i % 8)
		}
	}
	return bits
}

// narrow is for values that the reader has held to 32 bits.
func narrow(values []int64) []int32 {
	out := make([]int32, len(values))
	for i, v := range values {
		out[i] = int32(v)
	}
	return out
}

// localMasks has, for every row, bit c set where column c is a wall clock.
func localMasks(b *ingest.Batch) []int32 {
	masks := make([]int32, len(b.Lines))
	for c := range b.Cols {
		for i, local := range b.Cols[c].Local {
			if local {
				masks[i] |= 1 << c
			}
		}
	}
	return masks
}

// encoder does tasks in a goroutine of its own, in the order in which they are given: encoding and compressing parts takes
// as long as reading their rows.
type encoder struct {
	tasks  chan func() error
	failed chan struct{} // closed after the first error
	err    error         // that error; it may be read once failed is closed
	done   chan struct{}
}

// waiting is how many tasks may wait; each holds some thousand rows in memory.
const waiting = 2

func newEncoder() *encoder {
	e := &encoder{tasks: make(chan func() error, waiting), failed: make(chan struct{}), done: make(chan struct{})}
	go e.run()
	return e
}

func (e *encoder) run() {
	defer close(e.done)
	for task := range e.tasks {
		if err := task(); err != nil && e.err == nil {
			e.err = err
			close(e.failed)
		}
	}
}

// do gives a task and returns the error of an earlier one, if there has been any.
func (e *encoder) do(task func() error) error {
	e.tasks <- task
	select {
	case <-e.failed:
		return e.err
	default:
		return nil
	}
}

// end waits for all tasks. None may be given any more.
func (e *encoder) end() error {
	close(e.tasks)
	<-e.done
	return e.err
}
