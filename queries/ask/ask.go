// Package ask answers one SELECT over a store, asked by anyone, and finds the records behind a figure.
//
// In: a store's views in an engine, perhaps the folder of a build, and a statement. Out: rows as text. It never writes,
// and the engine it locks reads the store's and the build's tables and nothing else.
package ask

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"scanledger/ingest/contract"
	"scanledger/ingest/store"
	"scanledger/transform"
	"scanledger/transform/engine"
	"scanledger/transform/settle"
)

// View is a table that can be asked.
type View struct {
	Name    string   `json:"name"`
	Columns []string `json:"columns"`
	About   string   `json:"about"`
}

// Threads is how many an engine for questions has. With more, groups without an ORDER BY come in another order each
// time, and sums of fractions end in other digits; the same question is to have the same answer.
const Threads = 1

// Open makes, in a fresh engine, a view of each record set with the rows that counted after load upTo, and of the record
// files, whose numbers the rows name; with the folder of a build also its fact tables, as facts.NAME, and its results,
// as results.NAME. Then it guards the engine.
func Open(ctx context.Context, e *engine.Engine, st *store.Store, upTo int, build string) ([]View, error) {
	if err := settle.Views(ctx, e, st, upTo); err != nil {
		return nil, err
	}
	columns, err := columnsOf(ctx, e, "files")
	if err != nil {
		return nil, err
	}
	views := []View{{"files", columns, "Record files; rows have a file's number as _file"}}
	for _, set := range contract.Sets() {
		if err := e.Exec(ctx, "CREATE VIEW "+engine.Name(set.Name)+" AS SELECT "+columnList(set)+" FROM held_"+set.Name); err != nil {
			return nil, err
		}
		views = append(views, View{set.Name, columnNames(set), set.Title})
	}
	files := slices.Concat(st.Paths(store.Data, "", upTo), st.Paths(store.Fates, "", upTo), st.Paths(store.Rejects, "", upTo), st.SampleFrames(upTo))
	if build != "" {
		made, read, err := buildViews(ctx, e, build)
		if err != nil {
			return nil, err
		}
		views, files = append(views, made...), append(files, read...)
	}
	return views, e.Guard(ctx, files)
}

func columnNames(set *contract.Set) []string {
	var out []string
	for _, f := range set.Fields {
		out = append(out, f.Name)
	}
	return append(out, "_file", "_line")
}

func columnList(set *contract.Set) string {
	var out []string
	for _, name := range columnNames(set) {
		out = append(out, engine.Name(name))
	}
	return strings.Join(out, ", ")
}

// buildViews makes the views of a build's tables, and lists the files they read.
func buildViews(ctx context.Context, e *engine.Engine, build string) (views []View, files []string, err error) {
	add := func(schema, name, query string) error {
		if err := e.Exec(ctx, "CREATE VIEW "+schema+"."+engine.Name(name)+" AS "+query); err != nil {
			return err
		}
		columns, err := columnsOf(ctx, e, schema+"."+engine.Name(name))
		views = append(views, View{Name: schema + "." + name, Columns: columns})
		return err
	}
	for _, schema := range []string{"facts", "results"} {
		if err := e.Exec(ctx, "CREATE SCHEMA "+schema); err != nil {
			return nil, nil, err
		}
	}
	facts, err := factQueries(ctx, e, build)
	if err != nil {
		return nil, nil, err
	}
	for _, f := range facts {
		if err := add("facts", f.table, f.query); err != nil {
			return nil, nil, err
		}
		files = append(files, f.paths...)
	}
	found, err := filepath.Glob(filepath.Join(build, "results", "*.csv"))
	if err != nil {
		return nil, nil, err
	}
	if len(files) == 0 || len(found) == 0 {
		return nil, nil, fmt.Errorf("%s holds no facts and results of a build; name the folder that build wrote", build)
	}
	for _, path := range found {
		if err := add("results", strings.TrimSuffix(filepath.Base(path), ".csv"), "SELECT * FROM read_csv("+engine.Quote(path)+", header = true, sample_size = -1)"); err != nil {
			return nil, nil, err
		}
	}
	return views, append(files, found...), nil
}

// fact is a fact table of a build: its rows, and the files of the build that they are in.
type fact struct {
	table, query string
	paths        []string
}

// factQueries lists the fact tables of a build by name. Readings are read from the store, with the build's visits.
func factQueries(ctx context.Context, e *engine.Engine, build string) (out []fact, err error) {
	tables := transform.Tables()
	slices.Sort(tables)
	for _, table := range tables {
		paths, err := transform.Paths(filepath.Join(build, "facts"), table)
		if err != nil {
			return nil, err
		}
		if len(paths) > 0 {
			out = append(out, fact{table, "SELECT * FROM read_parquet(" + engine.List(paths) + ", hive_partitioning = false)", paths})
		}
	}
	if len(out) == 0 || slices.ContainsFunc(out, func(f fact) bool { return f.table == "readings" }) {
		return out, nil
	}
	i := slices.IndexFunc(out, func(f fact) bool { return f.table == "visits" })
	readings, err := transform.SQL("readings")
	if i < 0 || err != nil {
		return nil, errors.Join(err, fmt.Errorf("%s holds facts without visits; build again", build))
	}
	err = errors.Join(e.View(ctx, "visits", out[i].paths, ""), e.View(ctx, "these_readings", nil, "SELECT * FROM held_readings"))
	return append(out, fact{table: "readings", query: readings}), err
}

func columnsOf(ctx context.Context, e *engine.Engine, view string) (out []string, err error) {
	err = e.Select(ctx, "SELECT * FROM "+view+" LIMIT 0", func(columns []engine.Column) error {
		for _, c := range columns {
			out = append(out, c.Name)
		}
		return nil
	}, func([]any) error { return nil })
	return out, err
}

// ErrQuestion says that the statement itself is at fault.
var ErrQuestion = errors.New("the statement cannot be answered")

// ErrEnough ends a question early: enough rows have come.
var ErrEnough = errors.New("enough rows")

// Rows answers one SELECT: its columns, then its rows as text. Visit may return ErrEnough.
func Rows(ctx context.Context, e *engine.Engine, query string, columns func(names []string) error, visit func(cells []Cell) error) error {
	var types []string
	err := e.Select(ctx, query, func(heads []engine.Column) error {
		var names []string
		for _, c := range heads {
			names, types = append(names, c.Name), append(types, c.Type)
		}
		return columns(names)
	}, func(values []any) error {
		cells := make([]Cell, len(values))
		for i, v := range values {
			cells[i] = cellOf(v, types[i])
		}
		return visit(cells)
	})
	switch {
	case err == nil, errors.Is(err, ErrEnough):
		return nil
	case ctx.Err() != nil:
		return ctx.Err()
	case errors.Is(err, engine.ErrMemory):
		return err
	}
	return fmt.Errorf("%w: %w", ErrQuestion, err)
}
