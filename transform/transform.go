// Package transform turns held records into facts.
//
// In: the held_ views that settle makes. Out: fact tables as Parquet, in order: visits, readings,
// point-visits with call and truth, and the count table that analyses read. Every table is one .sql
// file whose header says its grain and columns. It never computes a statistic.
package transform

import (
	"context"
	"embed"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"scanledger/transform/engine"
)

//go:embed sql/*.sql
var sqlFiles embed.FS

// tables lists the fact tables, each after those it reads.
var tables = []string{"season_months", "visits", "readings", "point_truth", "point_visits", "visit_counts"}

// Tables lists the fact tables in the order in which they are made.
func Tables() []string { return slices.Clone(tables) }

// DefaultTruthDays is how long after a visit a finding still tells about it. (RECORDS: 60 days.)
const DefaultTruthDays = 60

// Options set what the tables mean.
type Options struct {
	TruthDays int // 0: DefaultTruthDays
}

// Facts makes the fact tables in dir, one Parquet file each, and a view of each in e.
func Facts(ctx context.Context, e *engine.Engine, dir string, opt Options, step func(table string)) error {
	if opt.TruthDays == 0 {
		opt.TruthDays = DefaultTruthDays
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("make facts: %w", err)
	}
	err := e.Exec(ctx, "CREATE OR REPLACE TEMP TABLE params AS SELECT CAST($days AS INTEGER) AS truth_days", engine.Arg("days", opt.TruthDays))
	if err != nil {
		return err
	}
	for _, name := range tables {
		step(name)
		query, err := SQL(name)
		if err != nil {
			return err
		}
		path := filepath.Join(dir, name+".parquet")
		if err := e.Save(ctx, query, path); err != nil {
			return fmt.Errorf("make table %s: %w", name, err)
		}
		if err := e.View(ctx, name, []string{path}, ""); err != nil {
			return err
		}
	}
	return nil
}

// SQL is the query that makes a fact table.
func SQL(table string) (string, error) {
	raw, err := sqlFiles.ReadFile("sql/" + table + ".sql")
	if err != nil {
		return "", fmt.Errorf("no fact table %q: %w", table, err)
	}
	return string(raw), nil
}
