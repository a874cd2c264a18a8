package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"time"

	"golang.org/x/sync/errgroup"

	"scanledger/dashboards"
	"scanledger/ingest/store"
	"scanledger/queries"
	"scanledger/transform"
	"scanledger/transform/codes"
	"scanledger/transform/engine"
	"scanledger/transform/logs"
	"scanledger/transform/protocol"
	"scanledger/transform/settle"
)

type buildCmd struct {
	Store string `required:"" help:"Folder of the store." type:"path" placeholder:"DIR"`
	Out   string `required:"" help:"Folder for results and pages; replaced as a whole." type:"path" placeholder:"DIR"`
	From  string `help:"First month (YYYY-MM); otherwise the first there is." placeholder:"MONTH"`
	To    string `help:"Last month (YYYY-MM); otherwise the last there is." placeholder:"MONTH"`
	AsOf  string `help:"See only what had been received by this day (YYYY-MM-DD)." placeholder:"DATE"`

	NoNames bool `help:"Codes in the place of ids and no names, for pages that leave the business; needs privacy.key."`
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
	actions := queries.Actions(made.Findings, a.config.Costs.FalseAlarm, a.config.Costs.Missed)
	if len(actions) == 0 {
		return a.say("Nothing in the figures asks for action.")
	}
	if err := a.say("What to do next:"); err != nil {
		return err
	}
	for i, f := range actions[:min(3, len(actions))] {
		if err := a.say("%d. %s %s", i+1, f.Do, f.Text); err != nil {
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
	hide, err := a.hide(c.NoNames)
	if err != nil {
		return built{}, err
	}
	st, err := a.sound(c.Store)
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
	opt, err := a.options(c.From, c.To, asOf)
	if err != nil {
		return built{}, err
	}
	stage, err := beginOutput(c.Out, "facts", "queries", "results")
	if err != nil {
		return built{}, err
	}
	defer func() { err = errors.Join(err, stage.Close()) }()
	made := built{Out: c.Out, Start: filepath.Join(c.Out, "index.html")}
	err = a.withBook(st, upTo, stage.Path, filepath.Join(c.Out, "facts"), hide, opt, func(_ engine.SQL, st *store.Store, book *queries.Book) error {
		made.AsOf, made.From, made.To, made.Findings = book.AsOf, book.From, book.To, book.Findings
		if err := writeResults(stage.Path, book); err != nil {
			return err
		}
		if err := dashboards.Write(stage.Path, book, a.business()); err != nil {
			return err
		}
		return publishOutput(stage.Path, c.Out, inputs(st, upTo, book))
	})
	return made, err
}

// options are those of the configuration, for a period.
func (a *app) options(from, to string, asOf time.Time) (queries.Options, error) {
	checks, err := protocol.Read(a.config.Protocol)
	if err != nil {
		return queries.Options{}, err
	}
	units, err := logs.Read(a.config.Logs)
	return queries.Options{
		From: from, To: to, AsOf: asOf, Floor: a.config.Counts.Floor,
		FalseAlarmCost: a.config.Costs.FalseAlarm, MissedCost: a.config.Costs.Missed,
		Frequency: a.config.Sensor.Frequency, WaveLoss: a.config.WaveLoss, Patterns: a.config.patterns(),
		Protocol: checks, Logs: units, InspectionPages: a.config.Pages.Inspections,
	}, err
}

func (a *app) business() dashboards.Business {
	return dashboards.Business{Name: a.config.Business.Name, Currency: a.config.Business.Currency,
		FalseAlarmCost: a.config.Costs.FalseAlarm, MissedCost: a.config.Costs.Missed}
}

// hide makes the coder of ids where they are to be hidden, and nil where not.
func (a *app) hide(noNames bool) (*codes.Coder, error) {
	if !noNames {
		return nil, nil
	}
	c, err := codes.New(a.config.Privacy.Key)
	if err != nil {
		return nil, fmt.Errorf("%w: --no-names: %w", errUsage, err)
	}
	return &c, nil
}

// withBook makes facts in the stage and the figures from them, and hands them on while the engine is open,
// with the store as those who come after may see it. Without a stage the facts are gone with the engine.
// Unit-days are taken over from the facts in the folder earlier, where it has them.
func (a *app) withBook(st *store.Store, upTo int, stage, earlier string, hide *codes.Coder, opt queries.Options,
	use func(eng engine.SQL, st *store.Store, book *queries.Book) error) (err error) {
	return a.withFacts(st, upTo, stage, earlier, hide, opt, func(eng engine.SQL, st *store.Store, w *watch) error {
		w.Step("analyse")
		book, err := queries.Analyse(a.ctx, eng, st, upTo, opt)
		if err != nil {
			return err
		}
		return use(eng, st, book)
	})
}

// withFacts is withBook before any figure is made.
func (a *app) withFacts(st *store.Store, upTo int, stage, earlier string, hide *codes.Coder, opt queries.Options,
	use func(eng engine.SQL, st *store.Store, w *watch) error) (err error) {
	if hide != nil && a.config.Engine.Kind == trino {
		return fmt.Errorf("%w: --no-names: codes are put in by the embedded engine alone; run it with engine.kind = \"duckdb\"", errUsage)
	}
	limits := a.engine()
	if limits.MemoryLimit == "" {
		limits.MemoryLimit = buildMemory(st)
	}
	eng, err := engine.Open(a.ctx, limits)
	if err != nil {
		return err
	}
	whole := st
	defer func() { err = undisturbed(whole, errors.Join(err, eng.Close())) }()
	w := &watch{a: a}
	defer w.finish()
	w.Step("read store")
	if err := settle.Views(a.ctx, eng, st, upTo); err != nil {
		return err
	}
	if a.config.Engine.Kind == trino {
		return a.withFleet(eng, st, upTo, opt, w, use)
	}
	if stage == "" {
		stage = eng.Scratch()
	}
	if st, err = a.facts(eng, st, filepath.Join(stage, "facts"), hide, a.factOptions(opt, earlier), w); err != nil {
		return err
	}
	return use(eng, st, w)
}

// buildMemory is what the engine takes for a build where nothing else is configured: facts are made a month at a time, and so it goes by the
// largest month.
func buildMemory(st *store.Store) string {
	months := map[string]int64{}
	var largest int64
	for _, p := range st.Manifest.Parts {
		if p.Kind == store.Data && p.RecordSet == "readings" {
			months[p.Month] += p.Rows
			largest = max(largest, months[p.Month])
		}
	}
	if largest < 500_000 {
		return "512MiB"
	}
	return "704MiB" // the largest months are made one after another besides: what does not fit goes to disk
}

// factOptions are those of the facts that analyses with the given ones read.
func (a *app) factOptions(opt queries.Options, earlier string) transform.Options {
	return transform.Options{TruthDays: a.config.Truth.Days, Protocol: opt.Protocol, Logs: opt.Logs, Describe: queries.DescribeLogs(opt.Logs), Earlier: earlier}
}

// facts makes the fact tables in dir, with a coder those without ids and free text; what has them lies
// elsewhere and is removed with the engine.
func (a *app) facts(eng *engine.Engine, st *store.Store, dir string, hide *codes.Coder, opt transform.Options, w *watch) (*store.Store, error) {
	if hide == nil {
		_, err := transform.Facts(a.ctx, eng, dir, opt, w.Step)
		return st, err
	}
	scratch := eng.Scratch()
	coded := filepath.Join(scratch, "coded")
	opt.Between = func() (_ string, err error) {
		w.Step("replace ids")
		st, err = hide.Views(a.ctx, eng, st, coded)
		return coded, err
	}
	if _, err := transform.Facts(a.ctx, eng, filepath.Join(scratch, "with-ids"), opt, w.Step); err != nil {
		return nil, err
	}
	return st, codes.Withhold(a.ctx, eng, dir)
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
	var work errgroup.Group
	work.SetLimit(runtime.GOMAXPROCS(0))
	for _, r := range book.Results {
		work.Go(func() error { return writeResult(stage, r) })
	}
	return work.Wait()
}

func writeResult(stage string, r queries.Result) error {
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
	return nil
}

// input is a record file that an output was made from.
type input struct {
	Name      string `json:"name"`
	SHA256    string `json:"sha256"`
	RecordSet string `json:"record_set"`
	Load      int    `json:"load"`
}

// inputsOf lists the record files that a store had taken in by load upTo.
func inputsOf(st *store.Store, upTo int) (out []input) {
	for _, f := range st.Manifest.Files {
		if f.Load <= upTo {
			out = append(out, input{f.Name, f.SHA256, f.RecordSet, f.Load})
		}
	}
	return out
}

// inputs says what an output was made from.
func inputs(st *store.Store, upTo int, book *queries.Book) []byte {
	made := struct {
		Tool   string  `json:"tool"`
		AsOf   string  `json:"as_of"`
		From   string  `json:"from"`
		To     string  `json:"to"`
		Inputs []input `json:"inputs"`
		// Restated lists what was removed from the store before this was made: figures from before then counted it.
		Restated []store.Forgotten `json:"restated,omitempty"`
	}{version(), book.AsOf, book.From, book.To, inputsOf(st, upTo), st.Manifest.Forgotten}
	out, err := json.MarshalIndent(made, "", " ")
	if err != nil {
		panic(err) // plain strings and numbers always marshal
	}
	return append(out, '\n')
}

// readInputs reads back, from the folder of a build, what it was made from.
func readInputs(out string) ([]input, error) {
	raw, err := os.ReadFile(filepath.Join(out, outputMark))
	var made struct{ Inputs []input }
	if err == nil {
		err = json.Unmarshal(raw, &made)
	}
	if err != nil {
		return nil, fmt.Errorf("read what %s was built from: %w; build again", out, err)
	}
	return made.Inputs, nil
}
