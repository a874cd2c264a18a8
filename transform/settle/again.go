package settle

import (
	"slices"

	"scanledger/ingest"
	"scanledger/ingest/store"
	"scanledger/transform/engine"
)

// judgedAgain says which queries find the rows of a record set that were taken in earlier and have to be judged again,
// because something that they are judged by has changed.
var judgedAgain = map[string]string{"readings": "again_readings"}

// inAgain is true of rows t that are judged again.
const inAgain = "(SELECT 1 FROM again a WHERE a.file = t._file AND a.line = t._line)"

// lineage is where a row stands: record file and line.
type lineage struct {
	file int32
	line int64
}

// reconsider finds out which rows of earlier loads are judged again with those of this one, so that a load ends as if all its
// rows and theirs came at once: those in table again, which are taken in, and rows dropped as duplicates of a version that may
// no longer be the one before them.
func (o *offering) reconsider() error {
	if err := o.hold(o.taken()); err != nil {
		return err
	}
	query := "CREATE OR REPLACE TEMP TABLE again AS SELECT CAST(NULL AS INTEGER) AS file, CAST(NULL AS BIGINT) AS line WHERE false"
	if name, ok := judgedAgain[o.set.Name]; ok {
		query = sqlText(name)
	}
	if err := o.eng.Exec(o.ctx, query); err != nil {
		return err
	}
	err := o.eng.Each(o.ctx, "SELECT count(*) FROM again", nil, func(scan func(...any) error) error { return scan(&o.again) })
	pool := o.pools()
	if err != nil || o.again == 0 && len(pool) == 0 {
		return err
	}
	if err := o.eng.View(o.ctx, "pooled", pool, emptyTable(o.set)); err != nil {
		return err
	}
	for _, query := range []string{
		"CREATE OR REPLACE TEMP TABLE anew_key AS SELECT " + Key(o.set) + " AS _key FROM pooled UNION SELECT " + Key(o.set) + " FROM taken_" + o.set.Name + " t WHERE EXISTS " + inAgain,
		"CREATE OR REPLACE TEMP VIEW taken_key AS SELECT " + Key(o.set) + " AS _key, _file, _line FROM taken_" + o.set.Name,
	} {
		if err := o.eng.Exec(o.ctx, query); err != nil {
			return err
		}
	}
	if err := o.exec("dropped"); err != nil {
		return err
	}
	return o.offerDropped()
}

func (o *offering) taken() []string { return o.txn.Paths(store.Data, o.set.Name, o.txn.Load) }

func (o *offering) pools() []string { return o.txn.Paths(store.Pool, o.set.Name, o.txn.Load) }

// offerDropped makes candidates of the rows in table dropped. Their content is that of the rows that they repeated.
func (o *offering) offerDropped() error {
	if len(o.taken()) == 0 {
		return nil
	}
	repeats, parts := map[lineage][]lineage{}, map[string]bool{}
	err := o.eng.Each(o.ctx, "SELECT t.filename, d.of_file, d.of_line, d.file, d.line FROM read_parquet("+engine.List(o.taken())+", filename = true) t "+
		"JOIN dropped d ON d.of_file = t._file AND d.of_line = t._line ORDER BY d.file, d.line", nil, func(scan func(...any) error) error {
		var part string
		var of, row lineage
		err := scan(&part, &of.file, &of.line, &row.file, &row.line)
		parts[part] = true
		repeats[of] = append(repeats[of], row)
		return err
	})
	if err != nil {
		return err
	}
	for _, part := range o.taken() {
		if !parts[part] {
			continue
		}
		err := store.ReadPart(o.ctx, part, o.set, func(b *ingest.Batch, files []int32) error { return o.repeat(b, files, repeats) })
		if err != nil {
			return err
		}
	}
	return nil
}

// repeat writes the rows of b that others repeated, under the lineage of those.
func (o *offering) repeat(b *ingest.Batch, files []int32, repeats map[lineage][]lineage) error {
	for i := range files {
		of := lineage{files[i], b.Lines[i]}
		for _, row := range repeats[of] {
			under := slices.Repeat([]int32{row.file}, i+1)
			b.Lines[i] = row.line
			if err := o.data.Write(b, under, i, i+1); err != nil {
				return err
			}
		}
		b.Lines[i] = of.line
	}
	return nil
}

// candidates makes the view of what is judged: the staged rows, and those in table again.
func (o *offering) candidates(staged []string) error {
	if o.again == 0 {
		return o.eng.View(o.ctx, "candidate", staged, emptyTable(o.set))
	}
	if err := o.eng.View(o.ctx, "staged", staged, emptyTable(o.set)); err != nil {
		return err
	}
	return o.eng.View(o.ctx, "candidate", nil, "SELECT * FROM staged UNION ALL SELECT * FROM taken_"+o.set.Name+" t WHERE EXISTS "+inAgain)
}
