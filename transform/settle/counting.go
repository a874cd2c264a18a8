package settle

import (
	"scanledger/ingest/store"
	"scanledger/transform/engine"
)

// decided reads this load's fates of the record set and records those that are news.
func (o *offering) decided() error {
	return o.eng.Each(o.ctx, sqlText("changed"), []any{engine.Arg("record_set", o.set.Name)}, func(scan func(...any) error) error {
		f := store.Fate{RecordSet: o.set.Name}
		var before, ruleBefore string
		if err := scan(&f.File, &f.Line, &f.Fate, &f.Held, &f.Column, &f.Rule, &f.Value, &f.Message, &before, &ruleBefore); err != nil {
			return err
		}
		if f.Fate != before || f.Rule != ruleBefore || f.Fate == "accepted" || f.Fate == "corrected" {
			return o.record(f, before, ruleBefore)
		}
		return nil
	})
}

// record enters a fate in the load's log, with the rule that a rejected row breaks, and moves its row's count.
func (o *offering) record(f store.Fate, before, ruleBefore string) error {
	name := ""
	if f.File >= o.firstFile {
		now := &o.files[f.File-o.firstFile]
		name = now.Name
		if f.Fate != "accepted" { // accepted rows are counted from the parts
			now.Now.Add(f.Fate, 1)
		}
	} else {
		name = o.txn.Manifest.Files[f.File-1].Name
		change := o.moved[f.File]
		if change == nil {
			change = new(store.Counts)
			o.moved[f.File] = change
		}
		if before == "" {
			before = "accepted"
		}
		change.Add(before, -1)
		change.Add(f.Fate, 1)
	}
	err := o.log.Fate(f)
	if err == nil && f.Fate == "rejected" && (before != "rejected" || f.Rule != ruleBefore) {
		err = o.log.Reject(store.RejectRow{FileName: name, RecordSet: f.RecordSet, Line: f.Line,
			Column: f.Column, Rule: f.Rule, Value: f.Value, Message: f.Message})
	}
	return err
}

// left is a row of a staged part that is not taken in.
type left struct {
	row  int64 // in the part, from 0
	pool bool  // it may come in later
}

const leftOver = ` c JOIN fate_now f ON f.file = c._file AND f.line = c._line
	WHERE f.record_set = $record_set AND f.fate IN ('waiting', 'rejected', 'duplicate')`

// touched finds the staged parts that hold rows not taken in.
func (o *offering) touched(candidates []string) (map[string]bool, error) {
	touched := map[string]bool{}
	if len(candidates) == 0 {
		return touched, nil
	}
	query := "SELECT DISTINCT c.filename FROM read_parquet(" + engine.List(candidates) + ", filename = true)" + leftOver
	err := o.eng.Each(o.ctx, query, []any{engine.Arg("record_set", o.set.Name)}, func(scan func(...any) error) error {
		var name string
		err := scan(&name)
		touched[name] = true
		return err
	})
	return touched, err
}

// leftOut finds the rows of one staged part that are not taken in, in their order.
func (o *offering) leftOut(part string) (out []left, err error) {
	query := "SELECT c.file_row_number, f.fate <> 'duplicate' FROM read_parquet(" + engine.Quote(part) + ", file_row_number = true)" +
		leftOver + " ORDER BY c.file_row_number"
	err = o.eng.Each(o.ctx, query, []any{engine.Arg("record_set", o.set.Name)}, func(scan func(...any) error) error {
		var l left
		err := scan(&l.row, &l.pool)
		out = append(out, l)
		return err
	})
	return out, err
}

// count counts the new files' accepted rows from the parts they were written to, not from what was
// read: this is the independent side of the row equation.
func (o *offering) count(added []string) error {
	if len(added) == 0 {
		return nil
	}
	query := "SELECT _file, count(*) FROM read_parquet(" + engine.List(added) + ") WHERE _file >= $first GROUP BY _file ORDER BY _file"
	return o.eng.Each(o.ctx, query, []any{engine.Arg("first", o.firstFile)}, func(scan func(...any) error) error {
		var file int
		var rows int64
		if err := scan(&file, &rows); err != nil {
			return err
		}
		now := &o.files[file-o.firstFile].Now
		now.Accepted = rows - now.Corrected
		return nil
	})
}
