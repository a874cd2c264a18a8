package main

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"scanledger/ingest/store"
	"scanledger/queries/ask"
	"scanledger/transform/engine"
)

type askCmd struct {
	Store   string        `required:"" help:"Folder of the store." type:"path" placeholder:"DIR"`
	Out     string        `help:"Folder of a build, whose facts and results can be asked as well, as facts.NAME and results.NAME." type:"path" placeholder:"DIR"`
	AsOf    string        `help:"See only what had been received by this day (YYYY-MM-DD)." placeholder:"DATE"`
	CSV     bool          `name:"csv" help:"Print CSV; text that a spreadsheet could take for a formula is made inert." xor:"form"`
	Table   bool          `help:"Print an aligned table, which is what is done otherwise." xor:"form"`
	Limit   int           `help:"Most rows printed; 0 for all." default:"1000"`
	Memory  string        `help:"Most memory the engine takes." default:"512MiB"`
	Timeout time.Duration `help:"Longest a question may take." default:"60s"`
	SQL     string        `arg:"" optional:"" name:"select" help:"One SELECT; without it, the views there are."`
}

// Run answers the question.
func (c *askCmd) Run(a *app) (err error) {
	asOf, err := (&buildCmd{AsOf: c.AsOf}).check()
	if err != nil {
		return err
	}
	if c.Limit < 0 || c.Timeout <= 0 {
		return fmt.Errorf("%w: ask: give a --limit of 0 or more and a --timeout above 0", errUsage)
	}
	if _, err := engine.Bytes(c.Memory); err != nil {
		return fmt.Errorf("%w: ask: --memory: %w", errUsage, err)
	}
	st, err := a.sound(c.Store)
	if err != nil {
		return err
	}
	upTo, _, err := st.LoadAsOf(asOf)
	if err != nil {
		return fmt.Errorf("ask: %w", err)
	}
	e, err := engine.Open(a.ctx, engine.Options{MemoryLimit: c.Memory, Threads: ask.Threads})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, e.Close()) }()
	views, err := ask.Open(a.ctx, e, st, upTo, c.Out)
	if err != nil {
		return fmt.Errorf("ask: %w", err)
	}
	if strings.TrimSpace(c.SQL) == "" {
		return a.sayViews(views)
	}
	ctx, cancel := context.WithTimeout(a.ctx, c.Timeout)
	defer cancel()
	return c.explainFailure(a, ctx, views, c.answer(ctx, a, e))
}

func (a *app) sayViews(views []ask.View) error {
	if a.json {
		return a.object(views)
	}
	rows := []string{"view\tcolumns"}
	for _, v := range views {
		rows = append(rows, v.Name+"\t"+strings.Join(v.Columns, ", "))
	}
	return a.table(rows)
}

// explainFailure says what to do where a question came to nothing.
func (c *askCmd) explainFailure(a *app, ctx context.Context, views []ask.View, err error) error {
	switch {
	case err == nil, a.ctx.Err() != nil:
		return err
	case ctx.Err() != nil:
		return fmt.Errorf("ask: no answer within %s; ask for less, or give a longer --timeout", c.Timeout)
	case errors.Is(err, engine.ErrMemory):
		return fmt.Errorf("ask: %w (--memory %s); ask for less, or give more", err, c.Memory)
	case errors.Is(err, ask.ErrQuestion):
		var names []string
		for _, v := range views {
			names = append(names, v.Name)
		}
		return fmt.Errorf("%w: ask: %w; the views are %s; scanledger ask --store DIR without a statement lists their columns", errUsage, err, strings.Join(names, ", "))
	}
	return err
}

func (c *askCmd) answer(ctx context.Context, a *app, e *engine.Engine) error {
	var p answerPrinter = &tablePrinter{a: a}
	switch {
	case a.json:
		p = &jsonPrinter{a: a}
	case c.CSV:
		p = &csvPrinter{w: csv.NewWriter(a.t.out)}
	}
	n := 0
	err := ask.Rows(ctx, e, c.SQL, p.head, func(cells []ask.Cell) error {
		if c.Limit > 0 && n == c.Limit {
			n++
			return ask.ErrEnough
		}
		n++
		return p.row(cells)
	})
	if err != nil {
		return err
	}
	if err := p.end(); err != nil {
		return err
	}
	if c.Limit > 0 && n > c.Limit && !a.quiet {
		_, err = fmt.Fprintf(a.t.err, "the first %d rows; give --limit 0 for all\n", c.Limit)
	}
	return err
}

// answerPrinter prints an answer.
type answerPrinter interface {
	head(names []string) error
	row(cells []ask.Cell) error
	end() error
}

// tablePrinter aligns columns, which takes all rows first.
type tablePrinter struct {
	a    *app
	rows []string
}

// oneLine keeps a cell on its line and in its column.
var oneLine = strings.NewReplacer("\n", " ", "\t", " ", "\r", " ")

func (p *tablePrinter) head(names []string) error {
	for i := range names {
		names[i] = oneLine.Replace(names[i])
	}
	p.rows = append(p.rows, strings.Join(names, "\t"))
	return nil
}

func (p *tablePrinter) row(cells []ask.Cell) error {
	texts := make([]string, len(cells))
	for i, c := range cells {
		texts[i] = oneLine.Replace(c.Text)
	}
	p.rows = append(p.rows, strings.Join(texts, "\t"))
	return nil
}

func (p *tablePrinter) end() error { return p.a.table(p.rows) }

type csvPrinter struct{ w *csv.Writer }

func (p *csvPrinter) head(names []string) error {
	inert := make([]string, len(names))
	for i, name := range names {
		inert[i] = store.Inert(printable(name))
	}
	return p.w.Write(inert)
}

func (p *csvPrinter) row(cells []ask.Cell) error {
	texts := make([]string, len(cells))
	for i, c := range cells {
		if texts[i] = c.Text; c.Kind == ask.Word {
			texts[i] = store.Inert(printable(c.Text))
		}
	}
	return p.w.Write(texts)
}

func (p *csvPrinter) end() error {
	p.w.Flush()
	return p.w.Error()
}

// escaped is a value as JSON without control characters.
func escaped(v any) ([]byte, error) {
	raw, err := json.Marshal(v)
	return escapeHidden(raw), err
}

// escapeHidden writes control characters the JSON way, which a terminal does not obey, and a reader of JSON takes for the
// same. Line breaks, which only stand between values, stay.
func escapeHidden(raw []byte) []byte {
	var out []byte
	for _, r := range string(raw) {
		if store.Hidden(r) && r != '\n' {
			out = fmt.Appendf(out, `\u%04x`, r)
			continue
		}
		out = utf8.AppendRune(out, r)
	}
	return out
}

// jsonPrinter prints one object with the columns in their order and the rows as lists, so that two columns of one name are
// both kept.
type jsonPrinter struct {
	a    *app
	rows int
}

func (p *jsonPrinter) head(names []string) error {
	raw, err := escaped(names)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(p.a.t.out, "{\"columns\": %s,\n \"rows\": [", raw)
	return err
}

func (p *jsonPrinter) row(cells []ask.Cell) error {
	values := make([]any, len(cells))
	for i, c := range cells {
		values[i] = c.JSON
	}
	raw, err := escaped(values)
	if err != nil {
		return err
	}
	separator := ",\n  "
	if p.rows == 0 {
		separator = "\n  "
	}
	p.rows++
	_, err = fmt.Fprintf(p.a.t.out, "%s%s", separator, raw)
	return err
}

func (p *jsonPrinter) end() error {
	_, err := fmt.Fprintln(p.a.t.out, "\n ]}")
	return err
}
