package transform

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"scanledger/transform/engine"
)

// find lists the months there are. Their visits are told from those of an earlier run by the rows they are made of, so that no
// visit has to be placed for that: a zone is less than a day from UTC, and only near the ends of a month takes more than arithmetic.
func (m *maker) find() error {
	query := "SELECT month, '', min(epoch_us(started_at)), max(epoch_us(started_at)), count(*) FROM placed_visits GROUP BY month ORDER BY month"
	if m.e.Fingerprints() {
		query = `WITH told AS (
			SELECT epoch_us(i.started_at) AS at_us, hash(i) AS inspection, hash(r) AS region, hash(t) AS technician, CAST(CASE
				WHEN date_trunc('month', make_timestamp(epoch_us(i.started_at) - 86400000000)) = date_trunc('month', make_timestamp(epoch_us(i.started_at) + 86400000000))
					THEN make_timestamp(epoch_us(i.started_at))
				ELSE i.started_at AT TIME ZONE r.time_zone END AS DATE) AS local_date
			FROM held_inspections i
			JOIN held_regions r ON r.region = i.region
			JOIN held_technicians t ON t.technician_id = i.technician_id
		)
		SELECT strftime(min(local_date), '%Y-%m'), CAST(sum(hash(inspection, region, technician)) AS VARCHAR), min(at_us), max(at_us), count(*)
		FROM told GROUP BY date_trunc('month', local_date) ORDER BY 1`
	}
	return m.e.Each(m.ctx, query, nil, func(scan func(...any) error) error {
		at := &month{digests: map[string]string{}, earlier: map[string]string{}}
		m.months = append(m.months, at)
		if err := scan(&at.name, &at.visits, &at.startedFrom, &at.startedTo, &at.size); err != nil {
			return err
		}
		return at.days()
	})
}

// days bounds the local dates of the month's visits: within a day of theirs in UTC, and within the month.
func (at *month) days() error {
	first, err := time.Parse("2006-01", at.name)
	if err != nil {
		return err
	}
	day := func(t time.Time) int64 { return t.Truncate(24*time.Hour).Unix() / (24 * 60 * 60) }
	at.firstDay = max(day(first), day(time.UnixMicro(at.startedFrom))-1)
	at.lastDay = min(day(first.AddDate(0, 1, -1)), day(time.UnixMicro(at.startedTo))+1)
	return nil
}

// inputs takes the fingerprints of what the months are made of besides visits: readings and findings by their record file and line, of which
// neither ever changes, with the unit and the material, and what unit logs say of readings.
func (m *maker) inputs() error {
	if !m.e.Fingerprints() {
		return m.each("SELECT v.month, count(*), min(epoch_us(r.taken_at)), max(epoch_us(r.taken_at)) FROM held_readings r JOIN visits v ON v.inspection_id = r.inspection_id GROUP BY v.month",
			func(at *month) []any { return []any{&at.count, &at.takenFrom, &at.takenTo} })
	}
	if err := m.sumReadings(); err != nil {
		return fmt.Errorf("see what changed: %w", err)
	}
	for _, of := range []struct {
		query string
		to    func(at *month) []any
	}{
		{`SELECT s.month, CAST(sum(hash(s.unit_id, s.material, s.n, s.lines, u, m)) AS VARCHAR), CAST(sum(s.n) AS BIGINT), min(s.taken_from), max(s.taken_to)
			FROM reading_sums s JOIN held_units u ON u.unit_id = s.unit_id JOIN held_materials m ON m.material = s.material GROUP BY s.month`,
			func(at *month) []any { return []any{&at.readings, &at.count, &at.takenFrom, &at.takenTo} }},
		{`SELECT v.month, CAST(sum(hash(v.inspection_id, f.key, t._line)) AS VARCHAR)
			FROM held_findings t JOIN visits v ON v.site_id = t.site_id JOIN ` + fileKeys + ` ON f.number = t._file CROSS JOIN params p
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
	return nil
}

// fileKeys are the record files with what tells each from all others.
const fileKeys = "(SELECT number, hash(sha256) AS key FROM files) f"

// sumsFile, beside the tables, holds what readings each month has, by unit and material: how many, between which times, and the sum of the
// hashes of their record files and lines.
const sumsFile = "reading_sums.parquet"

// sumReadings makes reading_sums. Of months whose visits are those of the earlier run, and of whose readings none was lost or came
// back since, the earlier sums stand, and the readings of record files that came since are added. So adding a month does not go
// through the readings of all others. All other months are summed up from nothing.
func (m *maker) sumReadings() error {
	known, err := m.knownFiles()
	if err != nil {
		return err
	}
	var stand, anew []string
	if known.number > 0 {
		changed, err := m.changedMonths(known)
		if err != nil {
			return err
		}
		for _, at := range m.months {
			if name := engine.Quote(at.name); at.earlier[visited.name] != at.digests[visited.name] || changed[at.name] {
				anew = append(anew, name)
			} else {
				stand = append(stand, name)
			}
		}
	}
	if len(stand) == 0 {
		return m.e.Keep(m.ctx, "reading_sums", sumsOf("true"))
	}
	months := "v.month IN (" + strings.Join(stand, ", ") + ")"
	parts := []string{
		"SELECT month, unit_id, material, n, CAST(lines AS HUGEINT) AS lines, taken_from, taken_to FROM read_parquet(" + engine.Quote(filepath.Join(m.opt.Earlier, sumsFile)) + ") v WHERE " + months,
		sumsOf(fmt.Sprintf("r._file > %d AND %s", known.number, months)),
	}
	if len(anew) > 0 {
		parts = append(parts, sumsOf("v.month IN ("+strings.Join(anew, ", ")+")"))
	}
	return m.e.Keep(m.ctx, "reading_sums", "SELECT month, unit_id, material, CAST(sum(n) AS BIGINT) AS n, sum(lines) AS lines, min(taken_from) AS taken_from, max(taken_to) AS taken_to FROM ("+
		strings.Join(parts, " UNION ALL ")+") GROUP BY month, unit_id, material")
}

// sumsOf sums up the readings for which a condition holds.
func sumsOf(condition string) string {
	return `SELECT v.month, r.unit_id, r.material, count(*) AS n, sum(hash(f.key, r._line)) AS lines, min(epoch_us(r.taken_at)) AS taken_from, max(epoch_us(r.taken_at)) AS taken_to
		FROM held_readings r JOIN visits v ON v.inspection_id = r.inspection_id JOIN ` + fileKeys + ` ON f.number = r._file
		WHERE ` + condition + ` GROUP BY v.month, r.unit_id, r.material`
}

// known are the record files that the earlier run knew: up to a number, and up to a load.
type known struct{ number, load int64 }

// knownFiles tells which record files the earlier run knew, and none unless they are all there as they were: rows that were removed
// since, an earlier as-of date or another store leave nothing to add to.
func (m *maker) knownFiles() (known, error) {
	var was known
	digest, rest, found := strings.Cut(m.files, " ")
	if _, err := os.Stat(filepath.Join(m.opt.Earlier, sumsFile)); !found || errors.Is(err, fs.ErrNotExist) {
		return known{}, nil
	}
	var err error
	if was.number, err = strconv.ParseInt(rest, 10, 64); err != nil {
		return known{}, fmt.Errorf("months of the earlier run: %w", err)
	}
	now, load, err := m.filesUpTo(was.number)
	if err != nil || now != digest {
		return known{}, err
	}
	was.load = load
	return was, nil
}

// filesUpTo fingerprints the record files up to a number, and tells the last load among them.
func (m *maker) filesUpTo(number int64) (digest string, load int64, err error) {
	err = m.one(fmt.Sprintf(`SELECT coalesce(CAST(sum(hash(number, sha256, "rows", load)) AS VARCHAR), ''), coalesce(max(load), 0) FROM files WHERE number <= %d`, number), &digest, &load)
	return digest, load, err
}

// changedMonths are those with a reading of a known file whose fate was written since.
func (m *maker) changedMonths(was known) (map[string]bool, error) {
	out := map[string]bool{}
	query := fmt.Sprintf(`SELECT DISTINCT v.month FROM (SELECT DISTINCT file, line FROM fates WHERE record_set = 'readings' AND load > %d AND file <= %d) c
		JOIN taken_readings r ON r._file = c.file AND r._line = c.line JOIN visits v ON v.inspection_id = r.inspection_id`, was.load, was.number)
	err := m.e.Each(m.ctx, query, nil, func(scan func(...any) error) error {
		var month string
		err := scan(&month)
		out[month] = true
		return err
	})
	return out, err
}

// rememberSums writes what readings the months have, for a later run, and returns which record files they are from.
func (m *maker) rememberSums() (string, error) {
	query := "SELECT month, unit_id, material, n, CAST(lines AS VARCHAR) AS lines, taken_from, taken_to FROM reading_sums ORDER BY month, unit_id, material"
	if err := m.e.Save(m.ctx, query, filepath.Join(m.dir, sumsFile)); err != nil {
		return "", err
	}
	var number int64
	if err := m.one("SELECT coalesce(max(number), 0) FROM files", &number); err != nil {
		return "", err
	}
	digest, _, err := m.filesUpTo(number)
	return fmt.Sprintf("%s %d", digest, number), err
}
