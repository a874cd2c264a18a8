// Package engine runs SQL over Parquet files.
//
// In: SQL text with bound parameters. Out: rows, or Parquet files. It opens an embedded DuckDB in
// memory, with limits, a scratch folder and UTC as its time zone; it never loads an extension, uses
// the network, writes to a store, or knows what the SQL means.
package engine

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"

	bindings "github.com/duckdb/duckdb-go-bindings"
	"github.com/duckdb/duckdb-go/v2"

	"scanledger/ingest/disk"
)

// Version is that of the database library linked in, such as v1.5.6.
func Version() string { return bindings.LibraryVersion() }

// ofConnections are settings that every connection has for itself.
var ofConnections = []string{
	"SET TimeZone = 'UTC'",
	"SET dynamic_or_filter_threshold = 200", // a scan looks for as many names of a join itself: those of all inspections with a page
}

// Options bound what the engine may use. The zero value means the defaults.
type Options struct {
	MemoryLimit string // default "512MiB"
	Threads     int    // default: every core
	TempDir     string // where to spill; default: a folder of the system's, removed on Close
}

// Engine is an open database. All statements run on one connection, so temporary tables stay seen.
type Engine struct {
	db   *sql.DB
	conn *sql.Conn
	own  bool // a fork, whose views others do not see
	temp *disk.Scratch

	memory  string
	ceiling int64 // most that the process may hold, in bytes; 0: any
	left    bool  // busy with a statement that did not end when told
}

// Open starts an engine.
func Open(ctx context.Context, opt Options) (*Engine, error) {
	if opt.MemoryLimit == "" {
		opt.MemoryLimit = "512MiB"
	}
	temp, err := spill(opt.TempDir)
	if err != nil {
		return nil, fmt.Errorf("open engine: %w", err)
	}
	settings := []string{
		"SET autoinstall_known_extensions = false",
		"SET autoload_known_extensions = false",
		"SET memory_limit = " + Quote(opt.MemoryLimit),
		"SET temp_directory = " + Quote(temp.Path),
		"SET preserve_insertion_order = true",
	}
	if opt.Threads > 0 {
		settings = append(settings, fmt.Sprintf("SET threads = %d", opt.Threads))
	}
	var opened bool
	connector, err := duckdb.NewConnector("", func(c driver.ExecerContext) error {
		all := ofConnections
		if !opened {
			all = slices.Concat(settings, ofConnections)
		}
		opened = true
		for _, s := range all {
			if _, err := c.ExecContext(context.Background(), s, nil); err != nil {
				return fmt.Errorf("%s: %w", s, err)
			}
		}
		return nil
	})
	if err != nil {
		return nil, errors.Join(fmt.Errorf("open engine: %w", err), temp.Close())
	}
	e := &Engine{db: sql.OpenDB(connector), temp: temp, memory: opt.MemoryLimit}
	e.db.SetMaxIdleConns(0) // what a fork made ends with its connection
	if e.conn, err = e.db.Conn(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("open engine: %w", err), e.db.Close(), temp.Close())
	}
	return e, nil
}

// spill makes the folder in dir, or in the system's, that the engine may spill to, and removes those that dead processes left.
func spill(dir string) (*disk.Scratch, error) {
	if dir == "" {
		dir = os.TempDir()
	}
	return disk.FreshScratch(dir, "scanledger-spill-")
}

// Scratch is a folder for files that are gone with the engine.
func (e *Engine) Scratch() string { return e.temp.Path }

// Close ends the engine and removes its scratch folder. One that was left busy ends with the process.
func (e *Engine) Close() error {
	if e.left {
		return e.temp.Close()
	}
	return errors.Join(e.conn.Close(), e.db.Close(), e.temp.Close())
}

// Exec runs a statement.
func (e *Engine) Exec(ctx context.Context, query string, args ...any) error {
	if _, err := e.conn.ExecContext(ctx, query, args...); err != nil {
		return ended(ctx, fmt.Errorf("run %s: %w", firstLine(query), err))
	}
	return nil
}

// ended tells a cancelled statement from a failed one: the driver's own error does not.
func ended(ctx context.Context, err error) error {
	if cause := ctx.Err(); cause != nil {
		return cause
	}
	return err
}

// Append writes rows to a temporary table, in the order in which fill adds them.
func (e *Engine) Append(ctx context.Context, table string, fill func(add func(values ...driver.Value) error) error) error {
	err := e.conn.Raw(func(conn any) error {
		a, err := duckdb.NewAppender(conn.(driver.Conn), "temp", "main", table)
		if err != nil {
			return err
		}
		return errors.Join(fill(a.AppendRow), a.Close())
	})
	if err != nil {
		return ended(ctx, fmt.Errorf("append to %s: %w", table, err))
	}
	return nil
}

// View makes a view of the given name over Parquet files, which forks see too. Without files it is an empty view with
// the columns of empty, a SELECT that returns no rows.
func (e *Engine) View(ctx context.Context, name string, files []string, empty string) error {
	from := empty
	if len(files) > 0 {
		from = "SELECT * FROM read_parquet(" + List(files) + ", hive_partitioning = false)"
	}
	return e.Define(ctx, name, from)
}

// Define makes a view of a SELECT, which forks see too.
func (e *Engine) Define(ctx context.Context, name, query string) error {
	return e.Exec(ctx, "CREATE OR REPLACE "+e.scope()+"VIEW "+Name(name)+" AS "+query)
}

// Keep makes a table of the rows that a SELECT now has, which forks see too.
func (e *Engine) Keep(ctx context.Context, name, query string, args ...any) error {
	return e.Exec(ctx, "CREATE OR REPLACE "+e.scope()+"TABLE "+Name(name)+" AS "+query, args...)
}

// scope keeps what a fork makes to itself.
func (e *Engine) scope() string {
	if e.own {
		return "TEMP "
	}
	return ""
}

// Fingerprints is true: the engine hashes rows.
func (e *Engine) Fingerprints() bool { return true }

// Save writes the rows of a SELECT to one Parquet file, in the order of the SELECT.
func (e *Engine) Save(ctx context.Context, query, path string) error {
	return e.Exec(ctx, "COPY (\n"+query+"\n) TO "+Quote(path)+" (FORMAT parquet, COMPRESSION zstd)")
}

// Arg is a value for the parameter $name of a query.
func Arg(name string, value any) any { return sql.Named(name, value) }

// Name quotes an SQL identifier.
func Name(s string) string { return `"` + strings.ReplaceAll(s, `"`, `""`) + `"` }

// Quote quotes an SQL text.
func Quote(s string) string { return "'" + strings.ReplaceAll(s, "'", "''") + "'" }

// List is an SQL list of file names.
func List(files []string) string {
	quoted := make([]string, len(files))
	for i, f := range files {
		quoted[i] = Quote(f)
	}
	return "[" + strings.Join(quoted, ", ") + "]"
}

// firstLine is the first line of a query that is not a comment, to name it in an error.
func firstLine(query string) string {
	for line := range strings.Lines(query) {
		if line = strings.TrimSpace(line); line != "" && !strings.HasPrefix(line, "--") {
			return fmt.Sprintf("%.80q", line)
		}
	}
	return "an empty query"
}
