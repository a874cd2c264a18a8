// Package fleet runs queries on a distributed engine, Trino, in the place of the embedded one.
//
// In: queries in the embedded engine's dialect, and Parquet files in a folder that the fleet sees too. Out: rows, and tables of
// Parquet files below that folder, each written as a whole or not at all. It knows no more of what queries mean than the
// embedded engine does, and never shows the password of the address it is given.
package fleet

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/trinodb/trino-go-client/trino"

	"scanledger/transform/engine"
)

// Options say where a fleet is and what it sees.
type Options struct {
	DSN      string         // http[s]://user[:password]@host:port?catalog=NAME; a password needs https
	Folder   string         // folder that this machine and the fleet share; files to be read and written lie below it
	Location string         // how the fleet names that folder; "": local:///
	Name     string         // of the schema that keeps what queries need of each other, and is gone when the fleet is closed
	Local    *engine.Engine // tells the columns of Parquet files
}

// Fleet is an engine.SQL on other machines.
type Fleet struct {
	db     *sql.DB
	opt    Options
	secret string
	schema string               // with the catalog
	views  map[string]string    // definitions by name, so that what is unchanged is not defined again
	tables map[string][]column  // of saved tables, by name
	saved  map[string]partition // by the path it was saved under
	kept   map[string]string    // tables of kept rows, by name and query
	saves  int                  // how often, so that no two have one folder
	read   map[string][]column  // of folders of files that others wrote, by the table over them
}

// column is a column of a table. Tables there know no zones: such times are kept as those of UTC.
type column struct {
	name, kind string
	zoned      bool
}

// Open connects to a fleet and makes a schema there.
func Open(ctx context.Context, opt Options) (*Fleet, error) {
	u, err := url.Parse(opt.DSN)
	if err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
		return nil, errors.New("open fleet: give its address as http://USER@HOST:PORT?catalog=NAME, or https with a password") // whatever it was, it may hold a secret
	}
	f := &Fleet{opt: opt, views: map[string]string{}, tables: map[string][]column{}, saved: map[string]partition{}, kept: map[string]string{}, read: map[string][]column{}}
	if u.User != nil {
		f.secret, _ = u.User.Password()
	}
	if f.secret != "" && u.Scheme != "https" {
		return nil, f.hide(fmt.Errorf("open fleet at %s: a password needs https", u.Host))
	}
	query := u.Query()
	catalog := query.Get("catalog")
	if catalog == "" {
		return nil, f.hide(fmt.Errorf("open fleet at %s: name the catalog, as ?catalog=NAME", u.Host))
	}
	query.Set("schema", opt.Name)
	query.Set("source", opt.Name) // by which what runs for it is found
	u.RawQuery = query.Encode()
	f.schema = catalog + "." + opt.Name
	if f.opt.Location == "" {
		f.opt.Location = "local:///"
	}
	if f.db, err = sql.Open("trino", u.String()); err != nil {
		return nil, f.hide(fmt.Errorf("open fleet at %s: %w", u.Host, err))
	}
	return f, f.begin(ctx, u.Host)
}

// begin makes the schema.
func (f *Fleet) begin(ctx context.Context, host string) error {
	where, err := f.location(f.own())
	if err != nil {
		return errors.Join(err, f.db.Close())
	}
	if err := f.exec(ctx, "CREATE SCHEMA "+f.schema+" WITH (location = "+engine.Quote(where)+")"); err != nil {
		return errors.Join(fmt.Errorf("open fleet at %s: %w", host, err), f.db.Close())
	}
	return nil
}

// own is the folder of what queries need of each other.
func (f *Fleet) own() string { return filepath.Join(f.opt.Folder, "."+f.opt.Name) }

// Close removes the schema. Files saved stay where they are.
func (f *Fleet) Close() error {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	return errors.Join(f.exec(ctx, "DROP SCHEMA "+f.schema+" CASCADE"), f.db.Close(), os.RemoveAll(f.own()))
}

// Fingerprints is false: hashes would not be those of the embedded engine, and so all months are made each time.
func (f *Fleet) Fingerprints() bool { return false }

// Spread runs one piece of work after another, here: one statement keeps a whole fleet busy.
func (f *Fleet) Spread(ctx context.Context, pieces, _ int, work func(ctx context.Context, fork engine.SQL, nth int) error) error {
	for nth := range pieces {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := work(ctx, f, nth); err != nil {
			return err
		}
	}
	return nil
}

// Each runs a query and calls visit for every row with the row's scanner.
func (f *Fleet) Each(ctx context.Context, query string, args []any, visit func(scan func(dest ...any) error) error) (err error) {
	bound, err := bind(query, args)
	if err != nil {
		return err
	}
	rows, err := f.db.QueryContext(ctx, Translate(bound))
	if err != nil {
		return f.failed(ctx, query, err)
	}
	defer func() { err = errors.Join(err, f.hide(rows.Close())) }()
	for rows.Next() {
		if err := visit(rows.Scan); err != nil {
			return f.failed(ctx, query, err)
		}
	}
	if err := rows.Err(); err != nil {
		return f.failed(ctx, query, err)
	}
	return nil
}

// Define makes a view of a SELECT.
func (f *Fleet) Define(ctx context.Context, name, query string) error {
	return f.define(ctx, name, Translate(query))
}

func (f *Fleet) define(ctx context.Context, name, translated string) error {
	if f.views[name] == translated {
		return nil
	}
	if err := f.exec(ctx, "CREATE OR REPLACE VIEW "+engine.Name(name)+" AS "+translated); err != nil {
		return fmt.Errorf("define %s: %w", name, err)
	}
	f.views[name] = translated
	return nil
}

// exec runs a statement of the fleet's own dialect.
func (f *Fleet) exec(ctx context.Context, statement string) error {
	if _, err := f.db.ExecContext(ctx, statement); err != nil {
		return f.failed(ctx, statement, err)
	}
	return nil
}

// lost are errors of the fleet that say that a machine of it went: what ran there may be run again.
var lost = map[string]bool{"REMOTE_TASK_ERROR": true, "REMOTE_TASK_MISMATCH": true, "PAGE_TRANSPORT_ERROR": true, "PAGE_TRANSPORT_TIMEOUT": true,
	"REMOTE_HOST_GONE": true, "NO_NODES_AVAILABLE": true, "TOO_MANY_REQUESTS_FAILED": true,
	"GENERIC_INSUFFICIENT_RESOURCES": true}

// ErrLost says that a machine of the fleet went while it worked. Nothing of what it worked at is kept.
var ErrLost = errors.New("a machine of the fleet was lost while it worked; nothing of it was kept: see that its workers are up, then run again")

// failed names the query, tells a cancelled one from one that failed, and hides the password.
func (f *Fleet) failed(ctx context.Context, query string, err error) error {
	if cause := context.Cause(ctx); cause != nil {
		return errors.Join(cause, f.stop())
	}
	var said *trino.ErrTrino
	if errors.As(err, &said) {
		err = fmt.Errorf("%s: %s", said.ErrorName, said.Message)
		if lost[said.ErrorName] {
			err = fmt.Errorf("%w (%w)", ErrLost, err)
		}
	}
	return f.hide(fmt.Errorf("query %s: %w", firstLine(query), err))
}

// stop ends what runs for this fleet on the server: the driver leaves it running when its context ends.
func (f *Fleet) stop() error {
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	running, err := f.running(ctx)
	for _, id := range running {
		_, failed := f.db.ExecContext(ctx, "CALL system.runtime.kill_query("+engine.Quote(id)+", 'cancelled')")
		err = errors.Join(err, failed)
	}
	return f.hide(err)
}

// running lists what runs for this fleet on the server.
func (f *Fleet) running(ctx context.Context) (ids []string, err error) {
	rows, err := f.db.QueryContext(ctx, "SELECT query_id FROM system.runtime.queries WHERE source = "+engine.Quote(f.opt.Name)+
		" AND state NOT IN ('FINISHED', 'FAILED') AND query NOT LIKE '%system.runtime.queries%'")
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var id string
		if err := rows.Scan(&id); err != nil {
			return ids, err
		}
		ids = append(ids, id)
	}
	return ids, rows.Err()
}

// hidden is an error whose words do not hold the password.
type hidden struct {
	error
	secret string
}

func (h hidden) Error() string {
	said := h.error.Error()
	for _, s := range []string{h.secret, url.QueryEscape(h.secret), url.PathEscape(h.secret), url.UserPassword("", h.secret).String()[1:]} {
		said = strings.ReplaceAll(said, s, "***")
	}
	return said
}

func (h hidden) Unwrap() error { return h.error }

func (f *Fleet) hide(err error) error {
	if err == nil || f.secret == "" {
		return err
	}
	return hidden{err, f.secret}
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
