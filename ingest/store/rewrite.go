package store

import (
	"context"
	"errors"
	"fmt"
	"path"
	"strings"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"

	"scanledger/ingest"
	"scanledger/ingest/contract"
)

// Verdict says what becomes of a row when its part is written again.
type Verdict int

// The verdicts.
const (
	Kept    Verdict = iota // as it is
	Changed                // kept, with what the judge has put into it
	Gone                   // left out
)

// rewritten is where a part written again is staged.
func (t *Txn) rewritten(p Part) string {
	t.parts++
	return t.StagePath(fmt.Sprintf("again-%d%s", t.parts, path.Ext(p.Path)))
}

// RowJudge says whether row i of b, which came from the file of that number, stays, and which of its columns of text hold
// something else from now on, by number of the column: nil stands for nothing.
type RowJudge func(b *ingest.Batch, i, file int) (stays bool, texts map[int]*string)

// RewriteRows writes a data or pool part again as judge says. A part of which nothing changes stays the file it is; one
// that has no row left is dropped.
func (t *Txn) RewriteRows(ctx context.Context, p Part, set *contract.Set, judge RowJudge) error {
	pool := p.Kind == Pool
	staged, schema := t.rewritten(p), Schema(set, pool)
	w, err := newPartWriter(staged, schema)
	if err != nil {
		return partError(staged, err)
	}
	touched, left := false, int64(0)
	err = ReadPart(ctx, t.Path(p), set, func(b *ingest.Batch, files []int32) error {
		out, changed := judged(b, files, judge)
		touched, left = touched || changed, left+int64(out.len())
		if out.len() == 0 {
			return nil
		}
		return partError(staged, w.write(out.record(schema, pool)))
	})
	if err := errors.Join(err, partError(staged, w.close())); err != nil || !touched {
		return err
	}
	if left == 0 {
		t.Drop(p)
		return nil
	}
	return t.Replace(p, staged, left)
}

// judged is what judge leaves of b, and whether that is anything else than b.
func judged(b *ingest.Batch, files []int32, judge RowJudge) (stretch, bool) {
	out, touched := stretch{Batch: ingest.NewBatch(b.Set, len(files))}, false
	for i, file := range files {
		stays, texts := judge(b, i, int(file))
		touched = touched || !stays || len(texts) > 0
		if !stays {
			continue
		}
		out.append(b, files, i, i+1)
		for c, text := range texts {
			out.Cols[c].ReplaceLast(text)
		}
	}
	return out, touched
}

// RewriteFates writes the fates of a load again as judge says.
func (t *Txn) RewriteFates(ctx context.Context, p Part, judge func(*Fate) Verdict) error {
	fates, err := readFates(ctx, t.Path(p))
	if err != nil {
		return err
	}
	fates, touched := sift(fates, judge)
	if !touched {
		return nil
	}
	staged := t.rewritten(p)
	if err := fateTable(staged, p.Load, fates); err != nil {
		return err
	}
	return t.Replace(p, staged, int64(len(fates)))
}

// RewriteRejects writes the rejects of a load again as judge says: p, the table of them, and the list beside it.
func (t *Txn) RewriteRejects(ctx context.Context, p Part, judge func(*RejectRow) Verdict) error {
	rows, err := readRejects(ctx, t.Path(p))
	if err != nil {
		return err
	}
	rows, touched := sift(rows, judge)
	if !touched {
		return nil
	}
	for _, form := range rejectForms {
		old, listed := t.part(func(q Part) bool { return q.Kind == Rejects && q.Load == p.Load && path.Ext(q.Path) == form.ending })
		if !listed {
			return fmt.Errorf("stage rejects of load %d: the manifest lists no %s file of them; run: scanledger verify --store %s", p.Load, form.ending, t.Dir)
		}
		staged := t.rewritten(old)
		if err := form.write(staged, rows); err != nil {
			return err
		}
		if err := t.Replace(old, staged, int64(len(rows))); err != nil {
			return err
		}
	}
	return nil
}

// RewriteFrame writes the frame of a sample again as judge says. Where no row is left, the sample is dropped, and its
// description with it.
func (t *Txn) RewriteFrame(ctx context.Context, p Part, judge func(*FrameRow) Verdict) error {
	frame, err := readFrame(ctx, t.Path(p))
	if err != nil {
		return err
	}
	frame, touched := sift(frame, judge)
	if !touched {
		return nil
	}
	if len(frame) == 0 {
		t.DropSample(strings.TrimSuffix(path.Base(p.FirstPath()), path.Ext(p.Path)))
		return nil
	}
	staged := t.rewritten(p)
	if err := writeFrame(staged, frame); err != nil {
		return err
	}
	return t.Replace(p, staged, int64(len(frame)))
}

// sift judges rows one by one and returns those that are left, and whether any was not kept as it was.
func sift[R any](rows []R, judge func(*R) Verdict) (left []R, touched bool) {
	for i := range rows {
		verdict := judge(&rows[i])
		touched = touched || verdict != Kept
		if verdict != Gone {
			left = append(left, rows[i])
		}
	}
	return left, touched
}

func readFates(ctx context.Context, path string) (out []Fate, err error) {
	err = readRecords(ctx, path, func(rec arrow.RecordBatch) error {
		for i := range int(rec.NumRows()) {
			out = append(out, Fate{RecordSet: textAt(rec, 1, i), File: int(rec.Column(2).(*array.Int32).Value(i)), Line: rec.Column(3).(*array.Int64).Value(i),
				Fate: textAt(rec, 4, i), Held: rec.Column(5).(*array.Boolean).Value(i), Column: textAt(rec, 6, i), Rule: textAt(rec, 7, i),
				Value: textAt(rec, 8, i), Message: textAt(rec, 9, i)})
		}
		return nil
	})
	return out, err
}

func readRejects(ctx context.Context, path string) (out []RejectRow, err error) {
	err = readRecords(ctx, path, func(rec arrow.RecordBatch) error {
		for i := range int(rec.NumRows()) {
			out = append(out, RejectRow{FileName: textAt(rec, 0, i), RecordSet: textAt(rec, 1, i), Line: rec.Column(2).(*array.Int64).Value(i),
				Column: textAt(rec, 3, i), Rule: textAt(rec, 4, i), Value: textAt(rec, 5, i), Message: textAt(rec, 6, i)})
		}
		return nil
	})
	return out, err
}

func textAt(rec arrow.RecordBatch, column, row int) string {
	return rec.Column(column).(*array.String).Value(row)
}
