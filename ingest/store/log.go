package store

import (
	"errors"
	"fmt"
)

// Log is the fates and rejects of one load, written to its stage as they become known, so that no number of them fills
// the memory. Fates are given in order of record set.
type Log struct {
	txn     *Txn
	fates   *FateFile
	rejects *table[RejectRow]
	lines   rejectLines
	closed  bool
}

// OpenLog begins the load's log.
func (t *Txn) OpenLog() (l *Log, err error) {
	l = &Log{txn: t}
	if l.fates, err = t.fateFile("fates.parquet"); err != nil {
		return nil, err
	}
	if l.rejects, err = newTable(t.StagePath("rejects.parquet"), rejectSchema, addReject); err != nil {
		return nil, errors.Join(err, l.fates.Close())
	}
	if l.lines, err = newRejectLines(t.StagePath("rejects.csv")); err != nil {
		return nil, errors.Join(err, l.fates.Close(), l.rejects.Close())
	}
	return l, nil
}

// Fate enters what became of a row.
func (l *Log) Fate(f Fate) error { return l.fates.Write(f) }

// Reject enters a broken rule.
func (l *Log) Reject(r RejectRow) error {
	return errors.Join(l.lines.write(r), l.rejects.Write(r))
}

// Rejects is how many broken rules were entered.
func (l *Log) Rejects() int64 { return l.rejects.Rows }

// Close ends the log's files. It may be called again.
func (l *Log) Close() error {
	if l.closed {
		return nil
	}
	l.closed = true
	return errors.Join(l.fates.Close(), l.rejects.Close(), l.lines.close())
}

// Add closes the log and adds its files to what is published.
func (l *Log) Add() error {
	if err := l.Close(); err != nil {
		return err
	}
	base := fmt.Sprintf("%s/load-%06d", Rejects, l.txn.Load)
	return errors.Join(
		l.txn.Add(Part{Kind: Fates, Path: fmt.Sprintf("%s/load-%06d.parquet", Fates, l.txn.Load), Rows: l.fates.Rows}, l.fates.Path),
		l.txn.Add(Part{Kind: Rejects, Path: base + ".parquet", Rows: l.rejects.Rows}, l.rejects.path),
		l.txn.Add(Part{Kind: Rejects, Path: base + ".csv", Rows: l.rejects.Rows}, l.lines.path))
}
