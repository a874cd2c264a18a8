// Package logs makes spells and holds of the samples that units wrote.
//
// In: the samples held and, from an earlier run, the fact tables made then. Out: log_days, log_spells, log_holds
// and log_signatures as Parquet. It goes by unit-day: those whose samples are what they were are taken over, the others
// are made in chunks, so that memory is bounded and a new day costs only itself; the bytes are the same either
// way. It never matches a hold with a reading or judges a unit, and leaves it to others what movement looks like.
package logs

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"scanledger/transform/engine"
)

//go:embed sql/*.sql
var sqlFiles embed.FS

// Tables lists the fact tables that Make makes.
func Tables() []string { return []string{"log_days", "log_spells", "log_holds", "log_signatures"} }

// chunkSamples bounds the samples worked on at one time: some 250 MB with their windows.
const chunkSamples = 1_500_000

// version changes with what spells and holds mean.
const version = 4

// SQL is the query that makes a table.
func SQL(table string) string {
	raw, err := sqlFiles.ReadFile("sql/" + table + ".sql")
	if err != nil {
		panic(err) // embedded: a missing file is a broken build, and every test would say so
	}
	return string(raw)
}

// Made says what Make had to do, in unit-days.
type Made struct{ Days, Fresh int64 }

// Make makes the tables in dir and a view of each in e, which has the views of what is held and the fact
// tables visits and readings. Earlier is the folder of the fact tables of an earlier run, or empty. Without
// describe there are no signatures.
func Make(ctx context.Context, e *engine.Engine, dir, earlier string, set Settings, describe Describe) (Made, error) {
	m := maker{ctx: ctx, e: e, dir: dir, scratch: filepath.Join(e.Scratch(), "logs"), describe: describe}
	if err := os.MkdirAll(m.scratch, 0o700); err != nil {
		return Made{}, fmt.Errorf("make unit logs: %w", err)
	}
	if err := Params(ctx, e, set); err != nil {
		return Made{}, err
	}
	chunks, err := m.days(set, m.usable(earlier))
	if err != nil {
		return Made{}, err
	}
	for _, c := range chunks {
		if err := m.chunk(c); err != nil {
			return Made{}, err
		}
	}
	return m.made, errors.Join(m.publish(earlier), os.RemoveAll(m.scratch))
}

// Params makes the table of one row whose columns are the settings.
func Params(ctx context.Context, e *engine.Engine, set Settings) error {
	var columns []string
	var args []any
	for _, p := range Parameters {
		columns = append(columns, "CAST($"+p.Name+" AS DOUBLE) AS "+p.Name)
		args = append(args, engine.Arg(p.Name, set.Value(p.Name)))
	}
	return e.Exec(ctx, "CREATE OR REPLACE TABLE log_params AS SELECT "+strings.Join(columns, ", "), args...)
}

// maker is one run of Make.
type maker struct {
	ctx          context.Context
	e            *engine.Engine
	dir, scratch string
	describe     Describe
	reuse        bool
	parts        map[string][]string // by table, made in this run
	made         Made
}

// usable reports whether the earlier tables are all there; half of them are none.
func (m *maker) usable(earlier string) string {
	if earlier == "" {
		return ""
	}
	for _, table := range Tables() {
		if _, err := os.Stat(filepath.Join(earlier, table+".parquet")); err != nil {
			return ""
		}
	}
	m.reuse = true
	return earlier
}

// days makes log_days and tells which chunks of unit-days are to be made.
func (m *maker) days(set Settings, earlier string) ([]chunk, error) {
	for _, table := range []string{"log_readings", "log_hours"} {
		if err := m.e.Exec(m.ctx, "CREATE OR REPLACE TEMP TABLE "+table+" AS "+SQL(table)); err != nil {
			return nil, err
		}
	}
	madeWith := fmt.Sprintf("%d %s", version, set.text())
	if m.describe == nil {
		madeWith += "no signatures "
	}
	days := `SELECT unit_id, unit_day, CAST(sum(samples) AS BIGINT) AS samples, CAST(sum(fingerprint) AS VARCHAR) AS fingerprint,
		` + engine.Quote(madeWith) + ` || version() AS made_with FROM log_hours GROUP BY unit_id, unit_day ORDER BY unit_id, unit_day`
	path := filepath.Join(m.dir, "log_days.parquet")
	if err := m.e.Save(m.ctx, days, path); err != nil {
		return nil, fmt.Errorf("make table log_days: %w", err)
	}
	if err := m.e.View(m.ctx, "log_days", []string{path}, ""); err != nil {
		return nil, err
	}
	if err := m.stale(earlier); err != nil {
		return nil, err
	}
	return m.chunks()
}

// stale makes log_stale, the unit-days to be made with their chunk, and log_fresh, their hours.
func (m *maker) stale(earlier string) error {
	known := "SELECT * FROM log_days WHERE false"
	if earlier != "" {
		known = "SELECT * FROM read_parquet(" + engine.Quote(filepath.Join(earlier, "log_days.parquet")) + ")"
	}
	for _, query := range []string{
		"CREATE OR REPLACE TEMP TABLE log_kept AS SELECT unit_id, unit_day FROM (" + known + ") k SEMI JOIN log_days d USING (unit_id, unit_day, samples, fingerprint, made_with)",
		fmt.Sprintf(`CREATE OR REPLACE TEMP TABLE log_stale AS
			SELECT unit_id, unit_day, CAST(row_number() OVER w AS INTEGER) AS day_no, CAST((sum(samples) OVER w - samples) // %d AS INTEGER) AS chunk
			FROM log_days ANTI JOIN log_kept USING (unit_id, unit_day) WINDOW w AS (ORDER BY unit_id, unit_day)`, chunkSamples),
		`CREATE OR REPLACE TEMP TABLE log_fresh AS SELECT h.unit_id, h.hour_no, s.day_no, s.chunk FROM log_hours h JOIN log_stale s USING (unit_id, unit_day)`,
	} {
		if err := m.e.Exec(m.ctx, query); err != nil {
			return err
		}
	}
	return nil
}

// chunk is some unit-days made at one time: those of the units from first to last that bear its number.
type chunk struct {
	number      int
	first, last string
}

func (m *maker) chunks() (out []chunk, err error) {
	count := "SELECT count(*), count(*) FILTER (WHERE EXISTS (SELECT 1 FROM log_stale s WHERE s.unit_id = d.unit_id AND s.unit_day = d.unit_day)) FROM log_days d"
	if err := m.e.Each(m.ctx, count, nil, func(scan func(...any) error) error { return scan(&m.made.Days, &m.made.Fresh) }); err != nil {
		return nil, err
	}
	err = m.e.Each(m.ctx, "SELECT chunk, min(unit_id), max(unit_id) FROM log_stale GROUP BY chunk ORDER BY chunk", nil, func(scan func(...any) error) error {
		var c chunk
		defer func() { out = append(out, c) }()
		return scan(&c.number, &c.first, &c.last)
	})
	return out, err
}

// chunk makes the spells and holds of a chunk.
func (m *maker) chunk(c chunk) error {
	err := m.e.Exec(m.ctx, "CREATE OR REPLACE TEMP TABLE log_samples AS "+SQL("log_samples"),
		engine.Arg("chunk", c.number), engine.Arg("first_unit", c.first), engine.Arg("last_unit", c.last))
	if err != nil {
		return err
	}
	if m.parts == nil {
		m.parts = map[string][]string{}
	}
	for _, table := range Tables()[1:] {
		if table == "log_signatures" { // of the chunk's holds, which are made by now
			if err := m.signatures(m.parts["log_holds"]); err != nil {
				return err
			}
		}
		path := filepath.Join(m.scratch, fmt.Sprintf("%s-%d.parquet", table, c.number))
		if err := m.e.Save(m.ctx, SQL(table), path); err != nil {
			return fmt.Errorf("make table %s: %w", table, err)
		}
		m.parts[table] = append(m.parts[table], path)
	}
	return m.e.Exec(m.ctx, "DROP TABLE log_samples")
}

// publish puts what was made and what was kept together, in one order.
func (m *maker) publish(earlier string) error {
	for _, table := range Tables()[1:] {
		number := "hold_no"
		if table == "log_spells" {
			number = "spell_no"
		}
		whole, err := m.whole(table, earlier)
		if err != nil {
			return err
		}
		path := filepath.Join(m.dir, table+".parquet")
		if err := m.e.Save(m.ctx, whole+" ORDER BY unit_id, unit_day, "+number, path); err != nil {
			return fmt.Errorf("make table %s: %w", table, err)
		}
		if err := m.e.View(m.ctx, table, []string{path}, ""); err != nil {
			return err
		}
	}
	return nil
}

// whole is a SELECT of all rows of a table: those made now and those kept.
func (m *maker) whole(table, earlier string) (string, error) {
	var from []string
	if parts := m.parts[table]; len(parts) > 0 {
		from = append(from, "SELECT * FROM read_parquet("+engine.List(parts)+")")
	}
	if m.reuse {
		from = append(from, "SELECT t.* FROM read_parquet("+engine.Quote(filepath.Join(earlier, table+".parquet"))+") t SEMI JOIN log_kept k ON k.unit_id = t.unit_id AND k.unit_day = t.unit_day")
	}
	if len(from) == 0 { // no log at all: the columns alone
		none := "CREATE OR REPLACE TEMP TABLE log_samples AS SELECT * FROM (" + SQL("log_samples") + ") WHERE false"
		if err := m.e.Exec(m.ctx, none, engine.Arg("chunk", 0), engine.Arg("first_unit", ""), engine.Arg("last_unit", "")); err != nil {
			return "", err
		}
		if table == "log_signatures" {
			if err := m.signatures(nil); err != nil {
				return "", err
			}
		}
		from = append(from, "("+SQL(table)+")")
	}
	return "SELECT * FROM (" + strings.Join(from, " UNION ALL BY NAME ") + ")", nil
}
