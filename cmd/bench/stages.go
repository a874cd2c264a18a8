package bench

import (
	"context"
	_ "embed"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"scanledger/ingest/store"
	"scanledger/transform"
	"scanledger/transform/engine"
	"scanledger/transform/settle"
)

// Options say what is measured.
type Options struct {
	Program string // path of this program
	Dir     string // for records and stores; needs some five times the records' bytes
	Size    Size
	Runs    int
	Stages  []string // of Stages
	Python  string   // an interpreter with pandas, for the stage script
	Step    func(what string)
}

// Stages are what can be measured.
var Stages = []string{"load", "counts", "build", "month", "script"}

// bench is one measuring.
type bench struct {
	Options
	ctx              context.Context
	readings, others []string
	out              []Compared
}

// Measure makes the records and measures each stage.
func Measure(ctx context.Context, opt Options) ([]Compared, error) {
	b := bench{Options: opt, ctx: ctx}
	b.Step("make records")
	var err error
	if b.readings, b.others, err = opt.Size.Write(filepath.Join(opt.Dir, "records")); err != nil {
		return nil, err
	}
	for _, stage := range opt.Stages {
		b.Step("measure " + stage)
		do, ok := map[string]func() error{"load": b.load, "counts": b.counts, "build": b.build, "month": b.month, "script": b.script}[stage]
		if !ok {
			return nil, fmt.Errorf("no stage is called %q; there are %s", stage, strings.Join(Stages, ", "))
		}
		if err := do(); err != nil {
			return nil, fmt.Errorf("measure %s: %w", stage, err)
		}
	}
	return b.out, nil
}

// received is when all records are said to have come in.
const received = "2030-01-01T00:00:00Z"

// program runs this program.
func (b *bench) program(args ...string) (Run, error) {
	return child(b.ctx, append([]string{b.Program}, args...)...)
}

// fresh makes a store of the given files in an empty folder; nothing of it is measured.
func (b *bench) fresh(name string, files []string) (string, error) {
	dir := filepath.Join(b.Dir, name)
	if err := os.RemoveAll(dir); err != nil {
		return "", err
	}
	_, err := b.program(append([]string{"load", "--quiet", "--received", received, "--store", dir}, files...)...)
	return dir, err
}

// load measures taking readings in, beside DuckDB's own reading of the same files, unvalidated, into Parquet.
func (b *bench) load() error {
	in, err := weight(b.readings...)
	if err != nil {
		return err
	}
	var dir string
	least := filepath.Join(b.Dir, "floor.parquet")
	c, err := compare(b.ctx, Compared{Stage: "load", Floor: "DuckDB reads the same CSV, unvalidated, and writes Parquet", Rows: b.Size.Readings, BytesIn: in}, b.Runs,
		func() (Run, error) {
			if dir, err = b.fresh("load", b.others); err != nil {
				return Run{}, err
			}
			return b.program(append([]string{"load", "--quiet", "--received", received, "--store", dir}, b.readings...)...)
		},
		func() (Run, error) { return b.program(append([]string{"floor", "load", least}, b.readings...)...) })
	if err == nil {
		c.BytesOut, err = weight(filepath.Join(dir, "data", "readings"))
	}
	b.out = append(b.out, c)
	return errors.Join(err, os.RemoveAll(dir), os.RemoveAll(least))
}

// counts measures the way to the count table alone: local months and seasons, deciding readings, truth, and calls made elsewhere.
func (b *bench) counts() error {
	return b.aggregated("counts", func(dir, out string) (Run, error) { return b.program("floor", "facts", dir, out) })
}

// build measures facts, results and pages.
func (b *bench) build() error {
	return b.aggregated("build", func(dir, out string) (Run, error) { return b.program("build", "--quiet", "--store", dir, "--out", out) })
}

// aggregated measures what makes out of a store, beside the plain aggregation that gives the count table.
func (b *bench) aggregated(stage string, work func(dir, out string) (Run, error)) error {
	dir, err := b.fresh(stage, slices.Concat(b.others, b.readings))
	if err != nil {
		return err
	}
	out := filepath.Join(b.Dir, "out")
	c, err := compare(b.ctx, Compared{Stage: stage, Floor: "DuckDB aggregates the store's Parquet to the count table", Rows: b.Size.Readings}, b.Runs,
		func() (Run, error) {
			if err := os.RemoveAll(out); err != nil {
				return Run{}, err
			}
			return work(dir, out)
		},
		func() (Run, error) { return b.program("floor", "build", dir) })
	if err == nil {
		c.BytesIn, err = weight(filepath.Join(dir, "data"))
	}
	if err == nil {
		c.BytesOut, err = weight(out)
	}
	b.out = append(b.out, c)
	return errors.Join(err, os.RemoveAll(dir), os.RemoveAll(out))
}

// grow takes files in and builds.
func (b *bench) grow(dir string, files []string) (Run, error) {
	a, err := b.program(append([]string{"load", "--quiet", "--received", received, "--store", dir}, files...)...)
	if err != nil {
		return a, err
	}
	m, err := b.program("build", "--quiet", "--store", dir, "--out", filepath.Join(b.Dir, "out"))
	return Run{a.Seconds + m.Seconds, max(a.PeakMiB, m.PeakMiB)}, err
}

// month measures taking in the newest month and building again, beside taking in everything and building.
func (b *bench) month() error {
	if b.Size.Months < 2 {
		return errors.New("give at least two months")
	}
	last := []string{b.readings[len(b.readings)-1], b.others[len(b.others)-2], b.others[len(b.others)-1]}
	before := slices.DeleteFunc(slices.Concat(b.others, b.readings), func(path string) bool { return slices.Contains(last, path) })
	out, dir := filepath.Join(b.Dir, "out"), filepath.Join(b.Dir, "month")
	wasStore, err := b.fresh("before", before)
	if err != nil {
		return err
	}
	wasOut := filepath.Join(b.Dir, "out-before")
	if err := os.RemoveAll(wasOut); err != nil {
		return err
	}
	if _, err := b.program("build", "--quiet", "--store", wasStore, "--out", wasOut); err != nil {
		return err
	}
	c, err := compare(b.ctx, Compared{Stage: "month", Floor: fmt.Sprintf("load and build of all %d months", b.Size.Months), Rows: b.Size.Readings}, b.Runs,
		func() (Run, error) {
			if err := errors.Join(again(dir, wasStore), again(out, wasOut)); err != nil {
				return Run{}, err
			}
			return b.grow(dir, last)
		},
		func() (Run, error) {
			if err := errors.Join(os.RemoveAll(out), os.RemoveAll(dir)); err != nil {
				return Run{}, err
			}
			return b.grow(dir, slices.Concat(b.others, b.readings))
		})
	b.out = append(b.out, c)
	return errors.Join(err, os.RemoveAll(dir), os.RemoveAll(out), os.RemoveAll(wasStore), os.RemoveAll(wasOut))
}

// again puts a copy of a folder in the place of another.
func again(dir, was string) error {
	return errors.Join(os.RemoveAll(dir), os.CopyFS(dir, os.DirFS(was)))
}

//go:embed floor_build.sql
var floorBuild string

//go:embed byhand.py
var byHand []byte

// script measures load and build of everything beside a script of pandas that makes five tables of the same files.
func (b *bench) script() error {
	script, tables, out := filepath.Join(b.Dir, "byhand.py"), filepath.Join(b.Dir, "tables"), filepath.Join(b.Dir, "out")
	if err := os.WriteFile(script, byHand, 0o600); err != nil {
		return err
	}
	dir := filepath.Join(b.Dir, "script")
	c, err := compare(b.ctx, Compared{Stage: "script", Floor: "pandas: the same files, no rules, five tables", Rows: b.Size.Readings}, b.Runs,
		func() (Run, error) {
			if err := errors.Join(os.RemoveAll(out), os.RemoveAll(dir)); err != nil {
				return Run{}, err
			}
			return b.grow(dir, slices.Concat(b.others, b.readings))
		},
		func() (Run, error) { return child(b.ctx, b.Python, script, filepath.Join(b.Dir, "records"), tables) })
	b.out = append(b.out, c)
	return errors.Join(err, os.RemoveAll(dir), os.RemoveAll(out), os.RemoveAll(tables))
}

// Floor does a part of a stage. The least: load OUT FILE… reads CSV files into one Parquet file, build STORE makes the count table.
// And facts STORE DIR, which makes the fact tables that lead to the count table.
func Floor(ctx context.Context, stage string, args []string) (err error) {
	e, err := engine.Open(ctx, engine.Options{})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, e.Close()) }()
	switch {
	case stage == "load" && len(args) > 1:
		return e.Save(ctx, "SELECT * FROM read_csv("+engine.List(args[1:])+", header = true)", args[0])
	case stage == "build" && len(args) == 1:
		return floorCounts(ctx, e, args[0])
	case stage == "facts" && len(args) == 2:
		return counted(ctx, e, args[0], args[1])
	}
	return fmt.Errorf("floor: %s with %d arguments; give load OUT FILE…, build STORE or facts STORE DIR", stage, len(args))
}

// counted makes the fact tables that lead to the count table.
func counted(ctx context.Context, e *engine.Engine, dir, facts string) error {
	st, err := store.Open(dir)
	if err != nil {
		return err
	}
	if err := settle.Views(ctx, e, st, len(st.Manifest.Loads)); err != nil {
		return err
	}
	only := []string{"point_decisions", "called_elsewhere", "point_truth", "point_visits", "visit_counts"}
	_, err = transform.Facts(ctx, e, facts, transform.Options{Only: only}, func(string) {})
	return err
}

func floorCounts(ctx context.Context, e *engine.Engine, dir string) error {
	st, err := store.Open(dir)
	if err != nil {
		return err
	}
	query := floorBuild
	for _, set := range []string{"inspections", "readings", "findings", "regions", "materials"} {
		query = strings.ReplaceAll(query, "{"+set+"}", "read_parquet("+engine.List(st.Paths(store.Data, set, len(st.Manifest.Loads)))+")")
	}
	return e.Exec(ctx, "CREATE TEMP TABLE counts AS "+query)
}
