package settle

import (
	"fmt"
	"strings"
	"time"

	"scanledger/ingest"
	"scanledger/ingest/contract"
	"scanledger/ingest/store"
	"scanledger/transform/engine"
)

// offering is the rows of one record set in one load, on their way to be settled: the pool's rows of
// earlier loads first, then the new files' rows in order.
type offering struct {
	*load
	set  *contract.Set
	data *store.RowWriter // candidates
	pool *store.RowWriter // rows that stay or come in the pool

	early []store.Fate // decided while reading: local times without a zone yet, or that never were
}

func (o *offering) collect() error {
	for _, p := range o.txn.Manifest.Parts {
		if p.Kind != store.Pool || p.RecordSet != o.set.Name {
			continue
		}
		err := store.ReadPart(o.ctx, o.txn.Path(p), o.set, func(b *ingest.Batch, from []store.Lineage) error {
			for i := range from {
				if err := o.offer(b, i, from[i]); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	for _, src := range o.sources {
		if src.Set == o.set {
			if err := o.read(src); err != nil {
				return err
			}
		}
	}
	return o.data.Close()
}

// read offers every sound row of a file and records the fate of the others.
func (o *offering) read(src source) error {
	f := o.newFile(src)
	o.opt.Watch.File(f.Name, f.Bytes)
	number := f.Number
	sum, err := ingest.Read(o.ctx, src.Source, func(c ingest.Chunk) error {
		last := int64(-1)
		for _, r := range c.Rejects {
			o.reject(number, r, r.Line != last)
			last = r.Line
		}
		for i, line := range c.Batch.Lines {
			if err := o.offer(c.Batch, i, store.Lineage{File: number, Line: line}); err != nil {
				return err
			}
		}
		o.opt.Watch.Rows(c.Rows)
		return nil
	})
	if err != nil {
		return err
	}
	if err := o.data.FileDone(); err != nil {
		return err
	}
	f = &o.files[number-o.firstFile]
	f.Now.Rows, f.ExtraColumns = sum.Rows, sum.ExtraColumns
	if len(sum.ExtraColumns) > 0 {
		o.opt.Watch.Extra(f.Name, sum.ExtraColumns)
	}
	if !src.keep {
		return nil
	}
	return o.txn.KeepOriginal(*f, src.Path)
}

// reject records a broken rule; the first one of a row is also the row's fate.
func (o *offering) reject(file int, r ingest.Reject, first bool) {
	f := o.files[file-o.firstFile]
	o.rejects = append(o.rejects, store.RejectRow{FileName: f.Name, RecordSet: o.set.Name, Line: r.Line,
		Column: r.Column, Rule: r.Rule, Value: r.Value, Message: r.Message})
	if first {
		o.files[file-o.firstFile].Now.Rejected++
		o.fates = append(o.fates, store.Fate{RecordSet: o.set.Name, File: file, Line: r.Line, Fate: "rejected",
			Column: r.Column, Rule: r.Rule, Value: r.Value, Message: r.Message})
	}
}

// offer makes a row a candidate, once its local times have a zone. A row whose zone is not known yet
// waits in the pool with its wall clocks.
func (o *offering) offer(b *ingest.Batch, i int, from store.Lineage) error {
	if !hasLocal(b, i) {
		return o.data.Write(b, i, from)
	}
	at, err := o.zones.of(o.ctx, b, i)
	if err != nil {
		return err
	}
	if at.zone == nil {
		o.early = append(o.early, store.Fate{RecordSet: o.set.Name, File: from.File, Line: from.Line, Fate: "waiting",
			Column: at.column, Rule: "unknown_" + strings.TrimSuffix(at.column, "_id"), Value: at.id, Message: "not known yet; taken in once it arrives"})
		return o.pool.Write(b, i, from)
	}
	if r := resolve(b, i, at.zone); r != nil {
		o.early = append(o.early, store.Fate{RecordSet: o.set.Name, File: from.File, Line: from.Line, Fate: "rejected",
			Column: r.Column, Rule: r.Rule, Value: r.Value, Message: r.Message})
		return nil
	}
	return o.data.Write(b, i, from)
}

// enterEarly puts the fates decided outside SQL among those decided in it.
func (o *offering) enterEarly() error {
	if len(o.early) == 0 {
		return nil
	}
	path, err := o.txn.ScratchFates(o.early)
	if err != nil {
		return err
	}
	return o.eng.Exec(o.ctx, `INSERT INTO fate_now SELECT record_set, file, line, fate, held, "column", rule, value, message
		FROM read_parquet(`+engine.List([]string{path})+")")
}

// resolve replaces row i's wall clocks by the instants they name in loc.
func resolve(b *ingest.Batch, i int, loc *time.Location) *ingest.Reject {
	for c, f := range b.Set.Fields {
		col := &b.Cols[c]
		if f.Kind() != contract.Timestamp || !col.Local[i] {
			continue
		}
		at, ok := instant(col.Int[i], loc)
		if !ok {
			wall := time.UnixMicro(col.Int[i]).UTC().Format("2006-01-02T15:04:05")
			return &ingest.Reject{Column: f.Name, Rule: "time_zone_gap", Value: wall,
				Message: fmt.Sprintf("clocks in %s went forward over this time; give the time with its offset", loc)}
		}
		col.Int[i] = at
	}
	return nil
}
