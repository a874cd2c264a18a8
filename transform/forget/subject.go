package forget

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"scanledger/ingest/contract"
	"scanledger/ingest/store"
	"scanledger/transform/engine"
	"scanledger/transform/settle"
)

// subject is what is to be forgotten, as far as the store knows it.
type subject struct {
	Request
	eng   *engine.Engine
	st    *store.Store
	trail store.Forgotten

	about       marks           // the rows meant
	inspections map[string]bool // ids of the inspections meant
	names       []string        // of the technician, in every version
	touched     map[string]bool // parts with rows that are meant
	counts      []fateCount
}

// fateCount is how many rows of a record file with one fate are meant.
type fateCount struct {
	file int
	fate string
	rows int64
}

// condition tells, in SQL, the rows of a record set that are meant; empty where none are. Readings go with their inspection.
func (s *subject) condition(set string) string {
	ofInspection := "inspection_id IN (SELECT key FROM meant_key WHERE record_set = 'inspections')"
	old := ""
	if s.Months > 0 && monthOf(set) != "" {
		old = monthOf(set) + " < DATE " + engine.Quote(s.before()+"-01")
	}
	switch {
	case set == "readings" && old != "":
		return ofInspection + " OR " + old
	case set == "readings":
		return ofInspection
	case s.Technician != "" && (set == "technicians" || set == "inspections"):
		return "technician_id = " + engine.Quote(s.Technician)
	case s.Site != "" && (set == "inspections" || set == "findings"):
		return "site_id = " + engine.Quote(s.Site)
	}
	return old
}

// mayName reports whether a record file has rows that are in no part, and that may name the subject or an inspection that
// is meant, or be as old: rejected ones, and duplicates of rows that do.
func (s *subject) mayName(f store.File) bool {
	inNoPart := f.AtLoad.Rejected
	if slices.Contains(mentioning, f.RecordSet) {
		inNoPart += f.AtLoad.Duplicate
	}
	if inNoPart == 0 {
		return false
	}
	switch f.RecordSet {
	case "technicians":
		return s.Technician != ""
	case "inspections", "readings", "findings":
		return s.Months == 0 || s.early(f.Load)
	case "unit_log":
		return s.Months > 0 && s.early(f.Load)
	}
	return false
}

// early reports whether a load came in before the first month that is kept.
func (s *subject) early(load int) bool {
	return s.Months > 0 && s.st.Manifest.Loads[load-1].ReceivedAt.UTC().Format("2006-01") < s.before()
}

func monthOf(set string) string {
	s, err := contract.Lookup(set)
	if err != nil {
		panic(err) // the sets are those of the contract
	}
	return s.MonthOf
}

// markRows fills the tables meant, with the rows of parts that are meant, and meant_key, with the keys of records all of
// whose versions are. A record is meant when its version that counts is, or, where none counts yet, one that waits. Of a
// record that now is another's, only the versions that are meant go.
func (s *subject) markRows(ctx context.Context) error {
	err := s.eng.Exec(ctx, `CREATE OR REPLACE TEMP TABLE meant (record_set VARCHAR, file INTEGER, line BIGINT, month VARCHAR, part VARCHAR);
		CREATE OR REPLACE TEMP TABLE meant_key (record_set VARCHAR, key VARCHAR)`)
	if err != nil {
		return err
	}
	for _, set := range contract.Sets() {
		if cond := s.condition(set.Name); cond != "" {
			if err := s.markSet(ctx, set, cond); err != nil {
				return err
			}
		}
	}
	return nil
}

// parts are the files that rows of a record set are in, counted or not.
func (s *subject) parts(set string) []string {
	newest := len(s.st.Manifest.Loads)
	return slices.Concat(s.st.Paths(store.Data, set, newest), s.st.Paths(store.Pool, set, newest))
}

func (s *subject) markSet(ctx context.Context, set *contract.Set, cond string) error {
	parts := s.parts(set.Name)
	if len(parts) == 0 {
		return nil
	}
	month := "''"
	if set.MonthOf != "" {
		month = "coalesce(strftime(" + set.MonthOf + ", '%Y-%m'), '')"
	}
	version := fmt.Sprintf(`WITH version AS (
			SELECT %s AS key, v.*, NOT EXISTS (SELECT 1 FROM not_held n WHERE n.record_set = $record_set AND n.file = v._file AND n.line = v._line) AS counts
			FROM read_parquet(%s, filename = true, hive_partitioning = false, union_by_name = true) v
		) `, settle.Key(set), engine.List(parts))
	arg := engine.Arg("record_set", set.Name)
	where := cond
	if s.Months == 0 || set.Name == "inspections" { // of other old records, each version goes by its own date
		where += " OR key IN (SELECT key FROM meant_key WHERE record_set = $record_set)"
		err := s.eng.Exec(ctx, fmt.Sprintf(`INSERT INTO meant_key %s SELECT $record_set, key FROM version
			GROUP BY key HAVING CASE WHEN bool_or(counts) THEN bool_or(counts AND (%s)) ELSE bool_or(%s) END`, version, cond, cond), arg)
		if err != nil {
			return err
		}
	}
	return s.eng.Exec(ctx, fmt.Sprintf(`INSERT INTO meant %s SELECT $record_set, _file, _line, %s, filename FROM version WHERE %s`,
		version, month, where), arg)
}

// markDuplicates adds the duplicates of records that are meant: they are in no part, but their fates name the key.
func (s *subject) markDuplicates(ctx context.Context) error {
	return s.eng.Exec(ctx, `INSERT INTO meant
		SELECT DISTINCT f.record_set, f.file, f.line, '', ''
		FROM fates f
		JOIN meant_key k ON k.record_set = f.record_set AND k.key = f.value
		WHERE f.fate = 'duplicate'
		  AND NOT EXISTS (SELECT 1 FROM meant m WHERE m.record_set = f.record_set AND m.file = f.file AND m.line = f.line)`)
}

// read takes what was marked out of the engine.
func (s *subject) read(ctx context.Context) error {
	s.touched = map[string]bool{}
	steps := []struct {
		query string
		row   func(scan func(...any) error) error
	}{
		{"SELECT file, line FROM meant ORDER BY file, line DESC", func(scan func(...any) error) error {
			var file int
			var line int64
			err := scan(&file, &line)
			s.about.add(file, line)
			return err
		}},
		{"SELECT DISTINCT part FROM meant", func(scan func(...any) error) error {
			var part string
			err := scan(&part)
			s.touched[part] = true
			return err
		}},
		{"SELECT key FROM meant_key WHERE record_set = 'inspections'", func(scan func(...any) error) error {
			var id string
			err := scan(&id)
			s.inspections[id] = true
			return err
		}},
		{"SELECT record_set, month, count(*) FROM meant GROUP BY ALL ORDER BY ALL", func(scan func(...any) error) error {
			var r store.ForgottenRows
			err := scan(&r.RecordSet, &r.Month, &r.Rows)
			s.trail.Rows = append(s.trail.Rows, r)
			return err
		}},
		{`SELECT m.file, coalesce(b.fate, 'accepted') AS fate, count(*) FROM meant m
			LEFT JOIN fate_before b ON b.record_set = m.record_set AND b.file = m.file AND b.line = m.line GROUP BY ALL ORDER BY ALL`, func(scan func(...any) error) error {
			var c fateCount
			err := scan(&c.file, &c.fate, &c.rows)
			s.counts = append(s.counts, c)
			return err
		}},
	}
	for _, step := range steps {
		if err := s.eng.Each(ctx, step.query, nil, step.row); err != nil {
			return err
		}
	}
	return s.readNames(ctx)
}

// readNames reads the names that a technician has or had.
func (s *subject) readNames(ctx context.Context) error {
	parts := s.parts("technicians")
	if s.Technician == "" || len(parts) == 0 {
		return nil
	}
	query := "SELECT DISTINCT name FROM read_parquet(" + engine.List(parts) + ", union_by_name = true) WHERE technician_id = $1 AND name IS NOT NULL ORDER BY name"
	return s.eng.Each(ctx, query, []any{s.Technician}, func(scan func(...any) error) error {
		var name string
		err := scan(&name)
		s.names = append(s.names, strings.TrimSpace(name))
		return err
	})
}
