package store

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/apache/arrow-go/v18/arrow"

	"scanledger/ingest"
	"scanledger/ingest/contract"
)

// maxOpenMonths bounds the months being written at one time; a file with more, in any order,
// gives more parts, not more memory.
const maxOpenMonths = 48

// RowWriter writes rows of one record set into staged parts, one a month for dated sets. Close ends it, also after an error.
type RowWriter struct {
	txn     *Txn
	set     *contract.Set
	kind    PartKind
	month   int // index of the field that names the folder, or -1
	open    []*monthPart
	encoder *encoder // nil until there is a row
	spare   sync.Pool
	Parts   []StagedPart // the finished ones, after Close
}

// StagedPart is a part written to the stage and not yet added to the transaction.
type StagedPart struct {
	Part
	StagePath string
}

type monthPart struct {
	*partWriter
	schema *arrow.Schema
	month  string
	path   string
	seq    int
	next   *stretch // rows not yet given to the encoder
	Rows   int64    // rows so far
	idle   bool     // no row since FileDone
}

// NewRowWriter makes a writer of data or pool parts.
func (t *Txn) NewRowWriter(set *contract.Set, kind PartKind) *RowWriter {
	w := &RowWriter{txn: t, set: set, kind: kind, month: -1}
	w.spare.New = func() any { return &stretch{Batch: ingest.NewBatch(set, 0)} }
	if set.MonthOf != "" && kind == Data {
		w.month = set.Field(set.MonthOf)
	}
	return w
}

// Write adds a copy of rows i up to j of b, which came from the files of the given numbers.
func (w *RowWriter) Write(b *ingest.Batch, files []int32, i, j int) error {
	for i < j {
		end := w.sameMonth(b, i, j)
		m, err := w.part(w.monthOf(b, i))
		if err != nil {
			return err
		}
		m.idle = false
		for i < end {
			n := min(m.next.room(b), end-i)
			m.next.append(b, files, i, i+n)
			m.Rows += int64(n)
			i += n
			if m.next.room(b) > 0 {
				continue
			}
			if err := w.encode(m); err != nil {
				return err
			}
		}
	}
	return nil
}

// encode gives the part's newest rows to the encoder.
func (w *RowWriter) encode(m *monthPart) error {
	rows := m.next
	m.next = w.spare.Get().(*stretch)
	return w.encoder.do(func() error {
		batch := rows.record(m.schema, w.kind == Pool)
		defer batch.Release()
		err := m.write(batch)
		rows.Reset()
		rows.files = rows.files[:0]
		w.spare.Put(rows)
		return partError(m.path, err)
	})
}

// at is the moment that a value of the field that names the folder means.
func (w *RowWriter) at(v int64) time.Time {
	if w.set.Fields[w.month].Kind() == contract.Date {
		return time.Unix(v*86400, 0).UTC()
	}
	return time.UnixMicro(v).UTC()
}

func (w *RowWriter) monthOf(b *ingest.Batch, i int) string {
	if w.month < 0 || !b.Cols[w.month].Valid[i] {
		return ""
	}
	return w.at(b.Cols[w.month].Int[i]).Format("2006-01")
}

// sameMonth is the end of the rows from i on, before j, that are of the month of row i.
func (w *RowWriter) sameMonth(b *ingest.Batch, i, j int) int {
	if w.month < 0 {
		return j
	}
	col := &b.Cols[w.month]
	year, month, _ := w.at(col.Int[i]).Date()
	first := time.Date(year, month, 1, 0, 0, 0, 0, time.UTC)
	from, to := w.value(first), w.value(first.AddDate(0, 1, 0))
	same := func(v int64, valid bool) bool { return valid && from <= v && v < to }
	if !col.Valid[i] {
		same = func(_ int64, valid bool) bool { return !valid }
	}
	for i++; i < j && same(col.Int[i], col.Valid[i]); i++ {
	}
	return i
}

// value is the inverse of at.
func (w *RowWriter) value(at time.Time) int64 {
	if w.set.Fields[w.month].Kind() == contract.Date {
		return at.Unix() / 86400
	}
	return at.UnixMicro()
}

func (w *RowWriter) part(month string) (*monthPart, error) {
	if n := len(w.open); n > 0 && w.open[n-1].month == month {
		return w.open[n-1], nil
	}
	if i := slices.IndexFunc(w.open, func(m *monthPart) bool { return m.month == month }); i >= 0 {
		m := w.open[i]
		w.open = append(slices.Delete(w.open, i, i+1), m) // newest last
		return m, nil
	}
	if len(w.open) >= maxOpenMonths {
		if err := w.finish(w.open[0]); err != nil {
			return nil, err
		}
		w.open = w.open[1:]
	}
	w.txn.parts++
	seq := w.txn.parts
	path := w.txn.StagePath(fmt.Sprintf("part-%d.parquet", seq))
	schema := Schema(w.set, w.kind == Pool)
	pw, err := newPartWriter(path, schema)
	if err != nil {
		return nil, partError(path, err)
	}
	if w.encoder == nil {
		w.encoder = newEncoder()
	}
	m := &monthPart{partWriter: pw, schema: schema, month: month, path: path, seq: seq, next: w.spare.Get().(*stretch)}
	w.open = append(w.open, m)
	return m, nil
}

// FileDone tells that a record file has ended. Months that it had no row of are finished: an open part keeps a row group in
// memory, and files mostly hold one month each. Files of one month one after another still share a part.
func (w *RowWriter) FileDone() error {
	var errs []error
	w.open = slices.DeleteFunc(w.open, func(m *monthPart) bool {
		if m.idle {
			errs = append(errs, w.finish(m))
			return true
		}
		m.idle = true
		return false
	})
	return errors.Join(errs...)
}

// finish ends a part; the encoder closes it in its turn.
func (w *RowWriter) finish(m *monthPart) error {
	var err error
	if m.next.len() > 0 {
		err = w.encode(m)
	}
	if err := errors.Join(err, w.encoder.do(func() error { return partError(m.path, m.close()) })); err != nil {
		return err
	}
	p := Part{Kind: w.kind, RecordSet: w.set.Name, Month: m.month, Rows: m.Rows}
	p.Path = fmt.Sprintf("%s/%s/", w.kind, w.set.Name)
	if m.month != "" {
		p.Path += "utc_month=" + m.month + "/"
	}
	p.Path += fmt.Sprintf("load-%06d-%d.parquet", w.txn.Load, m.seq)
	w.Parts = append(w.Parts, StagedPart{p, m.path})
	return nil
}

// Close finishes every open part and lists them in Parts by month.
func (w *RowWriter) Close() error {
	if w.encoder == nil {
		return nil
	}
	for _, m := range w.open {
		_ = w.finish(m) // the encoder keeps the error
	}
	err := w.encoder.end()
	w.open, w.encoder = nil, nil
	slices.SortStableFunc(w.Parts, func(a, b StagedPart) int { return strings.Compare(a.Month, b.Month) })
	return err
}
