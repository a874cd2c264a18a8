package ask

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"

	"scanledger/ingest/store"
	"scanledger/transform/engine"
	"scanledger/transform/settle"
)

// Traced are the columns by which a figure's records are found: those that a reading has with its circumstances.
var Traced = []string{"inspection_id", "site_id", "point_id", "reading_id", "technician_id", "unit_id", "region", "material", "month", "gain", "season", "model", "purpose", "density_class", "thickness_band"}

// Source is the rows of one record file that a figure rests on.
type Source struct {
	RecordSet string  `json:"record_set"`
	File      string  `json:"file"`
	Rows      int64   `json:"rows"`
	Lines     []int64 `json:"lines"` // the first of them, by line of the file
}

// shownLines is how many lines of a file are named.
const shownLines = 5

// Trace finds the records behind figures of a build: readings whose circumstances are as given, their inspections, and the
// findings at their points within the truth window. From and to bound the local months. It opens the store's views
// as of load upTo and reads the build's facts.
func Trace(ctx context.Context, e *engine.Engine, st *store.Store, upTo int, build, from, to string, is map[string]string) ([]Source, error) {
	if err := settle.Views(ctx, e, st, upTo); err != nil {
		return nil, err
	}
	where, args := []string{"month BETWEEN $from AND $to"}, []any{engine.Arg("from", from), engine.Arg("to", to)}
	for _, column := range Traced {
		if value, ok := is[column]; ok {
			where = append(where, "CAST("+engine.Name(column)+" AS VARCHAR) = $"+column)
			args = append(args, engine.Arg(column, value))
		}
	}
	facts := func(table string) string {
		return "read_parquet(" + engine.Quote(filepath.Join(build, "facts", table+".parquet")) + ")"
	}
	err := e.Exec(ctx, "CREATE TEMP TABLE traced AS SELECT reading_id, inspection_id, site_id, point_id FROM "+facts("readings")+" WHERE "+strings.Join(where, " AND "), args...)
	if err != nil {
		return nil, err
	}
	const perFile = `SELECT '%s' AS record_set, _file, count(*) AS n, list_slice(list(_line ORDER BY _line), 1, %d) AS lines FROM (%s) GROUP BY _file`
	parts := []string{
		fmt.Sprintf(perFile, "inspections", shownLines, "SELECT h._file, h._line FROM held_inspections h SEMI JOIN traced t ON t.inspection_id = h.inspection_id"),
		fmt.Sprintf(perFile, "readings", shownLines, "SELECT h._file, h._line FROM held_readings h SEMI JOIN traced t ON t.reading_id = h.reading_id"),
		fmt.Sprintf(perFile, "findings", shownLines, `SELECT DISTINCT h._file, h._line FROM held_findings h JOIN `+facts("point_visits")+` p ON p.site_id = h.site_id AND p.point_id = h.point_id
			SEMI JOIN traced t ON t.inspection_id = p.inspection_id AND t.point_id = p.point_id WHERE h.found_on >= p.local_date AND p.days_to_finding IS NOT NULL`),
	}
	names := map[int64]string{}
	for _, f := range st.Manifest.Files {
		names[int64(f.Number)] = f.Name
	}
	var out []Source
	err = e.Each(ctx, "SELECT record_set, _file, n, array_to_string(lines, ' ') FROM ("+strings.Join(parts, " UNION ALL ")+") ORDER BY record_set, _file", nil, func(scan func(...any) error) error {
		var s Source
		var file int64
		var lines string
		if err := scan(&s.RecordSet, &file, &s.Rows, &lines); err != nil {
			return err
		}
		for _, field := range strings.Fields(lines) {
			var line int64
			if _, err := fmt.Sscan(field, &line); err != nil {
				return err
			}
			s.Lines = append(s.Lines, line)
		}
		s.File = names[file]
		out = append(out, s)
		return nil
	})
	return out, err
}
