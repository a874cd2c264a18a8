package transform

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"scanledger/transform/engine"
	"scanledger/transform/logs"
	"scanledger/transform/protocol"
)

// version changes with what Go adds to the queries of fact tables.
const version = "1"

// digest of texts, kept apart.
func digest(texts ...string) string {
	sum := sha256.New()
	for _, t := range texts {
		_, _ = fmt.Fprintf(sum, "%d %s", len(t), t)
	}
	return hex.EncodeToString(sum.Sum(nil)[:16])
}

// recall works out what all months are made with, and reads what the months of the earlier run were made of.
func (m *maker) recall() error {
	if !m.e.Fingerprints() {
		return nil
	}
	with := []string{version, fmt.Sprint(m.opt.TruthDays)}
	for _, p := range protocol.Parameters {
		with = append(with, fmt.Sprint(p.Name, m.opt.Protocol.Value(p.Name)))
	}
	for _, p := range logs.Parameters {
		with = append(with, fmt.Sprint(p.Name, m.opt.Logs.Value(p.Name)))
	}
	shared, err := sharedQueries()
	if err != nil {
		return err
	}
	with = append(with, shared...)
	var engineVersion string
	if err := m.one("SELECT version()", &engineVersion); err != nil {
		return err
	}
	m.base = digest(append(with, engineVersion)...)
	if m.opt.Earlier == "" || m.opt.Between != nil { // an output without ids has nothing to take over
		return nil
	}
	path := filepath.Join(m.opt.Earlier, "months.parquet")
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return m.e.Each(m.ctx, "SELECT month, pass, digest FROM read_parquet("+engine.Quote(path)+")", nil, func(scan func(...any) error) error {
		var name, pass, digest string
		err := scan(&name, &pass, &digest)
		for _, at := range m.months {
			if at.name == name {
				at.earlier[pass] = digest
			}
		}
		return err
	})
}

// sharedQueries are those of no pass: a changed query of a pass has the tables of that pass made again, and of those after it.
func sharedQueries() ([]string, error) {
	files, err := sqlFiles.ReadDir("sql")
	if err != nil {
		return nil, err
	}
	var shared []string
	for _, f := range files {
		table := strings.TrimSuffix(f.Name(), ".sql")
		if !slices.ContainsFunc(passes, func(p pass) bool { return slices.Contains(p.all(), table) }) {
			shared = append(shared, table)
		}
	}
	return queries(shared)
}

// queries are those of tables.
func queries(tables []string) (texts []string, err error) {
	for _, table := range tables {
		text, err := SQL(table)
		if err != nil {
			return nil, err
		}
		texts = append(texts, text)
	}
	return texts, nil
}

// remember writes what the months were made of, for a later run.
func (m *maker) remember() error {
	if !m.e.Fingerprints() {
		return nil
	}
	var rows []string
	for _, at := range m.months {
		rows = append(rows, fmt.Sprintf("('%s', 'visits', '%s')", at.name, at.digests["visits"]))
		for _, p := range passes {
			rows = append(rows, fmt.Sprintf("('%s', '%s', '%s')", at.name, p.name, at.digests[p.name]))
		}
	}
	query := "SELECT * FROM (VALUES " + strings.Join(rows, ", ") + ") AS m (month, pass, digest) ORDER BY month, pass"
	return m.e.Save(m.ctx, query, filepath.Join(m.dir, "months.parquet"))
}

func (m *maker) one(query string, to ...any) error {
	return m.e.Each(m.ctx, query, nil, func(scan func(...any) error) error { return scan(to...) })
}

// each calls set with the fingerprint of every month that a query of month and values has.
func (m *maker) each(query string, to func(at *month) []any) error {
	by := map[string]*month{}
	for _, at := range m.months {
		by[at.name] = at
	}
	return m.e.Each(m.ctx, "SELECT * FROM ("+query+") ORDER BY 1", nil, func(scan func(...any) error) error {
		var name string
		var found month
		if err := scan(append([]any{&name}, to(&found)...)...); err != nil {
			return err
		}
		at, ok := by[name]
		if !ok {
			return fmt.Errorf("no inspection in month %q", name)
		}
		return scan(append([]any{&name}, to(at)...)...)
	})
}

// inputs takes the fingerprints of what the months are made of: readings and findings by their record file and line, of which neither ever
// changes, and what unit logs say of readings.
func (m *maker) inputs() error {
	if !m.e.Fingerprints() {
		return m.each("SELECT v.month, count(*), min(epoch_us(r.taken_at)), max(epoch_us(r.taken_at)) FROM held_readings r JOIN visits v ON v.inspection_id = r.inspection_id GROUP BY v.month",
			func(at *month) []any { return []any{&at.count, &at.takenFrom, &at.takenTo} })
	}
	const line = "(SELECT number, hash(sha256) AS key FROM files) f ON f.number = "
	for _, of := range []struct {
		query string
		to    func(at *month) []any
	}{
		{`SELECT v.month, CAST(sum(hash(f.key, r._line)) AS VARCHAR), count(*), min(epoch_us(r.taken_at)), max(epoch_us(r.taken_at))
			FROM held_readings r JOIN visits v ON v.inspection_id = r.inspection_id JOIN ` + line + `r._file GROUP BY v.month`,
			func(at *month) []any { return []any{&at.readings, &at.count, &at.takenFrom, &at.takenTo} }},
		{`SELECT v.month, CAST(sum(hash(v.inspection_id, f.key, t._line)) AS VARCHAR)
			FROM held_findings t JOIN visits v ON v.site_id = t.site_id JOIN ` + line + `t._file CROSS JOIN params p
			WHERE date_diff('day', v.local_date, t.found_on) BETWEEN 0 AND p.truth_days GROUP BY v.month`,
			func(at *month) []any { return []any{&at.findings} }},
		{`SELECT v.month, CAST(sum(hash(m.reading_id, h.above_share, h.above, h.samples)) AS VARCHAR)
			FROM log_matches m JOIN log_holds h ON h.unit_id = m.unit_id AND h.unit_day = m.unit_day AND h.hold_no = m.hold_no
			JOIN visits v ON v.inspection_id = m.inspection_id WHERE m.status = 'matched' GROUP BY v.month`,
			func(at *month) []any { return []any{&at.logs} }},
	} {
		if err := m.each(of.query, of.to); err != nil {
			return fmt.Errorf("see what changed: %w", err)
		}
	}
	return m.references()
}

// references adds units, materials and technicians to what all months are made with.
func (m *maker) references() error {
	for _, table := range []string{"held_units", "held_materials", "held_technicians"} {
		var sum string
		if err := m.one("SELECT coalesce(CAST(sum(hash(t)) AS VARCHAR), '') FROM "+table+" t", &sum); err != nil {
			return err
		}
		m.base = digest(m.base, sum)
	}
	return nil
}

// digest works out what the tables of a pass are made of, in every month.
func (m *maker) digest(p pass) error {
	if m.coded != "" || !m.e.Fingerprints() {
		return nil
	}
	texts, err := queries(p.all())
	if err != nil {
		return err
	}
	made := digest(append(texts, m.base)...)
	around := map[*month]string{}
	if p.name == "found" {
		if around, err = m.contents(m.wanted(passes[1].tables)); err != nil {
			return err
		}
	}
	for _, at := range m.months {
		of := []string{made}
		switch p.name {
		case visited.name:
			of = append(of, at.visits)
		case "alone":
			of = append(of, at.visits, at.readings)
		case "around":
			of = append(of, at.findings)
			for _, o := range append(m.year(at), m.near(at)...) {
				of = append(of, o.digests["alone"])
			}
		case "found":
			of = append(of, at.digests["alone"], at.findings, at.logs, around[at])
		case "read":
			of = append(of, at.digests["found"])
		case "copied":
			for _, o := range m.year(at) {
				of = append(of, o.digests["alone"])
			}
		case "counted":
			of = append(of, at.digests["found"], fmt.Sprint(m.clusters))
		case "checked":
			of = append(of, at.digests["read"], at.digests["copied"], fmt.Sprint(m.clusters))
		}
		at.digests[p.name] = digest(of...)
	}
	return nil
}

// contents fingerprints the rows of small tables, by month.
func (m *maker) contents(tables []string) (map[*month]string, error) {
	out := map[*month]string{}
	for _, table := range tables {
		if err := m.view(table, table, m.months); err != nil {
			return nil, err
		}
		sums := map[string]string{}
		err := m.e.Each(m.ctx, "SELECT month, CAST(sum(hash(t)) AS VARCHAR) FROM "+table+" t GROUP BY month", nil, func(scan func(...any) error) error {
			var name, sum string
			err := scan(&name, &sum)
			sums[name] = sum
			return err
		})
		if err != nil {
			return nil, err
		}
		for _, at := range m.months {
			out[at] = digest(out[at], sums[at.name])
		}
	}
	return out, nil
}
