package store

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"scanledger/ingest"
	"scanledger/ingest/contract"
)

// maxOpenMonths bounds the months being written at one time; a file with more, in any order,
// gives more parts, not more memory.
const maxOpenMonths = 48

// RowWriter writes rows of one record set into staged parts, one a month for dated sets.
type RowWriter struct {
	txn   *Txn
	set   *contract.Set
	kind  PartKind
	month int // index of the field that names the folder, or -1
	open  []*monthPart
	Parts []StagedPart // the finished ones, after Close
}

// StagedPart is a part written to the stage and not yet added to the transaction.
type StagedPart struct {
	Part
	StagePath string
}

type monthPart struct {
	*partWriter
	month string
	path  string
	seq   int
	idle  bool // no row since FileDone
}

// NewRowWriter makes a writer of data or pool parts.
func (t *Txn) NewRowWriter(set *contract.Set, kind PartKind) *RowWriter {
	w := &RowWriter{txn: t, set: set, kind: kind, month: -1}
	if set.MonthOf != "" && kind == Data {
		w.month = set.Field(set.MonthOf)
	}
	return w
}

// Write adds row i of b, which came from the given place.
func (w *RowWriter) Write(b *ingest.Batch, i int, from Lineage) error {
	m, err := w.part(w.monthOf(b, i))
	if err != nil {
		return err
	}
	m.idle = false
	return partError(m.path, m.appendRow(b, i, int32(from.File), from.Line, w.kind == Pool))
}

func (w *RowWriter) monthOf(b *ingest.Batch, i int) string {
	if w.month < 0 || !b.Cols[w.month].Valid[i] {
		return ""
	}
	v := b.Cols[w.month].Int[i]
	if b.Set.Fields[w.month].Kind() == contract.Date {
		return time.Unix(v*86400, 0).UTC().Format("2006-01")
	}
	return time.UnixMicro(v).UTC().Format("2006-01")
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
	pw, err := newPartWriter(path, Schema(w.set, w.kind == Pool))
	if err != nil {
		return nil, partError(path, err)
	}
	m := &monthPart{partWriter: pw, month: month, path: path, seq: seq}
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

func (w *RowWriter) finish(m *monthPart) error {
	if err := m.close(); err != nil {
		return partError(m.path, err)
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
	var errs []error
	for _, m := range w.open {
		errs = append(errs, w.finish(m))
	}
	w.open = nil
	slices.SortStableFunc(w.Parts, func(a, b StagedPart) int { return strings.Compare(a.Month, b.Month) })
	return errors.Join(errs...)
}
