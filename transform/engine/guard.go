package engine

import (
	"context"
	"errors"
	"fmt"

	"github.com/duckdb/duckdb-go/v2"
)

// ErrNotSelect says that a statement is not one SELECT.
var ErrNotSelect = errors.New("only one SELECT is taken")

// mostSpill bounds what a guarded engine writes to its scratch folder.
const mostSpill = "4GiB"

// Guard makes the engine safe for statements by anyone: from now on it reads the given files and no others, writes none
// but what it spills, uses no network, loads no extension, and cannot be set otherwise. The engine's own settings
// hold that, not a reading of the statement.
func (e *Engine) Guard(ctx context.Context, files []string) error {
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
func (e *Engine) Select(ctx context.Context, query string, columns func([]Column) error, visit func(values []any) error) (err error) {
	if err := e.oneSelect(query); err != nil {
		return err
	}
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
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			return err
		}
		if err := visit(values); err != nil {
			return err
		}
	}
	return ended(ctx, rows.Err())
}

// oneSelect prepares the query, which must hold one statement, and looks at its kind. Nothing is run.
func (e *Engine) oneSelect(query string) error {
	return e.conn.Raw(func(conn any) error {
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
}
