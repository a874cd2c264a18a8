package ingest

import (
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/memory"
	"github.com/apache/arrow-go/v18/parquet"
	"github.com/apache/arrow-go/v18/parquet/file"
	"github.com/apache/arrow-go/v18/parquet/pqarrow"

	"scanledger/ingest/contract"
)

// maxUnzipped bounds the temporary file that a .parquet.gz is unpacked to, in bytes.
const maxUnzipped = 16 << 30

const parquetRemedy = "write the Parquet file again, unencrypted"

// recordBlock is one record batch with the number of its first row.
type recordBlock struct {
	first   int64
	records arrow.RecordBatch
}

// readParquet reads the columns the record set has. Their values are put as text and judged like
// those of any other format.
func readParquet(ctx context.Context, src Source, f *os.File, size int64, deliver func(parsed) error) error {
	if src.Gzipped {
		unzipped, err := unzipToTemp(ctx, src, f, size)
		if err != nil {
			return err
		}
		defer func() {
			_ = unzipped.Close()
			_ = os.Remove(unzipped.Name())
		}()
		f = unzipped
	}
	t := &tableReader{src: src, mem: cappedAllocator{memory.DefaultAllocator}}
	if err := src.guard(func() error { return t.open(ctx, f) }); err != nil {
		return err
	}
	defer t.records.Release()
	if err := deliver(parsed{Chunk: Chunk{Batch: &Batch{Set: src.Set}}, extra: t.layout.extra}); err != nil {
		return err
	}
	produce := func(emit func(recordBlock) error) error {
		return src.guard(func() error { return t.blocks(emit) })
	}
	newParser := func() func(recordBlock) parsed {
		p := tableParser{rows: newRowParser(src, false), fieldOf: t.fieldOf}
		return p.parse
	}
	return inOrder(ctx, produce, newParser, deliver)
}

// unzipToTemp unpacks a gzipped file, since Parquet is read from its end.
func unzipToTemp(ctx context.Context, src Source, packed io.Reader, packedSize int64) (unpacked *os.File, err error) {
	content, err := gzip.NewReader(packed)
	if err != nil {
		return nil, src.ioError("open", shortGzip(err))
	}
	unpacked, err = os.CreateTemp("", "records-*.parquet")
	if err != nil {
		return nil, src.ioError("unpack", err)
	}
	size, err := io.Copy(unpacked, io.LimitReader(wanted{ctx, &unzipping{r: content, packed: packedSize}}, maxUnzipped+1))
	if err == nil && size > maxUnzipped {
		err = errUnpacks
	}
	if err != nil {
		_ = unpacked.Close()
		_ = os.Remove(unpacked.Name())
		return nil, src.ioError("unpack", err)
	}
	return unpacked, nil
}

// maxRowsPerByte is more rows than a byte of a file can hold, since every row has a key of its own. A few bytes can say that
// two milliards of values are missing.
const maxRowsPerByte = 100

// maxAllocation is more than any page of a sound file takes, and maxBatch more than BatchRows rows do: 8 KiB a row. A text
// that is kept once may stand in every row. In bytes.
const (
	maxAllocation = 64 << 20
	maxBatch      = BatchRows * 8 << 10
)

// cappedAllocator refuses sizes that only a damaged file can ask for; Source.guard turns the panic
// into an error.
type cappedAllocator struct{ memory.Allocator }

func (a cappedAllocator) Allocate(size int) []byte {
	checkAllocation(size)
	return a.Allocator.Allocate(size)
}

func (a cappedAllocator) Reallocate(size int, b []byte) []byte {
	checkAllocation(size)
	return a.Allocator.Reallocate(size, b)
}

func checkAllocation(size int) {
	if size > maxAllocation {
		panic(fmt.Sprintf("it asks for %d bytes at once", size))
	}
}

// tableReader streams record batches of the used columns.
type tableReader struct {
	src     Source
	mem     memory.Allocator
	records pqarrow.RecordReader
	rows    int64 // what the file says it holds
	layout  layout
	fieldOf []int // for each column of a record batch, the field's position
}

func (t *tableReader) open(ctx context.Context, f *os.File) error {
	info, err := f.Stat()
	if err != nil {
		return t.src.ioError("open", err)
	}
	size := info.Size()
	props := parquet.NewReaderProperties(t.mem)
	props.BufferedStreamEnabled = true // pages, not whole column chunks, are held in memory
	raw, err := file.NewParquetReader(f, file.WithReadProps(props))
	if err != nil {
		return t.src.fileError("open", err, parquetRemedy)
	}
	t.rows = raw.NumRows()
	if t.rows/maxRowsPerByte > size {
		return t.src.fileError("open", fmt.Errorf("%w: it promises %d rows in %d bytes", errCutShort, t.rows, size), parquetRemedy)
	}
	// The Parquet schema says all that is needed. The Arrow schema that some writers add is read
	// without regard to its claims of size, which lets a damaged file exhaust memory.
	raw.MetaData().FileMetaData.KeyValueMetadata = nil
	table, err := pqarrow.NewFileReader(raw, pqarrow.ArrowReadProperties{BatchSize: BatchRows}, t.mem)
	if err != nil {
		return t.src.fileError("open", err, parquetRemedy)
	}
	schema, err := table.Schema()
	if err != nil {
		return t.src.fileError("open", err, parquetRemedy)
	}
	leaves, err := t.choose(schema, table.Manifest)
	if err != nil {
		return err
	}
	if t.records, err = table.GetRecordReader(ctx, leaves, nil); err != nil {
		return t.src.fileError("read", err, parquetRemedy)
	}
	return nil
}

// choose settles which columns to read and checks that their types can hold the field's values.
func (t *tableReader) choose(schema *arrow.Schema, manifest *pqarrow.SchemaManifest) (leaves []int, err error) {
	var header []string
	for _, column := range schema.Fields() {
		header = append(header, column.Name)
	}
	if t.layout, err = newLayout(t.src, header); err != nil {
		return nil, err
	}
	for i, field := range t.layout.fieldOf {
		if field < 0 {
			continue
		}
		want, have := t.src.Set.Fields[field], schema.Field(i).Type
		if !holds(have, want.Kind()) {
			return nil, t.src.fileError("read header",
				fmt.Errorf("column %q holds %s, which cannot be read as %s", header[i], have, want.Type),
				"write the column as "+want.Type+" or as text")
		}
		leaves = append(leaves, manifest.Fields[i].ColIndex)
		t.fieldOf = append(t.fieldOf, field)
	}
	return leaves, nil
}

// holds tells whether a column type can carry values of a kind. Text can carry any of them.
func holds(have arrow.DataType, kind contract.Kind) bool {
	id := have.ID()
	switch {
	case isText(have), id == arrow.NULL:
		return true
	case arrow.IsInteger(id):
		return kind != contract.Date && kind != contract.Timestamp
	case id == arrow.FLOAT32, id == arrow.FLOAT64, id == arrow.DECIMAL128, id == arrow.DECIMAL256:
		return kind == contract.Number || kind == contract.Integer
	case id == arrow.BOOL:
		return kind == contract.Boolean
	case id == arrow.DATE32:
		return kind == contract.Date
	case id == arrow.TIMESTAMP:
		return kind == contract.Timestamp
	default:
		return false
	}
}

// isText: plain byte arrays are how older writers put text; their bytes are checked like any other.
func isText(t arrow.DataType) bool { return t.ID() == arrow.STRING || t.ID() == arrow.BINARY }

// blocks emits the record batches, and checks that they hold as many rows as the file promised.
func (t *tableReader) blocks(emit func(recordBlock) error) error {
	row := int64(1)
	for t.records.Next() {
		records := t.records.RecordBatch()
		if batchBytes(records) > maxBatch {
			return t.src.fileError("read", fmt.Errorf("row %d or after: the texts are longer than those of records", row), "leave out what belongs to no column, or shorten it")
		}
		records.Retain()
		if err := emit(recordBlock{row, records}); err != nil {
			records.Release()
			return err
		}
		row += records.NumRows()
	}
	if err := t.records.Err(); err != nil {
		return t.src.fileError("read", fmt.Errorf("row %d or after: %w", row, err), parquetRemedy)
	}
	if row-1 != t.rows {
		return t.src.fileError("read", fmt.Errorf("%w: it promises %d rows and holds %d", errCutShort, t.rows, row-1), parquetRemedy)
	}
	return nil
}

func batchBytes(records arrow.RecordBatch) (bytes int) {
	for _, column := range records.Columns() {
		for _, buffer := range column.Data().Buffers() {
			if buffer != nil {
				bytes += buffer.Len()
			}
		}
	}
	return bytes
}

var errCutShort = errors.New("the file is damaged")

// tableParser turns record batches into rows. It serves one goroutine.
type tableParser struct {
	rows    *rowParser
	fieldOf []int
	buf     []byte // the current row's values as text
}

func (p *tableParser) parse(block recordBlock) parsed {
	defer block.records.Release()
	rows := int(block.records.NumRows())
	p.rows.start(rows)
	columns := block.records.Columns()
	for i := range rows {
		p.buf = p.buf[:0]
		for c, field := range p.fieldOf {
			p.rows.cells[field] = p.cell(columns[c], i)
		}
		p.rows.row(block.first + int64(i))
	}
	return parsed{Chunk: p.rows.chunk}
}

// cell puts one value as text.
func (p *tableParser) cell(column arrow.Array, i int) cell {
	if column.IsNull(i) {
		return cell{}
	}
	start := len(p.buf)
	var form form
	p.buf, form = appendValue(p.buf, column, i)
	return cell{form, p.buf[start:]}
}

// appendValue writes a value so that reading it back as its field's type gives the same value.
func appendValue(buf []byte, column arrow.Array, i int) ([]byte, form) {
	switch a := column.(type) {
	case *array.Boolean:
		return strconv.AppendBool(buf, a.Value(i)), logical
	case *array.Date32:
		return appendDate(buf, int64(a.Value(i))), written
	case *array.Timestamp:
		unit := a.DataType().(*arrow.TimestampType)
		return appendTimestamp(buf, microseconds(int64(a.Value(i)), unit.Unit), unit.TimeZone == ""), written
	case *array.Float64:
		return strconv.AppendFloat(buf, a.Value(i), 'g', -1, 64), numeric
	case *array.Float32:
		return strconv.AppendFloat(buf, float64(a.Value(i)), 'g', -1, 32), numeric
	case *array.String:
		return append(buf, a.Value(i)...), written
	case *array.Binary:
		return append(buf, a.Value(i)...), written
	default: // integers and decimals, by what holds allows
		return append(buf, column.ValueStr(i)...), numeric
	}
}

// microseconds converts a timestamp; what is finer is cut off. What would not fit becomes a time
// tens of thousands of years away, which no field takes.
func microseconds(v int64, unit arrow.TimeUnit) int64 {
	const far = 1_000_000_000_000 * second
	switch unit {
	case arrow.Second:
		return max(-far/second, min(v, far/second)) * second
	case arrow.Millisecond:
		return max(-far/1000, min(v, far/1000)) * 1000
	case arrow.Nanosecond:
		return floorDiv(v, 1000)
	default:
		return v
	}
}
