package main

import (
	"errors"
	"fmt"
	"os"

	"scanledger/cmd/bench"
)

type benchCmd struct {
	Rows   int      `help:"Readings to make." default:"1000000"`
	Months int      `help:"Months over which they spread." default:"36"`
	Runs   int      `help:"Runs of each stage and of its floor, in alternation." default:"5"`
	Stage  []string `help:"What to measure: load, build, month; otherwise all." placeholder:"STAGE"`
	Dir    string   `help:"Folder for what is made; otherwise one that is removed." type:"path" placeholder:"DIR"`
}

// Run measures and prints ratios.
func (c *benchCmd) Run(a *app) (err error) {
	if c.Runs < 1 {
		return fmt.Errorf("%w: bench: --runs is %d; give 1 or more", errUsage, c.Runs)
	}
	if c.Dir == "" {
		if c.Dir, err = os.MkdirTemp("", "scanledger-bench-"); err != nil {
			return err
		}
		defer func() { err = errors.Join(err, os.RemoveAll(c.Dir)) }()
	}
	program, err := os.Executable()
	if err != nil {
		return err
	}
	if len(c.Stage) == 0 {
		c.Stage = bench.Stages
	}
	w := &watch{a: a}
	defer w.finish()
	out, err := bench.Measure(a.ctx, bench.Options{Program: program, Dir: c.Dir, Size: bench.Size{Readings: c.Rows, Months: c.Months}, Runs: c.Runs, Stages: c.Stage, Step: w.Step})
	if err != nil {
		return fmt.Errorf("bench: %w", err)
	}
	w.finish()
	if a.json {
		return a.object(out)
	}
	rows := []string{"stage\trows\truns\tratio\tlowest to highest\tpeak MiB\tfloor MiB\tMB in\tMB out\tfloor"}
	for _, r := range out {
		rows = append(rows, fmt.Sprintf("%s\t%d\t%d\t%.2f\t%.2f to %.2f\t%.0f\t%.0f\t%.1f\t%.1f\t%s", r.Stage, r.Rows, len(r.Work), r.Ratio, r.Lowest, r.Highest, r.PeakMiB, r.FloorMiB,
			float64(r.BytesIn)/1e6, float64(r.BytesOut)/1e6, r.Floor))
	}
	return a.table(rows)
}

type floorCmd struct {
	Stage string   `arg:"" help:"load or build."`
	Args  []string `arg:"" optional:"" help:"What it works on."`
}

// Run does the least of a stage.
func (c *floorCmd) Run(a *app) error { return bench.Floor(a.ctx, c.Stage, c.Args) }
