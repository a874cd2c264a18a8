package main

import (
	"errors"
	"fmt"
	"os"

	"scanledger/cmd/bench"
)

type benchCmd struct {
	Rows   []int    `help:"Readings to make; with several sizes, how time grows from one to the next is told too." default:"1000000"`
	Months int      `help:"Months over which they spread." default:"36"`
	Runs   int      `help:"Runs of each stage and of its floor, in alternation." default:"5"`
	Stage  []string `help:"What to measure: load, counts, build, month, script (needs pandas); otherwise the first four." placeholder:"STAGE"`
	Python string   `help:"Interpreter with pandas, for the stage script." default:"/usr/bin/python3" placeholder:"FILE"`
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
		c.Stage = bench.Stages[:4]
	}
	w := &watch{a: a}
	defer w.finish()
	var out []bench.Compared
	for _, rows := range c.Rows {
		made, err := bench.Measure(a.ctx, bench.Options{Program: program, Dir: c.Dir, Size: bench.Size{Readings: rows, Months: c.Months}, Runs: c.Runs, Stages: c.Stage, Python: c.Python, Step: w.Step})
		if err != nil {
			return fmt.Errorf("bench: %w", err)
		}
		out = append(out, made...)
	}
	w.finish()
	return a.measured(out)
}

// measured prints what was measured, and how it grows where there is more than one size.
func (a *app) measured(out []bench.Compared) error {
	growth := bench.Growths(out)
	if a.json {
		return a.object(struct {
			Stages []bench.Compared `json:"stages"`
			Growth []bench.Growth   `json:"growth"`
		}{out, growth})
	}
	rows := []string{"stage\trows\truns\tratio\tlowest to highest\tseconds\tpeak MiB\tfloor MiB\tMB in\tMB out\tfloor"}
	for _, r := range out {
		rows = append(rows, fmt.Sprintf("%s\t%d\t%d\t%.2f\t%.2f to %.2f\t%.1f\t%.0f\t%.0f\t%.1f\t%.1f\t%s", r.Stage, r.Rows, len(r.Work), r.Ratio, r.Lowest, r.Highest, r.Seconds, r.PeakMiB, r.FloorMiB,
			float64(r.BytesIn)/1e6, float64(r.BytesOut)/1e6, r.Floor))
	}
	if err := a.table(rows); err != nil {
		return err
	}
	rows = []string{"stage\trows\tseconds per million\tgrowth (1 is linear)"}
	for _, g := range growth {
		if g.Growth > 0 {
			rows = append(rows, fmt.Sprintf("%s\t%d\t%.2f\t%.2f", g.Stage, g.Rows, g.SecondsPerMillion, g.Growth))
		}
	}
	if len(rows) == 1 {
		return nil
	}
	return a.table(rows)
}

type floorCmd struct {
	Stage string   `arg:"" help:"load, build or facts."`
	Args  []string `arg:"" optional:"" help:"What it works on."`
}

// Run does the least of a stage.
func (c *floorCmd) Run(a *app) error { return bench.Floor(a.ctx, c.Stage, c.Args) }
