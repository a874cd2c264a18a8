// Package settle decides what becomes of rows, in the light of the rows already held.
//
// In: record files (through ingest) and a store. Out: one more load in the store, with the fate of
// every row: accepted, duplicate, corrected, waiting or rejected. It resolves local times, looks up
// the names a row mentions and compares versions of one key. It never parses a cell, and it publishes
// only through the store.
//
// A row is judged against what is held when it is taken in. Rows that wait, or that break a rule with
// what they name, are kept in the store's pool and offered again at every load. A damaged store is
// repaired, or a whole one rebuilt, by repeating its loads.
package settle

import (
	"context"
	"embed"
	"fmt"
	"strings"
	"time"

	"scanledger/ingest/contract"
	"scanledger/ingest/store"
	"scanledger/transform/engine"
)

//go:embed sql/*.sql
var sqlFiles embed.FS

func sqlText(name string) string {
	raw, err := sqlFiles.ReadFile("sql/" + name + ".sql")
	if err != nil {
		panic(err) // embedded: a missing file is a broken build, and every test would say so
	}
	return string(raw)
}

var columnTypes = map[contract.Kind]string{
	contract.Text: "VARCHAR", contract.Integer: "INTEGER", contract.Number: "DOUBLE",
	contract.Boolean: "BOOLEAN", contract.Date: "DATE", contract.Timestamp: "TIMESTAMPTZ",
}

// emptyTable is a SELECT with the columns of a data part and no rows.
func emptyTable(set *contract.Set) string {
	var cols []string
	for _, f := range set.Fields {
		cols = append(cols, fmt.Sprintf("CAST(NULL AS %s) AS %s", columnTypes[f.Kind()], engine.Name(f.Name)))
	}
	cols = append(cols, "CAST(NULL AS INTEGER) AS _file", "CAST(NULL AS BIGINT) AS _line")
	return "SELECT " + strings.Join(cols, ", ") + " WHERE false"
}

const emptyFates = `SELECT CAST(NULL AS INTEGER) AS load, CAST(NULL AS VARCHAR) AS record_set, CAST(NULL AS INTEGER) AS file,
	CAST(NULL AS BIGINT) AS line, CAST(NULL AS VARCHAR) AS fate, CAST(NULL AS BOOLEAN) AS held, CAST(NULL AS VARCHAR) AS "column",
	CAST(NULL AS VARCHAR) AS rule, CAST(NULL AS VARCHAR) AS value, CAST(NULL AS VARCHAR) AS message WHERE false`

// Views makes, in an engine, the views that later rooms read: held_SET for every record set, with the
// rows that counted after load upTo, fates with every fate recorded until then, rejects with every broken rule of the rows that
// are rejected then, samples with the frames of the audit samples drawn until then, and the table files of record files.
func Views(ctx context.Context, e engine.SQL, st *store.Store, upTo int) error {
	if err := fatesUntil(ctx, e, st, upTo); err != nil {
		return err
	}
	if err := Files(ctx, e, st, upTo); err != nil {
		return err
	}
	if err := rejects(ctx, e, st, upTo); err != nil {
		return err
	}
	if err := samples(ctx, e, st.SampleFrames(upTo)); err != nil {
		return err
	}
	for _, set := range contract.Sets() {
		if err := takenView(ctx, e, set, st.Paths(store.Data, set.Name, upTo)); err != nil {
			return err
		}
		if err := superseded(ctx, e, set); err != nil {
			return err
		}
		if err := heldView(ctx, e, set, "superseded_"+set.Name); err != nil {
			return err
		}
	}
	return nil
}

// Files makes the table files: one row per record file taken in by load upTo, with the number that rows have as _file.
func Files(ctx context.Context, e engine.SQL, st *store.Store, upTo int) error {
	rows := []string{}
	for _, f := range st.Manifest.Files {
		if f.Load > upTo {
			continue
		}
		received := st.Manifest.Loads[f.Load-1].ReceivedAt.UTC().Format(time.DateOnly)
		rows = append(rows, fmt.Sprintf("(%d, %s, %s, %s, '%s', %d, %d)", f.Number, engine.Quote(f.Name), engine.Quote(f.SHA256), engine.Quote(f.RecordSet),
			received, f.AtLoad.Rows-f.Forgotten, f.Load))
	}
	where := ""
	if len(rows) == 0 { // the columns alone
		rows, where = append(rows, "(0, '', '', '', '', 0, 0)"), " WHERE false"
	}
	return e.Keep(ctx, "files", `SELECT CAST(number AS INTEGER) AS number, name, sha256, record_set, received_on, CAST("rows" AS BIGINT) AS "rows", CAST(load AS INTEGER) AS load
		FROM (VALUES `+strings.Join(rows, ", ")+`) AS f (number, name, sha256, record_set, received_on, "rows", load)`+where)
}

// rejects makes the view of that name.
func rejects(ctx context.Context, e engine.SQL, st *store.Store, upTo int) error {
	var parts []string
	for _, p := range st.Manifest.Parts {
		if p.Kind == store.Rejects && p.Load <= upTo && strings.HasSuffix(p.Path, ".parquet") {
			name := fmt.Sprintf("rejects_of_%d", p.Load)
			if err := e.View(ctx, name, []string{st.Path(p)}, ""); err != nil {
				return err
			}
			parts = append(parts, fmt.Sprintf("SELECT %d AS load, t.* FROM %s t", p.Load, name))
		}
	}
	if err := e.Define(ctx, "rejects_ever", strings.Join(parts, " UNION ALL ")); err != nil {
		return err
	}
	return e.Define(ctx, "rejects", sqlText("rejects"))
}

// samples makes the view of that name: the frames in the order in which they were drawn, as draw, from 1.
func samples(ctx context.Context, e engine.SQL, frames []string) error {
	parts := []string{emptySamples}
	for i, path := range frames {
		frame := fmt.Sprintf("sample_%d", i+1)
		if err := e.View(ctx, frame, []string{path}, ""); err != nil {
			return err
		}
		parts = append(parts, fmt.Sprintf("SELECT %d, %s FROM %s", i+1, sampleColumns, frame))
	}
	return e.Define(ctx, "samples", strings.Join(parts, " UNION ALL "))
}

const sampleColumns = `sample, month, inspection_id, site_id, point_id, technician_id, call, chance, part, "open", open_chance`

const emptySamples = `SELECT CAST(NULL AS INTEGER) AS draw, CAST(NULL AS VARCHAR) AS sample, CAST(NULL AS VARCHAR) AS month,
	CAST(NULL AS VARCHAR) AS inspection_id, CAST(NULL AS VARCHAR) AS site_id, CAST(NULL AS VARCHAR) AS point_id,
	CAST(NULL AS VARCHAR) AS technician_id, CAST(NULL AS VARCHAR) AS call, CAST(NULL AS DOUBLE) AS chance, CAST(NULL AS VARCHAR) AS part,
	CAST(NULL AS BOOLEAN) AS "open", CAST(NULL AS DOUBLE) AS open_chance
	WHERE false`

func fatesUntil(ctx context.Context, e engine.SQL, st *store.Store, upTo int) error {
	if err := e.View(ctx, "fates", st.Paths(store.Fates, "", upTo), emptyFates); err != nil {
		return err
	}
	if err := e.Keep(ctx, "fate_before", sqlText("fate_before")); err != nil {
		return err
	}
	return e.Keep(ctx, "not_held", "SELECT record_set, file, line FROM fate_before WHERE NOT held")
}

// takenView makes view taken_SET: every version in the given parts.
func takenView(ctx context.Context, e engine.SQL, set *contract.Set, parts []string) error {
	return e.View(ctx, "taken_"+set.Name, parts, emptyTable(set))
}

// superseded makes superseded_SET, the rows of a record set in not_held that are in a part: most never were taken in, and every
// view would look for them in vain.
func superseded(ctx context.Context, e engine.SQL, set *contract.Set) error {
	return e.Keep(ctx, "superseded_"+set.Name, "SELECT n.record_set, n.file, n.line FROM not_held n WHERE n.record_set = "+engine.Quote(set.Name)+
		" AND EXISTS (SELECT 1 FROM taken_"+set.Name+" t WHERE t._file = n.file AND t._line = n.line)")
}

// heldView makes view held_SET: what was taken, less the rows in the table without.
func heldView(ctx context.Context, e engine.SQL, set *contract.Set, without string) error {
	var unheld int64
	err := e.Each(ctx, "SELECT count(*) FROM "+without+" WHERE record_set = $1", []any{set.Name}, func(scan func(...any) error) error {
		return scan(&unheld)
	})
	if err != nil {
		return err
	}
	held := "SELECT * FROM taken_" + set.Name + " t"
	if unheld > 0 {
		held += " WHERE NOT EXISTS (SELECT 1 FROM " + without + " n WHERE n.record_set = " + engine.Quote(set.Name) +
			" AND n.file = t._file AND n.line = t._line)"
	}
	return e.Define(ctx, "held_"+set.Name, held)
}
