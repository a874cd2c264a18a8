package engine

import "context"

// SQL is an engine that fact tables are made in and analyses read: the embedded one, or a fleet of machines. Queries are those
// of the embedded engine's dialect.
type SQL interface {
	// Each runs a query and calls visit for every row with the row's scanner. visit must not use the engine.
	Each(ctx context.Context, query string, args []any, visit func(scan func(dest ...any) error) error) error
	// Define gives a SELECT a name, for as long as the engine is open.
	Define(ctx context.Context, name, query string) error
	// Keep gives the rows that a SELECT now has a name, for as long as the engine is open.
	Keep(ctx context.Context, name, query string, args ...any) error
	// View gives the rows of Parquet files a name. Without files, it is that of empty, a SELECT without rows.
	View(ctx context.Context, name string, files []string, empty string) error
	// Save writes the rows of a SELECT to a Parquet file, for View: all of them or, where it fails, none.
	Save(ctx context.Context, query, path string) error
	// Spread runs so many pieces of work, numbered from 0, on at most so many forks of the engine at the same time, as many as
	// are of use; each fork takes the next piece as soon as it has done one. A fork sees what is defined and kept here; what
	// it defines and keeps itself others do not see.
	Spread(ctx context.Context, pieces, most int, work func(ctx context.Context, fork SQL, nth int) error) error
	// Fingerprints reports whether hash() and version() are there, by which it is seen what has changed since an earlier run.
	Fingerprints() bool
}
