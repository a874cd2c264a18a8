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
const version = "2"

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
		if name == ofFiles {
			m.files = digest
		}
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

// ofFiles stands in the place of a month where the record files are told that an output is made of.
const ofFiles = "files"

// remember writes what the months were made of, for a later run.
func (m *maker) remember() error {
	if !m.e.Fingerprints() {
		return nil
	}
	files, err := m.rememberSums()
	if err != nil {
		return err
	}
	rows := []string{fmt.Sprintf("('%s', '', '%s')", ofFiles, files)}
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
