// Package transform turns held records into facts.
//
// In: the held_ views that settle makes. Out: fact tables as Parquet, in order: visits, readings,
// point-visits with call and truth, the count table that analyses read, and
// the chances and breaches of the protocol. Every table is one .sql
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
	"scanledger/transform/logs"
	"scanledger/transform/protocol"
)

//go:embed sql/*.sql
var sqlFiles embed.FS

// base lists the fact tables made from what is held, in two parts with those of unit logs between, and further
// those made from them, each after those it reads.
var (
	first   = []string{"season_months", "visits", "readings"}
	second  = []string{"log_offsets", "log_matches", "point_truth", "point_decisions", "called_elsewhere", "point_visits", "visit_counts"}
	base    = slices.Concat(first, logs.Tables(), second)
	further = []string{"checked_calls", "recheck_pairs", "protocol_readings", "protocol_points", "protocol_visits"}
)

// Tables lists the fact tables in the order in which they are made.
func Tables() []string { return slices.Concat(base, further) }

// Base lists those made from what is held, whose ids are in columns of their own.
func Base() []string { return slices.Clone(base) }

// DefaultTruthDays is how long after a visit a finding still tells about it. (RECORDS: 60 days.)
const DefaultTruthDays = 60

// Options set what the tables mean.
type Options struct {
	TruthDays int // 0: DefaultTruthDays
	Protocol  protocol.Settings
	Logs      logs.Settings
	Describe  logs.Describe // of movement in unit logs; nil: no signatures
	Earlier   string        // folder of the fact tables of an earlier run, whose unit-days are taken over where nothing changed; may be empty

	// Between, where set, is called once the base tables are made, and before the further ones, which name ids
	// in sentences.
	Between func() error
}

// Facts makes the fact tables in dir, one Parquet file each, and a view of each in e.
func Facts(ctx context.Context, e *engine.Engine, dir string, opt Options, step func(table string)) error {
	if opt.TruthDays == 0 {
		opt.TruthDays = DefaultTruthDays
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("make facts: %w", err)
	}
	if err := params(ctx, e, opt); err != nil {
		return err
	}
	if err := makeTables(ctx, e, dir, first, step); err != nil {
		return err
	}
	step("log_holds")
	if _, err := logs.Make(ctx, e, dir, opt.Earlier, opt.Logs, opt.Describe); err != nil {
		return err
	}
	if err := makeTables(ctx, e, dir, second, step); err != nil {
		return err
	}
	if opt.Between != nil {
		if err := opt.Between(); err != nil {
			return err
		}
	}
	return makeTables(ctx, e, dir, further, step)
}

func makeTables(ctx context.Context, e *engine.Engine, dir string, tables []string, step func(table string)) error {
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

// params makes the table of one row whose columns are the settings.
func params(ctx context.Context, e *engine.Engine, opt Options) error {
	columns, args := "CAST($truth_days AS INTEGER) AS truth_days", []any{engine.Arg("truth_days", opt.TruthDays)}
	for _, p := range protocol.Parameters {
		columns += ", CAST($" + p.Name + " AS DOUBLE) AS " + p.Name
		args = append(args, engine.Arg(p.Name, opt.Protocol.Value(p.Name)))
	}
	return e.Exec(ctx, "CREATE OR REPLACE TEMP TABLE params AS SELECT "+columns, args...)
}

// SQL is the query that makes a fact table.
func SQL(table string) (string, error) {
	raw, err := sqlFiles.ReadFile("sql/" + table + ".sql")
	if err != nil {
		return "", fmt.Errorf("no fact table %q: %w", table, err)
	}
	return string(raw), nil
}
