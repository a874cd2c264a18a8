package store

import (
	"encoding/csv"
	"errors"
	"fmt"
	"os"
	"strconv"
)

// Log is the fates and rejects of one load, written to its stage as they become known, so that no number of them fills
// the memory. Fates are given in order of record set.
type Log struct {
	txn     *Txn
	fates   *FateFile
	rejects *table[RejectRow]
	file    *os.File
	csv     *csv.Writer // of file
	csvPath string
	closed  bool
}

// OpenLog begins the load's log.
func (t *Txn) OpenLog() (l *Log, err error) {
	l = &Log{txn: t, csvPath: t.StagePath("rejects.csv")}
	if l.fates, err = t.fateFile("fates.parquet"); err != nil {
		return nil, err
	}
	if l.rejects, err = newTable(t.StagePath("rejects.parquet"), rejectSchema, addReject); err != nil {
		return nil, errors.Join(err, l.fates.Close())
	}
	if l.file, err = os.OpenFile(l.csvPath, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600); err != nil {
		return nil, errors.Join(partError(l.csvPath, err), l.fates.Close(), l.rejects.Close())
	}
	l.csv = csv.NewWriter(l.file)
	return l, partError(l.csvPath, l.csv.Write([]string{"file", "record_set", "line", "column", "rule", "value", "message"}))
}

// Fate enters what became of a row.
func (l *Log) Fate(f Fate) error { return l.fates.Write(f) }

// Reject enters a broken rule.
func (l *Log) Reject(r RejectRow) error {
	err := l.csv.Write([]string{Inert(r.FileName), r.RecordSet, strconv.FormatInt(r.Line, 10),
		Inert(r.Column), r.Rule, Inert(r.Value), Inert(r.Message)})
	return errors.Join(partError(l.csvPath, err), l.rejects.Write(r))
}

// Rejects is how many broken rules were entered.
func (l *Log) Rejects() int64 { return l.rejects.Rows }

// Close ends the log's files. It may be called again.
func (l *Log) Close() error {
	if l.closed {
		return nil
	}
	l.closed = true
	l.csv.Flush()
	return errors.Join(l.fates.Close(), l.rejects.Close(), partError(l.csvPath, errors.Join(l.csv.Error(), l.file.Close())))
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
		l.txn.Add(Part{Kind: Rejects, Path: base + ".csv", Rows: l.rejects.Rows}, l.csvPath))
}
