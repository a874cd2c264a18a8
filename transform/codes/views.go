package codes

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"scanledger/ingest/contract"
	"scanledger/ingest/store"
	"scanledger/transform"
	"scanledger/transform/engine"
)

// withheld stands for text that may hold anything.
const withheld = "withheld"

// ids says what becomes of a column of this name, wherever it is; all others stay.
var ids = map[string]string{
	"technician_id":     "coded('" + string(Technician) + "', technician_id)",
	"site_id":           "coded('" + string(Site) + "', site_id)",
	"inspection_id":     "coded('" + string(Inspection) + "', inspection_id)",
	"first_inspection":  "coded('" + string(Inspection) + "', first_inspection)",
	"first_technician":  "coded('" + string(Technician) + "', first_technician)",
	"second_technician": "coded('" + string(Technician) + "', second_technician)",
	"recheck_of":        "coded('" + string(Inspection) + "', recheck_of)",
	"point_id":          "coded('" + string(Point) + "', point_id)",
	"reading_id":        "coded('" + string(Reading) + "', reading_id)",
	"first_reading":     "coded('" + string(Reading) + "', first_reading)",
	"shown_reading":     "coded('" + string(Reading) + "', shown_reading)",
	"finding_id":        "coded('" + string(Finding) + "', finding_id)",
	"site_key":          "CAST(md5_number_lower(coded('" + string(Site) + "', CAST(site_key AS VARCHAR))) >> 1 AS BIGINT)", // a plain hash could be found by trying
	"name":              "CAST(NULL AS VARCHAR)",
}

// texts are columns of free text. A sentence in seen quotes it, and names ids, which have codes by then.
var texts = map[string]string{
	"areas_not_inspected": "CASE WHEN areas_not_inspected IS NOT NULL THEN '" + withheld + "' END",
	"seen":                `regexp_replace(seen, '".*"', '` + withheld + `', 's')`,
}

// Views replaces the ids in the held_ views, the base tables, the samples and the rejects of an engine, by way of files in scratch, and returns the store with its record files named by number. It
// comes after the base tables, for which of two readings at one moment is the last goes by their ids, and
// before the further ones, which name ids in sentences. Free text of the tables is left for Withhold: checks read it.
func (c Coder) Views(ctx context.Context, e *engine.Engine, st *store.Store, scratch string) (*store.Store, error) {
	if err := c.define(ctx, e); err != nil {
		return nil, err
	}
	if err := os.MkdirAll(scratch, 0o700); err != nil {
		return nil, fmt.Errorf("replace ids: %w", err)
	}
	views := append(transform.Base(), "samples")
	for _, set := range contract.Sets() {
		if slices.ContainsFunc(set.Fields, func(f contract.Field) bool { return ids[f.Name] != "" }) {
			views = append(views, "held_"+set.Name)
		}
	}
	for _, view := range views {
		if err := replace(ctx, e, view, scratch, ids); err != nil {
			return nil, err
		}
	}
	numbered := byNumber(st)
	return numbered, rejects(ctx, e)
}

// Withhold writes every fact table to dir without its free text, and puts its view over that.
func Withhold(ctx context.Context, e *engine.Engine, dir string) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("withhold text: %w", err)
	}
	if err := replace(ctx, e, "held_inspections", e.Scratch(), texts); err != nil {
		return err
	}
	for _, table := range transform.Tables() {
		if err := replace(ctx, e, table, dir, texts); err != nil {
			return err
		}
	}
	return nil
}

// define makes the SQL function coded(kind, id), the twin of Code. The key reaches the engine as a bound
// value, so that no message can print it.
func (c Coder) define(ctx context.Context, e *engine.Engine) error {
	inner, outer := c.pads()
	err := e.Exec(ctx, "CREATE OR REPLACE TEMP TABLE code_key AS SELECT CAST($inner AS BLOB) AS inside, CAST($outer AS BLOB) AS outside",
		engine.Arg("inner", inner), engine.Arg("outer", outer))
	if err != nil {
		return err
	}
	return e.Exec(ctx, fmt.Sprintf(`CREATE OR REPLACE TEMP MACRO coded(kind, id) AS kind || '-' || translate(substr(sha256(
		(SELECT outside FROM code_key) || unhex(sha256((SELECT inside FROM code_key) || encode(kind || chr(0) || id)))), 1, %d),
		'0123456789abcdef', '%s')`, length, alphabet))
}

// replace saves a view with some of its columns replaced and puts the view over what was saved. Rows are put in
// order by what they now hold: their old order would tell the order of the ids.
func replace(ctx context.Context, e *engine.Engine, view, dir string, columns map[string]string) error {
	var changed []string
	err := e.Each(ctx, "SELECT column_name FROM (DESCRIBE SELECT * FROM "+engine.Name(view)+")", nil, func(scan func(...any) error) error {
		var name string
		err := scan(&name)
		if by := columns[name]; by != "" {
			changed = append(changed, by+" AS "+name)
		}
		return err
	})
	if err != nil {
		return err
	}
	what := "*"
	if len(changed) > 0 {
		what += " REPLACE (" + strings.Join(changed, ", ") + ")"
	}
	path := filepath.Join(dir, view+".parquet")
	if err := e.Save(ctx, "SELECT "+what+" FROM "+engine.Name(view)+" ORDER BY ALL", path); err != nil {
		return fmt.Errorf("replace columns of %s: %w", view, err)
	}
	return e.View(ctx, view, []string{path}, "")
}

// byNumber is the store with its record files named by record set and number: a name may hold anything.
func byNumber(st *store.Store) *store.Store {
	out := *st
	out.Manifest.Files = append([]store.File{}, st.Manifest.Files...)
	for i := range out.Manifest.Files {
		f := &out.Manifest.Files[i]
		f.Name = fmt.Sprintf("%s file %d", f.RecordSet, f.Number)
	}
	return &out
}

// rejects withholds what was rejected, and names the files as byNumber does.
func rejects(ctx context.Context, e *engine.Engine) error {
	return errors.Join(
		e.Exec(ctx, fmt.Sprintf(`CREATE OR REPLACE TEMP TABLE rejects_withheld AS SELECT r.record_set || ' file ' || r.number AS file,
			r.record_set, r.line, r."column", r.rule, '%s' AS value, '%s' AS message FROM rejects r`, withheld, withheld)),
		e.Exec(ctx, "CREATE OR REPLACE TEMP VIEW rejects AS SELECT * FROM rejects_withheld"))
}
