package settle

import (
	"errors"
	"fmt"
	"strings"

	"scanledger/ingest"
	"scanledger/ingest/contract"
	"scanledger/ingest/store"
	"scanledger/transform/engine"
)

// references says which queries look up the names a record set mentions.
var references = map[string][]string{
	"inspections": {"inspections"}, "readings": {"readings"}, "findings": {"findings"}, "unit_log": {"unit_log"},
}

// settle decides the fate of every candidate and stages the parts with the rows taken in.
func (o *offering) settle() error {
	o.opt.Watch.Step("settle " + o.set.Name)
	candidates := make([]string, len(o.data.Parts))
	for i, p := range o.data.Parts {
		candidates[i] = p.StagePath
	}
	if err := o.enterEarly(); err != nil {
		return err
	}
	if err := o.candidates(candidates); err != nil {
		return err
	}
	if len(candidates) > 0 || o.again > 0 {
		if err := o.judge(); err != nil {
			return err
		}
	}
	added, err := o.file(candidates)
	if err != nil {
		return err
	}
	for _, name := range []string{"not_held", "held_again"} {
		if err := o.exec(name); err != nil {
			return err
		}
	}
	return o.hold(append(o.taken(), added...))
}

// hold makes the views of what was taken and what of it is held, over the given parts.
func (o *offering) hold(parts []string) error {
	if err := takenView(o.ctx, o.eng, o.set, parts); err != nil {
		return err
	}
	return heldView(o.ctx, o.eng, o.set, "not_held")
}

// exec runs a query of this room for the record set.
func (o *offering) exec(name string) error {
	return o.eng.Exec(o.ctx, sqlText(name), engine.Arg("record_set", o.set.Name))
}

// judge fills fate_now for the candidates: names first, then versions of one key.
func (o *offering) judge() error {
	for _, name := range references[o.set.Name] {
		if err := o.eng.Exec(o.ctx, sqlText(name)); err != nil {
			return err
		}
	}
	if err := o.rechecks(); err != nil {
		return err
	}
	if err := o.keyViews(); err != nil {
		return err
	}
	if err := o.eng.Exec(o.ctx, sqlText("shared")); err != nil {
		return err
	}
	for _, name := range []string{"colliding", "versions"} {
		if err := o.exec(name); err != nil {
			return err
		}
	}
	return o.eng.Exec(o.ctx, sqlText("pool"), engine.Arg("record_set", o.set.Name), engine.Arg("first_file", o.firstFile))
}

// rechecks looks up recheck_of until a round adds nothing: each round may cost others their original.
func (o *offering) rechecks() error {
	if o.set.Name != "inspections" {
		return nil
	}
	for before := int64(-1); ; {
		if err := o.eng.Exec(o.ctx, sqlText("rechecks")); err != nil {
			return err
		}
		var now int64
		err := o.eng.Each(o.ctx, "SELECT count(*) FROM fate_now", nil, func(scan func(...any) error) error { return scan(&now) })
		if err != nil || now == before {
			return err
		}
		before = now
	}
}

// keyViews makes the views over which versions of one key are found and compared, from the contract.
func (o *offering) keyViews() error {
	taken := "taken_" + o.set.Name + " t"
	if o.again > 0 {
		taken += " WHERE NOT EXISTS " + inAgain
	}
	for _, side := range []struct{ name, from string }{{"candidate", "candidate"}, {"taken", taken}} {
		key := Key(o.set)
		content := joined(o.set, func(contract.Field) bool { return true })
		for view, columns := range map[string]string{"_key": key + " AS _key", "_row": key + " AS _key, " + content + " AS _content"} {
			err := o.eng.Exec(o.ctx, fmt.Sprintf("CREATE OR REPLACE TEMP VIEW %s%s AS SELECT %s, _file, _line FROM %s",
				side.name, view, columns, side.from))
			if err != nil {
				return err
			}
		}
	}
	return nil
}

// Key is the key of a row as SQL text, in the form in which the fates of duplicates and corrections name it.
func Key(set *contract.Set) string {
	return joined(set, func(f contract.Field) bool { return isKey(set, f) })
}

func isKey(set *contract.Set, f contract.Field) bool {
	for _, k := range set.PrimaryKey {
		if k == f.Name {
			return true
		}
	}
	return false
}

// joined is an SQL text of the chosen fields that differs whenever one of them does: control
// characters, which no accepted id holds, stand for the end of a field and for a missing value.
func joined(set *contract.Set, choose func(contract.Field) bool) string {
	var parts []string
	for _, f := range set.Fields {
		if choose(f) {
			value := engine.Name(f.Name)
			if f.Kind() == contract.Timestamp {
				value = "epoch_us(" + value + ")"
			}
			parts = append(parts, "coalesce(CAST("+value+" AS VARCHAR), chr(1))")
		}
	}
	if len(parts) == 1 {
		return parts[0]
	}
	return "concat_ws(chr(2), " + strings.Join(parts, ", ") + ")"
}

// file stages what was decided: parts without the rows not taken in, the pool, fates and rejects.
// It returns the staged places of the data parts.
func (o *offering) file(candidates []string) ([]string, error) {
	if err := o.decided(); err != nil {
		return nil, err
	}
	touched, err := o.touched(candidates)
	if err != nil {
		return nil, err
	}
	var added []string
	for _, p := range o.data.Parts {
		parts := []store.StagedPart{p}
		if touched[p.StagePath] {
			if parts, err = o.without(p); err != nil {
				return nil, err
			}
		}
		for _, part := range parts {
			if err := o.txn.Add(part.Part, part.StagePath); err != nil {
				return nil, err
			}
			added = append(added, o.txn.StagedPath(part.Part))
		}
	}
	if err := o.pool.Close(); err != nil {
		return nil, err
	}
	for _, part := range o.pool.Parts {
		if err := o.txn.Add(part.Part, part.StagePath); err != nil {
			return nil, err
		}
	}
	return added, o.count(added)
}

// without writes a staged part again without some of its rows; those that may come in later go to the pool.
func (o *offering) without(p store.StagedPart) ([]store.StagedPart, error) {
	out, err := o.leftOut(p.StagePath)
	if err != nil {
		return nil, err
	}
	w := o.txn.NewRowWriter(o.set, store.Data)
	first := int64(0) // number of the batch's first row in the part
	err = store.ReadPart(o.ctx, p.StagePath, o.set, func(b *ingest.Batch, files []int32) error {
		next := 0 // row of the batch
		for ; len(out) > 0 && out[0].row < first+int64(len(files)); out = out[1:] {
			i := int(out[0].row - first)
			if err := w.Write(b, files, next, i); err != nil {
				return err
			}
			if next = i + 1; !out[0].pool {
				continue
			}
			if err := o.pool.Write(b, files, i, next); err != nil {
				return err
			}
		}
		first += int64(len(files))
		return w.Write(b, files, next, len(files))
	})
	if err = errors.Join(err, w.Close()); err != nil {
		return nil, err
	}
	return w.Parts, nil
}
