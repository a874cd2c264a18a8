package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"scanledger/dashboards"
	"scanledger/ingest/store"
	"scanledger/queries"
	"scanledger/transform"
	"scanledger/transform/engine"
	"scanledger/transform/protocol"
	"scanledger/transform/settle"
)

type buildCmd struct {
	Store string `required:"" help:"Folder of the store." type:"path" placeholder:"DIR"`
	Out   string `required:"" help:"Folder for results and pages; replaced as a whole." type:"path" placeholder:"DIR"`
	From  string `help:"First month (YYYY-MM); otherwise the first there is." placeholder:"MONTH"`
	To    string `help:"Last month (YYYY-MM); otherwise the last there is." placeholder:"MONTH"`
	AsOf  string `help:"See only what had been received by this day (YYYY-MM-DD)." placeholder:"DATE"`
}

// built says what a build made.
type built struct {
	Out      string            `json:"out"`
	Start    string            `json:"start"` // the page to open first
	AsOf     string            `json:"as_of"`
	From     string            `json:"from"`
	To       string            `json:"to"`
	Findings []queries.Finding `json:"findings"`
}

// Run builds, and says where to look.
func (c *buildCmd) Run(a *app) error {
	made, err := c.build(a)
	if err != nil {
		return err
	}
	if a.json {
		return a.object(made)
	}
	return a.sayBuilt(made)
}

func (a *app) sayBuilt(made built) error {
	months := "months " + made.From + " to " + made.To
	if made.From == "" {
		months = "no inspections yet"
	}
	if err := a.say("Built from what had been received by %s, %s.\nOpen %s\n", made.AsOf, months, made.Start); err != nil {
		return err
	}
	if len(made.Findings) == 0 {
		return a.say("Too few calls and findings yet for any figure to say something.")
	}
	if err := a.say("The most important findings:"); err != nil {
		return err
	}
	for i, f := range made.Findings[:min(3, len(made.Findings))] {
		if err := a.say("%d. %s", i+1, f.Text); err != nil {
			return err
		}
	}
	return nil
}

func (c *buildCmd) build(a *app) (_ built, err error) {
	asOf, err := c.check()
	if err != nil {
		return built{}, err
	}
	st, err := store.Open(c.Store)
	if err != nil {
		return built{}, err
	}
	upTo, received, err := st.LoadAsOf(asOf)
	if err != nil {
		return built{}, fmt.Errorf("build: %w", err)
	}
	if asOf.IsZero() {
		asOf = received
	}
	checks, err := protocol.Read(a.config.Protocol)
	if err != nil {
		return built{}, err
	}
	stage, err := beginOutput(c.Out)
	if err != nil {
		return built{}, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(stage)) }()
	book, err := a.analyse(st, upTo, stage, queries.Options{
		From: c.From, To: c.To, AsOf: asOf, Floor: a.config.Counts.Floor,
		FalseAlarmCost: a.config.Costs.FalseAlarm, MissedCost: a.config.Costs.Missed,
		Frequency: a.config.Sensor.Frequency, WaveLoss: a.config.WaveLoss,
		Protocol: checks, InspectionPages: a.config.Pages.Inspections,
	})
	if err != nil {
		return built{}, err
	}
	if err := writeResults(stage, book); err != nil {
		return built{}, err
	}
	business := dashboards.Business{Name: a.config.Business.Name, Currency: a.config.Business.Currency,
		FalseAlarmCost: a.config.Costs.FalseAlarm, MissedCost: a.config.Costs.Missed}
	if err := dashboards.Write(stage, book, business); err != nil {
		return built{}, err
	}
	if err := publishOutput(stage, c.Out, inputs(st, upTo, book)); err != nil {
		return built{}, err
	}
	return built{c.Out, filepath.Join(c.Out, "index.html"), book.AsOf, book.From, book.To, book.Findings}, nil
}

// analyse makes facts in the stage and the figures from them.
func (a *app) analyse(st *store.Store, upTo int, stage string, opt queries.Options) (_ *queries.Book, err error) {
	eng, err := engine.Open(a.ctx, a.engine())
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, eng.Close()) }()
	w := &watch{a: a}
	defer w.finish()
	w.Step("read store")
	if err := settle.Views(a.ctx, eng, st, upTo); err != nil {
		return nil, err
	}
	facts := filepath.Join(stage, "facts")
	if err := transform.Facts(a.ctx, eng, facts, transform.Options{TruthDays: a.config.Truth.Days, Protocol: opt.Protocol}, w.Step); err != nil {
		return nil, err
	}
	w.Step("analyse")
	return queries.Analyse(a.ctx, eng, st, upTo, opt)
}

// check reads the dates; the zero time stands for "everything received".
func (c *buildCmd) check() (asOf time.Time, err error) {
	for _, month := range []string{c.From, c.To} {
		if _, err := time.Parse("2006-01", month); month != "" && err != nil {
			return asOf, fmt.Errorf("%w: %q is no month; write it as 2026-08", errUsage, month)
		}
	}
	if c.From != "" && c.To != "" && c.From > c.To {
		return asOf, fmt.Errorf("%w: --from %s is after --to %s", errUsage, c.From, c.To)
	}
	if c.AsOf == "" {
		return asOf, nil
	}
	if asOf, err = time.Parse(time.DateOnly, c.AsOf); err != nil {
		return asOf, fmt.Errorf("%w: %q is no date; write it as 2026-08-31", errUsage, c.AsOf)
	}
	return asOf, nil
}

// writeResults writes every result as JSON and CSV, and its query.
func writeResults(stage string, book *queries.Book) error {
	for _, r := range book.Results {
		j, err := r.JSON()
		if err != nil {
			return fmt.Errorf("write result %s: %w", r.Analysis, err)
		}
		c, err := r.CSV()
		if err != nil {
			return fmt.Errorf("write result %s: %w", r.Analysis, err)
		}
		for path, content := range map[string][]byte{
			"results/" + r.Analysis + ".json": j, "results/" + r.Analysis + ".csv": c, "queries/" + r.Analysis + ".sql": []byte(r.Query.SQL),
		} {
			if err := writeOutput(stage, path, content); err != nil {
				return err
			}
		}
	}
	return nil
}

// inputs says what an output was made from.
func inputs(st *store.Store, upTo int, book *queries.Book) []byte {
	type input struct {
		Name      string `json:"name"`
		SHA256    string `json:"sha256"`
		RecordSet string `json:"record_set"`
		Load      int    `json:"load"`
	}
	made := struct {
		Tool   string  `json:"tool"`
		AsOf   string  `json:"as_of"`
		From   string  `json:"from"`
		To     string  `json:"to"`
		Inputs []input `json:"inputs"`
	}{version(), book.AsOf, book.From, book.To, nil}
	for _, f := range st.Manifest.Files {
		if f.Load <= upTo {
			made.Inputs = append(made.Inputs, input{f.Name, f.SHA256, f.RecordSet, f.Load})
		}
	}
	out, err := json.MarshalIndent(made, "", " ")
	if err != nil {
		panic(err) // plain strings and numbers always marshal
	}
	return append(out, '\n')
}
