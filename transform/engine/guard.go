package engine

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/duckdb/duckdb-go/v2"
)

// ErrNotSelect says that a statement is not one SELECT.
var ErrNotSelect = errors.New("only one SELECT is taken")

// mostSpill bounds what a guarded engine writes to its scratch folder.
const mostSpill = "4GiB"

// Guard makes the engine safe for statements by anyone: from now on it reads the given files and no others, writes none
// but what it spills, uses no network, loads no extension, and cannot be set otherwise. The engine's own settings
// hold that. What they let through, the functions that switch on logs or profiles from within a SELECT, Select refuses.
func (e *Engine) Guard(ctx context.Context, files []string) error {
	most, err := Bytes(e.memory)
	if err != nil {
		return fmt.Errorf("guard engine: %w", err)
	}
	e.ceiling = resident() + most + besideEngine
	for _, s := range []string{
		"SET allowed_paths = " + List(files),
		"SET max_temp_directory_size = '" + mostSpill + "'",
		"SET allow_community_extensions = false",
		"SET enable_external_access = false",
		"SET lock_configuration = true",
	} {
		if err := e.Exec(ctx, s); err != nil {
			return fmt.Errorf("guard engine: %w", err)
		}
	}
	return nil
}

// Column is a column of an answer.
type Column struct {
	Name string
	Type string // the engine's name of it, such as DATE
}

// Select runs one SELECT and calls visit for every row with its values. Anything else is ErrNotSelect, and is not run.
// It ends with its context, and in a guarded engine with ErrMemory when it takes more than there is, even if
// the engine is deep in a function that does not listen. The engine is then of no more use but to be closed.
func (e *Engine) Select(ctx context.Context, query string, columns func([]Column) error, visit func(values []any) error) error {
	return e.bounded(ctx, func(ctx context.Context) error {
		if err := e.oneSelect(ctx, query); err != nil {
			return err
		}
		return e.rows(ctx, query, columns, visit)
	})
}

func (e *Engine) rows(ctx context.Context, query string, columns func([]Column) error, visit func(values []any) error) (err error) {
	rows, err := e.conn.QueryContext(ctx, query)
	if err != nil {
		return ended(ctx, err)
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	types, err := rows.ColumnTypes()
	if err != nil {
		return err
	}
	heads := make([]Column, len(types))
	for i, t := range types {
		heads[i] = Column{t.Name(), t.DatabaseTypeName()}
	}
	if err := columns(heads); err != nil {
		return err
	}
	values, into := make([]any, len(heads)), make([]any, len(heads))
	for i := range values {
		into[i] = &values[i]
	}
	for ctx.Err() == nil && rows.Next() {
		if err := rows.Scan(into...); err != nil {
			return err
		}
		if err := visit(values); err != nil {
			return err
		}
	}
	return ended(ctx, rows.Err())
}

// oneSelect lets the engine parse the query, looks at what it calls, and prepares it. Nothing is run.
func (e *Engine) oneSelect(ctx context.Context, query string) error {
	refused := e.calls(ctx, query)
	if errors.Is(refused, ErrNotSelect) {
		return refused
	}
	err := e.conn.Raw(func(conn any) error {
		prepared, err := conn.(*duckdb.Conn).Prepare(query)
		if err != nil {
			return err
		}
		statement := prepared.(*duckdb.Stmt)
		kind, err := statement.StatementType()
		if err == nil && kind != duckdb.STATEMENT_TYPE_SELECT {
			err = ErrNotSelect
		}
		return errors.Join(err, statement.Close())
	})
	if err != nil {
		return err // says more of a mistake than the parser does
	}
	return refused
}

// allowed are the table functions that a SELECT may name: they make rows of what they are given, or tell of columns
// and functions. All others are refused: they read files, which no question needs but through the views, run text as
// a statement, or change what the engine writes down, as enable_logging does.
var allowed = []string{"duckdb_columns", "duckdb_functions", "generate_series", "json_each", "json_tree", "range", "repeat", "unnest"}

// calls refuses a query that is not one SELECT, as the engine's own parser has it, or calls a table function that is
// not allowed.
func (e *Engine) calls(ctx context.Context, query string) error {
	var raw string
	err := e.Each(ctx, "SELECT CAST(json_serialize_sql(CAST($1 AS VARCHAR)) AS VARCHAR)", []any{query}, func(scan func(...any) error) error { return scan(&raw) })
	if err != nil {
		return err
	}
	var parsed struct {
		Error      bool   `json:"error"`
		Type       string `json:"error_type"`
		Message    string `json:"error_message"`
		Statements []any  `json:"statements"`
	}
	if err := json.Unmarshal([]byte(raw), &parsed); err != nil {
		return fmt.Errorf("read the parsed statement: %w", err)
	}
	switch {
	case parsed.Error && parsed.Type == "parser":
		return errors.New(parsed.Message)
	case parsed.Error, len(parsed.Statements) != 1:
		return ErrNotSelect
	}
	for _, name := range tableFunctions(parsed.Statements) {
		if !slices.Contains(allowed, name) {
			return fmt.Errorf("%w, and it may not call %q; of table functions it may call %s", ErrNotSelect, name, strings.Join(allowed, ", "))
		}
	}
	return nil
}

// tableFunctions are those that a parsed statement calls.
func tableFunctions(node any) (names []string) {
	switch node := node.(type) {
	case []any:
		for _, child := range node {
			names = append(names, tableFunctions(child)...)
		}
	case map[string]any:
		if node["type"] == "TABLE_FUNCTION" {
			function, _ := node["function"].(map[string]any)
			name, _ := function["function_name"].(string)
			names = append(names, strings.ToLower(name))
		}
		for _, key := range slices.Sorted(maps.Keys(node)) {
			names = append(names, tableFunctions(node[key])...)
		}
	}
	return names
}
