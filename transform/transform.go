// Package transform turns held records into facts.
//
// In: the held_ views and the table of files that settle makes and, from an earlier run, the fact tables made then.
// Out: fact tables as Parquet, most of them a file a month: visits, decisions, truth, point-visits with call and
// truth, counts that analyses read, and the chances and breaches of the protocol. Every table is one .sql file
// whose header says its grain and columns. A month is made again only where something it is made of has changed;
// the bytes are the same either way. It never computes a statistic.
package transform

import (
	"context"
	"embed"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"

	"scanledger/transform/engine"
	"scanledger/transform/logs"
	"scanledger/transform/protocol"
)

//go:embed sql/*.sql
var sqlFiles embed.FS

// whole lists the fact tables of one file each, in the order in which they are made, but for those of unit logs,
// which come before log_offsets, and recheck_pairs, which comes last and names no id in a sentence.
var whole = []string{"season_months", "log_offsets", "log_matches"}

// Tables lists the fact tables in the order in which they are made.
func Tables() []string {
	out := slices.Concat(whole[:1], []string{"visits", "readings"}, logs.Tables(), whole[1:])
	for _, p := range passes {
		out = append(out, p.tables...)
	}
	out = append(out, "recheck_pairs")
	for _, p := range passes {
		out = append(out, p.named...)
	}
	return out
}

// Base lists those whose ids are in columns of their own; the others name ids in sentences too.
func Base() []string {
	all := Tables()
	return all[:slices.Index(all, "recheck_pairs")+1]
}

// DefaultTruthDays is how long after a visit a finding still tells about it. (RECORDS: 60 days.)
const DefaultTruthDays = 60

// Options set what the tables mean.
type Options struct {
	TruthDays int // 0: DefaultTruthDays
	MostSites int // that are clusters each for themselves; 0: DefaultMostSites
	Protocol  protocol.Settings
	Logs      logs.Settings
	Describe  logs.Describe  // of movement in unit logs; nil: no signatures
	Local     *engine.Engine // makes the tables of unit logs where facts are made in a fleet, with the same views of settle in it; nil: the engine of the facts
	Earlier   string         // folder of the fact tables of an earlier run, whose months and unit-days are taken over where nothing changed; may be empty

	Only []string // tables by month to make, with those they are made of, to see what they cost; nil: all there are

	// Between, where set, is called once the base tables are made, and before the others, which name ids
	// in sentences. These are then made of the base tables as it leaves them: NAME.parquet in the folder it returns.
	Between func() (folder string, err error)
}

// Made says how much had to be made.
type Made struct {
	Months, Fresh int // local months with an inspection, and those of them whose readings were read
}

// Facts makes the fact tables in dir, and a view of each in e.
func Facts(ctx context.Context, e engine.SQL, dir string, opt Options, step func(table string)) (Made, error) {
	if opt.TruthDays == 0 {
		opt.TruthDays = DefaultTruthDays
	}
	if opt.MostSites == 0 {
		opt.MostSites = DefaultMostSites
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return Made{}, fmt.Errorf("make facts: %w", err)
	}
	if embedded, ok := e.(*engine.Engine); ok {
		opt.Local = embedded
	}
	var turn sync.Mutex // months are made at the same time
	m := &maker{ctx: ctx, e: e, dir: dir, opt: opt, step: func(table string) {
		turn.Lock()
		defer turn.Unlock()
		step(table)
	}}
	if err := m.whole("season_months"); err != nil {
		return Made{}, err
	}
	if err := m.visits(); err != nil {
		return Made{}, err
	}
	if err := m.params(); err != nil {
		return Made{}, err
	}
	if err := m.theseReadings("SELECT * FROM held_readings"); err != nil {
		return Made{}, err
	}
	if err := m.logs(); err != nil {
		return Made{}, err
	}
	err := m.monthly()
	return Made{len(m.months), m.fresh}, err
}

// logs makes the tables of unit logs.
func (m *maker) logs() error {
	m.step("log_holds")
	if err := m.fromLogs(); err != nil {
		return err
	}
	for _, table := range whole[1:] {
		if err := m.whole(table); err != nil {
			return err
		}
	}
	return nil
}

// fromLogs makes those that come from samples alone, in the embedded engine.
func (m *maker) fromLogs() error {
	local := m.opt.Local
	if local == m.e {
		_, err := logs.Make(m.ctx, local, m.dir, m.opt.Earlier, m.opt.Logs, m.opt.Describe)
		return err
	}
	if err := local.Define(m.ctx, "these_readings", "SELECT * FROM held_readings"); err != nil {
		return err
	}
	for _, table := range []string{"season_months", "visits", "readings"} {
		query, err := SQL(table)
		if err != nil {
			return err
		}
		if err := local.Define(m.ctx, table, query); err != nil {
			return err
		}
	}
	if _, err := logs.Make(m.ctx, local, m.dir, "", m.opt.Logs, m.opt.Describe); err != nil {
		return err
	}
	if err := local.Save(m.ctx, "SELECT * FROM log_readings", filepath.Join(m.dir, "log_readings.parquet")); err != nil {
		return err
	}
	for _, table := range append(logs.Tables(), "log_readings") {
		if err := m.e.View(m.ctx, table, []string{filepath.Join(m.dir, table+".parquet")}, ""); err != nil {
			return err
		}
	}
	return logs.Params(m.ctx, m.e, m.opt.Logs)
}

// whole makes a table of one file.
func (m *maker) whole(table string) error {
	m.step(table)
	path := filepath.Join(m.dir, table+".parquet")
	if err := m.save(table, path); err != nil {
		return err
	}
	return m.e.View(m.ctx, table, []string{path}, "")
}

func (m *maker) save(table, path string) error {
	query, err := SQL(table)
	if err != nil {
		return err
	}
	if err := m.e.Save(m.ctx, query, path); err != nil {
		return fmt.Errorf("make table %s: %w", table, err)
	}
	return nil
}

// params makes the table of one row whose columns are the settings, and how sites are put into clusters.
func (m *maker) params() error {
	var sites int
	if err := m.one("SELECT count(DISTINCT site_key) FROM visits", &sites); err != nil {
		return fmt.Errorf("count sites: %w", err)
	}
	m.clusters = clusters(sites, m.opt.MostSites)
	columns := "CAST($truth_days AS INTEGER) AS truth_days, CAST($site_groups AS BIGINT) AS site_groups, CAST($circumstance_groups AS BIGINT) AS circumstance_groups, " +
		"CAST($pooled_groups AS BIGINT) AS pooled_groups, $sites_grouped AS sites_grouped"
	args := []any{engine.Arg("truth_days", m.opt.TruthDays), engine.Arg("site_groups", m.clusters.Sites), engine.Arg("circumstance_groups", m.clusters.Circumstances),
		engine.Arg("pooled_groups", m.clusters.Pooled), engine.Arg("sites_grouped", m.clusters.Grouped())}
	for _, p := range protocol.Parameters {
		columns += ", CAST($" + p.Name + " AS DOUBLE) AS " + p.Name
		args = append(args, engine.Arg(p.Name, m.opt.Protocol.Value(p.Name)))
	}
	return m.e.Keep(m.ctx, "params", "SELECT "+columns, args...)
}

// SQL is the query that makes a fact table.
func SQL(table string) (string, error) {
	raw, err := sqlFiles.ReadFile("sql/" + table + ".sql")
	if err != nil {
		return "", fmt.Errorf("no fact table %q: %w", table, err)
	}
	return string(raw), nil
}

// Paths lists the files of a fact table in a folder of facts, months in order. There are none of readings, which are
// read from the store, and of tables of a month where there is no month.
func Paths(dir, table string) ([]string, error) {
	path := filepath.Join(dir, table+".parquet")
	if _, err := os.Stat(path); err == nil {
		return []string{path}, nil
	}
	return filepath.Glob(filepath.Join(dir, table, "*.parquet"))
}
