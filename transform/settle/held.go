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
func Views(ctx context.Context, e *engine.Engine, st *store.Store, upTo int) error {
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
	if err := e.Exec(ctx, "CREATE OR REPLACE TABLE superseded (record_set VARCHAR, file INTEGER, line BIGINT)"); err != nil {
		return err
	}
	for _, set := range contract.Sets() {
		if err := superseded(ctx, e, set, st.Paths(store.Data, set.Name, upTo)); err != nil {
			return err
		}
		if err := heldView(ctx, e, set, st.Paths(store.Data, set.Name, upTo), "superseded"); err != nil {
			return err
		}
	}
	return nil
}

// Files makes the table files: one row per record file taken in by load upTo, with the number that rows have as _file.
func Files(ctx context.Context, e *engine.Engine, st *store.Store, upTo int) error {
	err := e.Exec(ctx, `CREATE OR REPLACE TABLE files
		(number INTEGER, name VARCHAR, sha256 VARCHAR, record_set VARCHAR, received_on VARCHAR, "rows" BIGINT, load INTEGER)`)
	if err != nil {
		return err
	}
	for _, f := range st.Manifest.Files {
		if f.Load > upTo {
			continue
		}
		received := st.Manifest.Loads[f.Load-1].ReceivedAt.UTC().Format(time.DateOnly)
		err := e.Exec(ctx, "INSERT INTO files VALUES ($1, $2, $3, $4, $5, $6, $7)", f.Number, f.Name, f.SHA256, f.RecordSet, received, f.AtLoad.Rows-f.Forgotten, f.Load)
		if err != nil {
			return err
		}
	}
	return nil
}

// rejects makes the view of that name.
func rejects(ctx context.Context, e *engine.Engine, st *store.Store, upTo int) error {
	var parts []string
	for _, p := range st.Manifest.Parts {
		if p.Kind == store.Rejects && p.Load <= upTo && strings.HasSuffix(p.Path, ".parquet") {
			parts = append(parts, fmt.Sprintf("SELECT %d AS load, * FROM read_parquet(%s)", p.Load, engine.Quote(st.Path(p))))
		}
	}
	if err := e.Exec(ctx, "CREATE OR REPLACE TEMP VIEW rejects_ever AS "+strings.Join(parts, " UNION ALL ")); err != nil {
		return err
	}
	return e.Exec(ctx, sqlText("rejects"))
}

// samples makes the view of that name: the frames in the order in which they were drawn, as draw, from 1.
func samples(ctx context.Context, e *engine.Engine, frames []string) error {
	parts := []string{emptySamples}
	for i, path := range frames {
		parts = append(parts, fmt.Sprintf("SELECT %d, %s FROM read_parquet(%s)", i+1, sampleColumns, engine.Quote(path)))
	}
	return e.Exec(ctx, "CREATE OR REPLACE VIEW samples AS "+strings.Join(parts, " UNION ALL "))
}

const sampleColumns = `sample, month, inspection_id, site_id, point_id, technician_id, call, chance, part, "open", open_chance`

const emptySamples = `SELECT CAST(NULL AS INTEGER) AS draw, CAST(NULL AS VARCHAR) AS sample, CAST(NULL AS VARCHAR) AS month,
	CAST(NULL AS VARCHAR) AS inspection_id, CAST(NULL AS VARCHAR) AS site_id, CAST(NULL AS VARCHAR) AS point_id,
	CAST(NULL AS VARCHAR) AS technician_id, CAST(NULL AS VARCHAR) AS call, CAST(NULL AS DOUBLE) AS chance, CAST(NULL AS VARCHAR) AS part,
	CAST(NULL AS BOOLEAN) AS "open", CAST(NULL AS DOUBLE) AS open_chance
	WHERE false`

func fatesUntil(ctx context.Context, e *engine.Engine, st *store.Store, upTo int) error {
	if err := e.View(ctx, "fates", st.Paths(store.Fates, "", upTo), emptyFates); err != nil {
		return err
	}
	if err := e.Exec(ctx, sqlText("fate_before")); err != nil {
		return err
	}
	return e.Exec(ctx, "CREATE OR REPLACE TABLE not_held AS SELECT record_set, file, line FROM fate_before WHERE NOT held")
}

// superseded adds to the table of that name the rows of a record set in not_held that are in a part: most never were taken in, and
// every view would look for them in vain.
func superseded(ctx context.Context, e *engine.Engine, set *contract.Set, parts []string) error {
	if err := e.View(ctx, "taken_"+set.Name, parts, emptyTable(set)); err != nil {
		return err
	}
	return e.Exec(ctx, "INSERT INTO superseded SELECT n.record_set, n.file, n.line FROM not_held n WHERE n.record_set = "+engine.Quote(set.Name)+
		" AND EXISTS (SELECT 1 FROM taken_"+set.Name+" t WHERE t._file = n.file AND t._line = n.line)")
}

// heldView makes view held_SET over the given parts, less the rows in the table without.
func heldView(ctx context.Context, e *engine.Engine, set *contract.Set, parts []string, without string) error {
	if err := e.View(ctx, "taken_"+set.Name, parts, emptyTable(set)); err != nil {
		return err
	}
	var unheld int64
	err := e.Each(ctx, "SELECT count(*) FROM "+without+" WHERE record_set = $1", []any{set.Name}, func(scan func(...any) error) error {
		return scan(&unheld)
	})
	if err != nil {
		return err
	}
	view := "CREATE OR REPLACE VIEW held_" + set.Name + " AS SELECT * FROM taken_" + set.Name + " t"
	if unheld > 0 {
		view += " WHERE NOT EXISTS (SELECT 1 FROM " + without + " n WHERE n.record_set = " + engine.Quote(set.Name) +
			" AND n.file = t._file AND n.line = t._line)"
	}
	return e.Exec(ctx, view)
}
