package ask

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"scanledger/ingest/store"
	"scanledger/transform/engine"
	"scanledger/transform/settle"
)

// Traced are the columns by which a figure's records are found: those that a reading has with its circumstances, and the
// day and number of a hold in a unit's log.
var Traced = slices.Concat(circumstances, ofHolds)

var (
	circumstances = []string{"inspection_id", "site_id", "point_id", "reading_id", "technician_id", "unit_id", "region", "material", "month", "gain", "season", "model", "purpose", "density_class", "thickness_band"}
	ofVisits      = []string{"inspection_id", "site_id", "technician_id", "region", "month", "season", "purpose"}
	ofHolds       = []string{"date", "hold_no"}
)

// behind tells from which record sets a table is made, of those whose rows can be found by a figure's circumstances.
var behind = map[string][]string{
	"visits": visited, "held_readings": read, "readings": read, "reading_cells": read, "unit_visits": read, "unit_levels": read, "technician_levels": read, "repeated_readings": read,
	"protocol_readings": read, "protocol_points": read, "copied_levels": read, "protocol_calls": slices.Concat(read, ofUnits), "protocol_visits": found,
	"point_visits": found, "verified_readings": found, "checked_calls": found, "visit_counts": found, "recheck_pairs": found,
	"inspection_counts": found, "call_counts": found, "gain_counts": read, "accuracy_counts": found, "people_counts": found, "condition_counts": found,
	"habit_counts": found, "unit_counts": read, "stepping_counts": found, "gain_mixes": read,
	"check_counts": slices.Concat(found, ofUnits), "inspection_breaches": slices.Concat(found, ofUnits),
	"log_matches": slices.Concat(read, ofUnits), "log_spells": ofUnits, "log_holds": ofUnits, "log_offsets": ofUnits, "log_signatures": ofUnits,
}

// Record sets that tables are made from.
var (
	visited = []string{"inspections"}
	read    = append(visited[:1:1], "readings")
	found   = append(read[:2:2], "findings")
	ofUnits = []string{"unit_log"}
)

// RecordSets lists the record sets whose rows can be found behind a figure that is made from the given tables. What is
// made from the store's own ledger, such as counts of rejected rows, has none.
func RecordSets(tables []string) (sets []string) {
	for _, table := range tables {
		sets = append(sets, behind[table]...)
	}
	slices.Sort(sets)
	return slices.Compact(sets)
}

// Source is the rows of one record file that a figure rests on.
type Source struct {
	RecordSet string  `json:"record_set"`
	File      string  `json:"file"`
	Rows      int64   `json:"rows"`
	Lines     []int64 `json:"lines"` // the first of them, by line of the file
}

// shownLines is how many lines of a file are named.
const shownLines = 5

// Figure is what is known of a row of a result.
type Figure struct {
	Tables   []string          // that its analysis reads
	From, To string            // local months, YYYY-MM
	Is       map[string]string // its values in columns of Traced
}

// Trace finds the records behind a figure of a build: inspections and readings whose circumstances are as given,
// findings at their points within the truth window, samples that the unit logged then. It takes the store's views
// as of load upTo and reads the build's facts. The analysis may have taken fewer of them.
func Trace(ctx context.Context, e *engine.Engine, st *store.Store, upTo int, build string, f Figure) ([]Source, error) {
	if err := settle.Views(ctx, e, st, upTo); err != nil {
		return nil, err
	}
	t := tracer{facts: map[string]string{}, figure: f}
	facts, err := factQueries(ctx, e, build)
	if err != nil {
		return nil, err
	}
	for _, f := range facts {
		t.facts[f.table] = "(" + f.query + ")"
	}
	var parts []string
	for _, set := range RecordSets(f.Tables) {
		parts = append(parts, fmt.Sprintf(`SELECT '%s' AS record_set, _file, count(*) AS n, list_slice(list(_line ORDER BY _line), 1, %d) AS lines
			FROM (SELECT DISTINCT _file, _line FROM (%s)) GROUP BY _file`, set, shownLines, t.rows(set)))
	}
	if len(parts) == 0 {
		return nil, nil
	}
	query := "SELECT r.record_set, f.name, r.n, array_to_string(r.lines, ' ') FROM (" + strings.Join(parts, " UNION ALL ") + ") r JOIN files f ON f.number = r._file ORDER BY r.record_set, r._file"
	return sources(ctx, e, query)
}

// tracer writes the queries that find the records behind one figure.
type tracer struct {
	facts  map[string]string // by table: its rows
	figure Figure
}

// where is the condition that the given columns hold what the figure has there.
func (t tracer) where(month string, columns []string) string {
	out := []string{month + " BETWEEN " + engine.Quote(t.figure.From) + " AND " + engine.Quote(t.figure.To)}
	for _, column := range columns {
		value, ok := t.figure.Is[column]
		if !ok {
			continue
		}
		of := engine.Name(column)
		switch column {
		case "month":
			of = month
		case "date":
			of = "unit_day"
		}
		out = append(out, "CAST("+of+" AS VARCHAR) = "+engine.Quote(value))
	}
	return strings.Join(out, " AND ")
}

// only reports whether the figure has no circumstances but of the given columns.
func (t tracer) only(columns []string) bool {
	return !slices.ContainsFunc(circumstances, func(column string) bool {
		_, has := t.figure.Is[column]
		return has && !slices.Contains(columns, column)
	})
}

// rows is a query for the rows of one record set: SELECT _file, _line.
func (t tracer) rows(set string) string {
	readings := t.facts["readings"] + " WHERE " + t.where("month", circumstances)
	switch set {
	case "inspections":
		visits := readings
		if t.only(ofVisits) { // those without a reading count too
			visits = t.facts["visits"] + " WHERE " + t.where("month", ofVisits)
		}
		return "SELECT _file, _line FROM held_inspections WHERE inspection_id IN (SELECT inspection_id FROM " + visits + ")"
	case "readings":
		return "SELECT _file, _line FROM held_readings WHERE reading_id IN (SELECT reading_id FROM " + readings + ")"
	case "findings":
		return `SELECT h._file, h._line FROM held_findings h JOIN ` + t.facts["point_visits"] + ` p ON p.site_id = h.site_id AND p.point_id = h.point_id
			WHERE h.found_on >= p.local_date AND p.days_to_finding IS NOT NULL AND (p.inspection_id, p.point_id) IN (SELECT (inspection_id, point_id) FROM ` + readings + ")"
	}
	spans, by := "log_spells", []string{"unit_id", "month", "date"}
	if _, ok := t.figure.Is["hold_no"]; ok {
		spans, by = "log_holds", append(by, "hold_no")
	}
	return "SELECT h._file, h._line FROM held_unit_log h JOIN (SELECT unit_id, started_at, ended_at FROM " + t.facts[spans] + " WHERE " + t.where("strftime(unit_day, '%Y-%m')", by) +
		") s ON s.unit_id = h.unit_id AND h.logged_at BETWEEN s.started_at AND s.ended_at"
}

func sources(ctx context.Context, e *engine.Engine, query string) (out []Source, err error) {
	err = e.Each(ctx, query, nil, func(scan func(...any) error) error {
		var s Source
		var lines string
		if err := scan(&s.RecordSet, &s.File, &s.Rows, &lines); err != nil {
			return err
		}
		for _, field := range strings.Fields(lines) {
			line, err := strconv.ParseInt(field, 10, 64)
			if err != nil {
				return err
			}
			s.Lines = append(s.Lines, line)
		}
		out = append(out, s)
		return nil
	})
	return out, err
}
