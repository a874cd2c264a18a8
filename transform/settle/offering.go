package settle

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"scanledger/ingest"
	"scanledger/ingest/contract"
	"scanledger/ingest/store"
	"scanledger/transform/engine"
)

// offering is the rows of one record set in one load, on their way to be settled: rows of earlier loads that are judged
// again first, then the new files' rows in order.
type offering struct {
	*load
	set  *contract.Set
	data *store.RowWriter // candidates
	pool *store.RowWriter // rows that stay or come in the pool

	again int64 // rows taken in earlier that are judged again

	early *store.FateFile // decided while reading: local times without a zone yet, or that never were; nil where there are none
}

func (o *offering) collect() error {
	for _, path := range o.pools() {
		if err := store.ReadPart(o.ctx, path, o.set, o.offer); err != nil {
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
	return nil
}

// read offers every sound row of a file and records the fate of the others.
func (o *offering) read(src source) error {
	f := o.newFile(src)
	o.opt.Watch.File(f.Name, f.Bytes)
	number := f.Number
	sum, err := ingest.Read(o.ctx, src.Source, func(c ingest.Chunk) error {
		last := int64(-1)
		for _, r := range c.Rejects {
			if err := o.reject(number, r, r.Line != last); err != nil {
				return err
			}
			last = r.Line
		}
		o.opt.Watch.Rows(c.Rows)
		return o.offer(c.Batch, slices.Repeat([]int32{int32(number)}, len(c.Batch.Lines)))
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
func (o *offering) reject(file int, r ingest.Reject, first bool) error {
	f := &o.files[file-o.firstFile]
	err := o.log.Reject(store.RejectRow{FileName: f.Name, RecordSet: o.set.Name, Line: r.Line,
		Column: r.Column, Rule: r.Rule, Value: r.Value, Message: r.Message})
	if err == nil && first {
		f.Now.Rejected++
		err = o.log.Fate(store.Fate{RecordSet: o.set.Name, File: file, Line: r.Line, Fate: "rejected",
			Column: r.Column, Rule: r.Rule, Value: r.Value, Message: r.Message})
	}
	return err
}

// offer makes rows candidates, once their local times have a zone.
func (o *offering) offer(b *ingest.Batch, files []int32) error {
	if !b.HasLocal() {
		return o.data.Write(b, files, 0, len(files))
	}
	for i := range files {
		to, err := o.place(b, i, files[i])
		if err == nil && to != nil {
			err = to.Write(b, files, i, i+1)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// place gives row i's local times their zone and tells where the row goes: among the candidates, or with its wall clocks
// into the pool where the zone is not known yet, or nowhere where there is no such time.
func (o *offering) place(b *ingest.Batch, i int, file int32) (*store.RowWriter, error) {
	if !hasLocal(b, i) {
		return o.data, nil
	}
	at, err := o.zones.of(o.ctx, b, i)
	if err != nil {
		return nil, err
	}
	fate := store.Fate{RecordSet: o.set.Name, File: int(file), Line: b.Lines[i]}
	if at.zone == nil {
		fate.Fate, fate.Column, fate.Rule = "waiting", at.column, "unknown_"+strings.TrimSuffix(at.column, "_id")
		fate.Value, fate.Message = at.id, "not known yet; taken in once it arrives"
		return o.pool, o.decide(fate)
	}
	if r := resolve(b, i, at.zone); r != nil {
		fate.Fate, fate.Column, fate.Rule, fate.Value, fate.Message = "rejected", r.Column, r.Rule, r.Value, r.Message
		return nil, o.decide(fate)
	}
	return o.data, nil
}

// decide keeps a fate that is decided outside SQL.
func (o *offering) decide(f store.Fate) (err error) {
	if o.early == nil {
		if o.early, err = o.txn.ScratchFates(); err != nil {
			return err
		}
	}
	return o.early.Write(f)
}

// enterEarly puts the fates decided outside SQL among those decided in it.
func (o *offering) enterEarly() error {
	if o.early == nil {
		return nil
	}
	if err := o.early.Close(); err != nil {
		return err
	}
	return o.eng.Exec(o.ctx, `INSERT INTO fate_now SELECT record_set, file, line, fate, held, "column", rule, value, message
		FROM read_parquet(`+engine.List([]string{o.early.Path})+")")
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
