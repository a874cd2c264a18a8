package forget

import (
	"context"
	"fmt"
	"path"
	"regexp"
	"slices"

	"scanledger/ingest"
	"scanledger/ingest/contract"
	"scanledger/ingest/store"
)

// eraser takes a subject out of every place of a store, within a transaction.
type eraser struct {
	*subject
	txn   *store.Txn
	words words
	fresh map[int]bool // record files in whose rows a text was changed, by number
}

// run goes through the parts, then the list of record files.
func (e *eraser) run(ctx context.Context) error {
	for _, p := range slices.Clone(e.txn.Manifest.Parts) {
		if err := e.part(ctx, p); err != nil {
			return fmt.Errorf("%s: %w", p.Path, err)
		}
	}
	for _, p := range e.originalsOf() {
		e.txn.Drop(p)
		e.trail.Originals++
	}
	return e.files()
}

func (e *eraser) part(ctx context.Context, p store.Part) error {
	table := path.Ext(p.Path) == ".parquet"
	switch {
	case p.Kind == store.Data || p.Kind == store.Pool:
		return e.rows(ctx, p)
	case p.Kind == store.Fates:
		return e.txn.RewriteFates(ctx, p, func(f *store.Fate) store.Verdict { return e.fate(f, p.Load) })
	case p.Kind == store.Rejects && table:
		return e.txn.RewriteRejects(ctx, p, func(r *store.RejectRow) store.Verdict { return e.rejected(r, p.Load) })
	case p.Kind == store.Samples && table:
		return e.txn.RewriteFrame(ctx, p, e.frame)
	}
	return nil
}

// mentioning are the record sets whose rows may mention the subject, or an inspection that is meant, without being meant.
var mentioning = []string{"inspections", "findings"}

func (e *eraser) rows(ctx context.Context, p store.Part) error {
	if !e.touched[e.txn.Path(p)] && !slices.Contains(mentioning, p.RecordSet) {
		return nil
	}
	set, err := contract.Lookup(p.RecordSet)
	if err != nil {
		return err
	}
	return e.txn.RewriteRows(ctx, p, set, func(b *ingest.Batch, i, file int) (stays bool, texts map[int]*string) {
		meant := e.about.has(file, b.Lines[i])
		if meant && e.Coder == nil {
			return false, nil
		}
		for c, f := range set.Fields {
			if f.Kind() != contract.Text || !b.Cols[c].Valid[i] {
				continue
			}
			was := b.Cols[c].Text.At(i)
			now, keep := e.cell(f.Name, was, meant)
			if keep && now == was {
				continue
			}
			if texts == nil {
				texts = map[int]*string{}
			}
			if texts[c] = nil; keep {
				texts[c] = &now
			}
			if !meant {
				e.changed(file)
			}
		}
		return true, texts
	})
}

// changed counts a text that was changed outside the rows that are meant.
func (e *eraser) changed(file int) {
	e.trail.Texts++
	e.fresh[file] = true
}

// cell is what stands in a text column from now on, and whether anything does.
func (e *eraser) cell(column, text string, meant bool) (now string, keep bool) {
	switch column {
	case "technician_id", "site_id":
		if meant && text == e.words.id && column == e.idColumn() {
			return e.words.code, true
		}
	case "name":
		return text, !meant
	case "areas_not_inspected":
		return e.words.erase(text), true
	case "inspection_id", "recheck_of":
		switch {
		case !e.inspections[text]:
		case e.Coder != nil:
			return e.words.erase(text), true
		case column == "recheck_of": // a recheck names what it repeats
			return standIn, true
		default:
			return "", false
		}
	case "reading_id", "finding_id":
		if meant {
			return e.words.erase(text), true
		}
	case "point_id": // names of points are the site's
		if meant && e.Site != "" {
			return e.words.erase(text), true
		}
	}
	return text, true
}

// idColumn is the column that names the subject.
func (e *eraser) idColumn() string {
	if e.Site != "" {
		return "site_id"
	}
	return "technician_id"
}

// fate leaves out what became of a row that is meant, and takes what tells out of the raw values of others.
func (e *eraser) fate(f *store.Fate, load int) store.Verdict {
	meant := e.about.has(f.File, f.Line)
	if meant && e.Coder == nil {
		return store.Gone
	}
	return e.raw(f.File, load, f.Column, meant, &f.Value, &f.Message)
}

// raw takes what tells out of a raw value and what is said of it. Where the value is that of a whole row, the row is the
// subject's. Those of loads from before the first month that is kept are of rows of which nothing else is known: they go.
func (e *eraser) raw(file, load int, column string, meant bool, value, message *string) store.Verdict {
	v, m := e.tellsNot(*value), e.tellsNot(*message)
	switch {
	case e.early(load):
		v, m = "", ""
	case column == "" && v != *value && e.Coder == nil:
		v = standIn
	case e.words.id != "" && *value == e.words.id && (column == e.idColumn() || meant):
		v = e.words.code
	}
	if v == *value && m == *message {
		return store.Kept
	}
	*value, *message = v, m
	if !meant {
		e.changed(file)
	}
	return store.Changed
}

// tellsNot is a text without what tells, nor the ids of inspections that are gone.
func (e *eraser) tellsNot(text string) string {
	text = e.words.erase(text)
	if e.Coder != nil {
		return text
	}
	if e.inspections[text] {
		return standIn
	}
	return idLike.ReplaceAllStringFunc(text, func(id string) string {
		if e.inspections[id] {
			return standIn
		}
		return id
	})
}

// idLike finds what may be an id within other text. Ids may hold other characters too; those are found where they stand alone.
var idLike = regexp.MustCompile(`[\pL\pN][\pL\pN_./:-]*[\pL\pN]|[\pL\pN]`)

// rejected is fate for the lists of broken rules, which name record files and do not number them.
func (e *eraser) rejected(r *store.RejectRow, load int) store.Verdict {
	file := 0
	for _, f := range e.txn.Manifest.Files {
		if f.Name != r.FileName || f.RecordSet != r.RecordSet || f.Load > load {
			continue
		}
		if file = f.Number; e.about.has(f.Number, r.Line) {
			if e.Coder == nil {
				return store.Gone
			}
			break
		}
	}
	verdict := e.raw(file, load, r.Column, e.about.has(file, r.Line), &r.Value, &r.Message)
	if name := e.words.erase(r.FileName); name != r.FileName {
		r.FileName, verdict = name, store.Changed
	}
	return verdict
}

// frame leaves a point out of the frame of a sample, or puts codes in the place of its ids.
func (e *eraser) frame(r *store.FrameRow) store.Verdict {
	meant := e.inspections[r.InspectionID] || e.words.id != "" && (r.TechnicianID == e.Technician || r.SiteID == e.Site) ||
		e.Months > 0 && r.Month < e.before()
	switch {
	case !meant:
		return store.Kept
	case e.Coder == nil:
		return store.Gone
	}
	for column, id := range map[string]*string{"technician_id": &r.TechnicianID, "site_id": &r.SiteID, "inspection_id": &r.InspectionID, "point_id": &r.PointID} {
		*id, _ = e.cell(column, *id, true)
	}
	return store.Changed
}

// files brings the counts of record files up to date, and takes what tells out of their names. Their checksums stay: by
// them the same file is known should it be loaded again.
func (e *eraser) files() error {
	if e.Coder == nil {
		for _, c := range e.counts {
			f := &e.txn.Manifest.Files[c.file-1]
			f.Now.Add(c.fate, -c.rows)
			f.Now.Rows -= c.rows
			f.Forgotten += c.rows
		}
	}
	for i := range e.txn.Manifest.Files {
		f := &e.txn.Manifest.Files[i]
		if name := e.words.erase(f.Name); name != f.Name {
			f.Name = name
			e.trail.Texts++
		}
		if !f.Now.Balanced() {
			return fmt.Errorf("rows of record file %d do not add up (%+v); nothing was changed; please report this as a fault", f.Number, f.Now)
		}
	}
	return nil
}
