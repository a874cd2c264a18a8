package transform

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"scanledger/transform/engine"
)

// maker is one run of Facts.
type maker struct {
	ctx      context.Context
	e        engine.SQL
	dir      string
	opt      Options
	step     func(table string)
	base     string   // digest of what all months are made with
	files    string   // which record files the earlier run knew: their digest, and the number of the last
	months   []*month // in order
	coded    string   // folder of the base tables once Between has run; before, empty
	fresh    int      // months whose readings were read
	clusters Clusters
}

// month is a local month that has an inspection.
type month struct {
	name                   string            // YYYY-MM
	visits                 string            // fingerprint of its rows of visits
	startedFrom, startedTo int64             // bounds of started_at, microseconds since 1970
	firstDay, lastDay      int64             // of local dates, days since 1970
	inputs                                   // what else its tables are made of
	digests                map[string]string // by pass
	earlier                map[string]string // the same of the earlier run
}

// inputs are fingerprints of what the tables of a month are made of, and bounds to find it by.
type inputs struct {
	readings, findings, logs string
	count                    int64 // of readings
	size                     int64 // rows to go through: of visits, and of readings once they are known
	takenFrom, takenTo       int64 // bounds of their taken_at, microseconds since 1970
}

// visits finds the months and makes the table of that name, a file a month.
func (m *maker) visits() error {
	m.step("visits")
	query, err := SQL("visits")
	if err != nil {
		return err
	}
	if err := m.e.Define(m.ctx, "placed_visits", query); err != nil {
		return err
	}
	if err := m.find(); err != nil {
		return err
	}
	if err := m.recall(); err != nil {
		return err
	}
	if err := m.stage([]pass{visited}, func(p pass) []string { return p.tables }); err != nil {
		return err
	}
	return m.everything("visits")
}

// everything puts a view of a monthly table over all months.
func (m *maker) everything(table string) error {
	if len(m.months) > 0 {
		return m.view(table, table, m.months)
	}
	if err := m.folder(table); err != nil {
		return err
	}
	path := m.path(table, &month{name: "none"}) // over nothing: the columns alone
	if err := m.save(table, path); err != nil {
		return err
	}
	return m.e.View(m.ctx, table, []string{path}, "")
}

// folder makes the folder of a table's months.
func (m *maker) folder(table string) error {
	if err := os.MkdirAll(filepath.Join(m.dir, table), 0o700); err != nil {
		return fmt.Errorf("make table %s: %w", table, err)
	}
	return nil
}

// path is the file of a month of a table.
func (m *maker) path(table string, at *month) string {
	return filepath.Join(m.dir, table, at.name+".parquet")
}

// view puts a view of the given name over some months of a table.
func (m *maker) view(name, table string, months []*month) error {
	if m.coded != "" && slices.Contains(Base(), table) {
		return m.codedView(name, table, months)
	}
	return m.e.View(m.ctx, name, m.paths(table, months), "SELECT * FROM "+engine.Name(table)+" WHERE false")
}

// paths are the files of some months of a table.
func (m *maker) paths(table string, months []*month) []string {
	out := make([]string, len(months))
	for i, at := range months {
		out[i] = m.path(table, at)
	}
	return out
}

// codedView is view once ids have been replaced: then base tables are in one file each.
func (m *maker) codedView(name, table string, months []*month) error {
	names := make([]string, len(months))
	for i, at := range months {
		names[i] = at.name
	}
	return m.e.Define(m.ctx, name, "SELECT * FROM read_parquet("+
		engine.Quote(filepath.Join(m.coded, table+".parquet"))+") WHERE list_contains("+engine.List(names)+"::VARCHAR[], month)")
}

// monthly makes the tables of every month, then those that need all months.
func (m *maker) monthly() error {
	if len(m.months) == 0 {
		return m.empty()
	}
	if err := m.inputs(); err != nil {
		return err
	}
	for _, at := range m.months {
		at.size += at.count
	}
	pick := func(p pass) []string { return m.wanted(p.all()) }
	if m.opt.Between != nil {
		pick = func(p pass) []string { return p.tables }
	}
	for _, passes := range stages() {
		if err := m.stage(passes, pick); err != nil {
			return err
		}
	}
	if m.opt.Only != nil {
		return nil
	}
	if err := m.finish(Base()); err != nil {
		return err
	}
	if err := m.whole("recheck_pairs"); err != nil {
		return err
	}
	if m.opt.Between != nil {
		return m.between()
	}
	if err := m.finish(Tables()); err != nil {
		return err
	}
	return m.remember()
}

// wanted are those of some tables that are to be made.
func (m *maker) wanted(tables []string) []string {
	return slices.DeleteFunc(slices.Clone(tables), func(table string) bool {
		return m.opt.Only != nil && !slices.Contains(m.opt.Only, table) && table != visited.tables[0]
	})
}

// between lets ids be replaced, and makes the tables whose sentences name them.
func (m *maker) between() (err error) {
	if m.coded, err = m.opt.Between(); err != nil {
		return err
	}
	for _, passes := range stages() {
		if err := m.stage(passes, func(p pass) []string { return p.named }); err != nil {
			return err
		}
	}
	folder := m.coded
	m.coded = ""
	for _, p := range passes {
		for _, table := range p.named {
			if err := m.everything(table); err != nil {
				return err
			}
		}
		for _, table := range p.tables {
			if err := m.e.View(m.ctx, table, []string{filepath.Join(folder, table+".parquet")}, ""); err != nil {
				return err
			}
		}
	}
	for _, table := range []string{"visits", "readings"} {
		if err := m.e.View(m.ctx, table, []string{filepath.Join(folder, table+".parquet")}, ""); err != nil {
			return err
		}
	}
	return nil
}

// empty puts views without rows in the place of the tables of months.
func (m *maker) empty() error {
	if err := m.e.Define(m.ctx, "these_months", "SELECT CAST(NULL AS VARCHAR) AS month, CAST(NULL AS VARCHAR) AS year_from WHERE false"); err != nil {
		return err
	}
	if err := m.e.Define(m.ctx, "these_findings", "SELECT * FROM held_findings"); err != nil {
		return err
	}
	if err := m.theseReadings("SELECT r.*, CAST(NULL AS BIGINT) AS nth FROM held_readings r WHERE false"); err != nil {
		return err
	}
	for _, p := range passes {
		for scope, tables := range map[string][]string{"near_": p.near, "year_": p.year} {
			for _, table := range tables {
				if err := m.e.Define(m.ctx, scope+table, "SELECT * FROM "+engine.Name(table)); err != nil {
					return err
				}
			}
		}
		for _, table := range p.all() {
			if err := m.everything(table); err != nil {
				return err
			}
		}
	}
	if err := m.whole("recheck_pairs"); err != nil {
		return err
	}
	if m.opt.Between == nil {
		return nil
	}
	_, err := m.opt.Between()
	return err
}

// finish puts views over all months of the given tables.
func (m *maker) finish(tables []string) error {
	if err := m.theseReadings("SELECT * FROM held_readings"); err != nil {
		return err
	}
	for _, table := range tables {
		if slices.Contains(monthly(), table) {
			if err := m.everything(table); err != nil {
				return err
			}
		}
	}
	return nil
}
