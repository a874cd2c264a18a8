package main

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"scanledger/queries"
	"scanledger/queries/ask"
	"scanledger/transform/engine"
)

type explainCmd struct {
	Out    string `required:"" help:"Folder of a build." type:"path" placeholder:"DIR"`
	Store  string `help:"Folder of the store it was built from; with it, record files and lines are named." type:"path" placeholder:"DIR"`
	Result string `arg:"" help:"RESULT, RESULT:3 for its third row, or RESULT:technician_id=T03,measure=missed for the first row with these values."`
}

// explained is where a figure comes from.
type explained struct {
	Analysis string       `json:"analysis"`
	Title    string       `json:"title"`
	Question string       `json:"question"`
	Grain    string       `json:"grain"`
	AsOf     string       `json:"as_of"`
	From     string       `json:"from"`
	To       string       `json:"to"`
	Reads    []string     `json:"reads"`
	Params   []string     `json:"params"` // what the query is given, in words
	Rows     int          `json:"rows"`
	Row      int          `json:"row"` // 0: the whole result
	Fields   []field      `json:"fields"`
	Traced   []string     `json:"traced"`  // columns of the row by which its records were found
	Sources  []ask.Source `json:"sources"` // of the row's records; none where they cannot be told apart
	Inputs   []input      `json:"inputs"`  // all record files of the build
	Notes    []string     `json:"notes"`
	SQL      string       `json:"sql"`
}

// field is one column of a result, its meaning, and its value where a row is asked for.
type field struct {
	Name    string `json:"name"`
	Value   string `json:"value"`
	Meaning string `json:"meaning"`
}

// result is a result file of a build.
type result struct {
	Analysis, Title, Question string
	AsOf                      string `json:"as_of"`
	From, To                  string
	Rows                      []map[string]json.RawMessage
	Notes                     []string
}

// Run explains.
func (c *explainCmd) Run(a *app) error {
	name, which, _ := strings.Cut(c.Result, ":")
	r, q, err := c.read(name)
	if err != nil {
		return err
	}
	columns, err := c.columns(name)
	if err != nil {
		return err
	}
	out := explained{Analysis: name, Title: r.Title, Question: r.Question, Grain: q.Grain, AsOf: r.AsOf, From: r.From, To: r.To, Reads: q.Reads, Rows: len(r.Rows), Notes: r.Notes, SQL: q.SQL, Params: []string{}, Fields: []field{}, Traced: []string{}, Sources: []ask.Source{}}
	if out.Inputs, err = readInputs(c.Out); err != nil {
		return err
	}
	var row map[string]json.RawMessage
	if which != "" {
		if out.Row, err = rowOf(r, which); err != nil {
			return err
		}
		row = r.Rows[out.Row-1]
	}
	meanings := map[string]string{}
	for _, column := range q.Columns {
		meanings[column.Name] = column.Meaning
	}
	for _, name := range columns {
		out.Fields = append(out.Fields, field{name, plainText(row[name]), meanings[name]})
	}
	for _, param := range q.Params {
		out.Params = append(out.Params, param.Name+": "+param.Meaning)
	}
	for _, column := range ask.Traced {
		if plainText(row[column]) != "" {
			out.Traced = append(out.Traced, column)
		}
	}
	if c.Store != "" {
		if err := c.trace(a, &out, row); err != nil {
			return err
		}
	}
	if a.json {
		return a.object(out)
	}
	return a.sayExplained(out, c.Store != "")
}

func (c *explainCmd) read(name string) (r result, q queries.Query, err error) {
	if strings.ContainsAny(name, `/\.`) || name == "" {
		return r, q, fmt.Errorf("%w: explain: %q is no result; %s", errUsage, name, c.known())
	}
	raw, err := os.ReadFile(filepath.Join(c.Out, "results", name+".json"))
	if errors.Is(err, fs.ErrNotExist) {
		return r, q, fmt.Errorf("%w: explain: no result %q in %s; %s", errUsage, name, c.Out, c.known())
	}
	if err == nil {
		err = json.Unmarshal(raw, &r)
	}
	if err != nil {
		return r, q, fmt.Errorf("explain: read result %s: %w; build again", name, err)
	}
	q, err = queries.Lookup(name)
	return r, q, err
}

// columns are those of a result in their order; a cut has some that its query does not write.
func (c *explainCmd) columns(name string) (columns []string, err error) {
	file, err := os.Open(filepath.Join(c.Out, "results", name+".csv"))
	if err == nil {
		columns, err = csv.NewReader(file).Read()
		err = errors.Join(err, file.Close())
	}
	if err != nil {
		return nil, fmt.Errorf("explain: read columns of %s: %w; build again", name, err)
	}
	return columns, nil
}

// known lists the results there are.
func (c *explainCmd) known() string {
	found, err := filepath.Glob(filepath.Join(c.Out, "results", "*.json"))
	if err != nil || len(found) == 0 {
		return "name the folder that build wrote with --out"
	}
	var names []string
	for _, path := range found {
		names = append(names, strings.TrimSuffix(filepath.Base(path), ".json"))
	}
	return "there are: " + strings.Join(names, ", ")
}

// rowOf finds the row that is asked for, from 1.
func rowOf(r result, which string) (int, error) {
	if n, err := strconv.Atoi(which); err == nil {
		if n < 1 || n > len(r.Rows) {
			return 0, fmt.Errorf("%w: explain: row %d of %d; give 1 to %d", errUsage, n, len(r.Rows), len(r.Rows))
		}
		return n, nil
	}
	i := slices.IndexFunc(r.Rows, func(row map[string]json.RawMessage) bool {
		for _, pair := range strings.Split(which, ",") {
			name, value, _ := strings.Cut(pair, "=")
			if raw, ok := row[name]; !ok || plainText(raw) != value {
				return false
			}
		}
		return true
	})
	if i < 0 {
		return 0, fmt.Errorf("%w: explain: no row of %s has %s; look into results/%s.csv", errUsage, r.Analysis, which, r.Analysis)
	}
	return i + 1, nil
}

// plainText is a JSON value without its quotes; null is empty.
func plainText(raw json.RawMessage) string {
	var text string
	if json.Unmarshal(raw, &text) == nil {
		return text
	}
	if string(raw) == "null" {
		return ""
	}
	return string(raw)
}

// trace finds the records behind a row, where columns of it tell which they are.
func (c *explainCmd) trace(a *app, out *explained, row map[string]json.RawMessage) (err error) {
	st, err := a.sound(c.Store)
	if err != nil {
		return err
	}
	asOf, err := time.Parse(time.DateOnly, out.AsOf)
	if err != nil {
		return fmt.Errorf("explain: result %s: %w; build again", out.Analysis, err)
	}
	upTo, _, err := st.LoadAsOf(asOf)
	if err != nil {
		return fmt.Errorf("explain: %w", err)
	}
	if !slices.Equal(inputsOf(st, upTo), out.Inputs) {
		return fmt.Errorf("%w: explain: %s was not built from what %s held by %s; name the store it was built from, or build again", errUsage, c.Out, c.Store, out.AsOf)
	}
	if len(out.Traced) == 0 {
		return nil
	}
	figure := ask.Figure{Tables: out.Reads, From: out.From, To: out.To, Is: map[string]string{}}
	for _, column := range out.Traced {
		figure.Is[column] = plainText(row[column])
	}
	e, err := engine.Open(a.ctx, a.engine())
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, e.Close()) }()
	found, err := ask.Trace(a.ctx, e, st, upTo, c.Out, figure)
	out.Sources = append(out.Sources, found...)
	return err
}

func (a *app) sayExplained(out explained, fromStore bool) error {
	which := "all of its " + strconv.Itoa(out.Rows) + " rows"
	if out.Row > 0 {
		which = fmt.Sprintf("row %d of %d", out.Row, out.Rows)
	}
	lines := []string{
		fmt.Sprintf("%s: %s", out.Analysis, out.Title), out.Question,
		fmt.Sprintf("There is %s. This is %s, from what had been received by %s, local months %s to %s.", out.Grain, which, out.AsOf, out.From, out.To),
		"It reads the tables " + strings.Join(out.Reads, ", ") + ".", "",
	}
	for _, f := range out.Fields {
		line := "  " + f.Name
		if out.Row > 0 {
			line += " = " + f.Value
		}
		if f.Meaning != "" {
			line += "   (" + f.Meaning + ")"
		}
		lines = append(lines, line)
	}
	lines = append(lines, "")
	lines = append(lines, sourceLines(out, fromStore)...)
	for _, note := range out.Notes {
		lines = append(lines, "Note: "+note)
	}
	for _, param := range out.Params {
		lines = append(lines, "Given to the query: "+param)
	}
	lines = append(lines, "", "The query:", out.SQL)
	for _, line := range lines {
		if err := a.say("%s", line); err != nil {
			return err
		}
	}
	return nil
}

// sourceLines tell which records are behind the figures: those of the row where they can be told, all files otherwise.
func sourceLines(out explained, fromStore bool) []string {
	if len(out.Sources) == 0 {
		lines := []string{whyAll(out, fromStore) + " It rests on all the record files of the build:"}
		inputs := out.Inputs
		if named := fileOf(out); len(named) > 0 {
			lines, inputs = []string{"The row is about one record file:"}, named
		}
		for _, f := range inputs {
			lines = append(lines, fmt.Sprintf("  %s  %s (%s, load %d)", f.SHA256, f.Name, f.RecordSet, f.Load))
		}
		return lines
	}
	lines := []string{"Records with the same " + strings.Join(out.Traced, ", ") + "; the query says which of them it takes:"}
	for _, s := range out.Sources {
		var named []string
		for _, n := range s.Lines {
			named = append(named, fmt.Sprintf("%s:%d", s.File, n))
		}
		if int(s.Rows) > len(named) {
			named = append(named, "…")
		}
		lines = append(lines, fmt.Sprintf("  %d rows of %s: %s", s.Rows, s.RecordSet, strings.Join(named, " ")))
	}
	return lines
}

// fileOf is the record file that a row names, which its column file holds.
func fileOf(out explained) (named []input) {
	for _, f := range out.Fields {
		for _, in := range out.Inputs {
			if f.Name == "file" && f.Value == in.Name {
				named = append(named, in)
			}
		}
	}
	return named
}

// whyAll says why the records of a row are not told apart.
func whyAll(out explained, fromStore bool) string {
	switch {
	case out.Row == 0:
		return "This is the whole result; name a row to see its records."
	case len(out.Traced) == 0 || len(ask.RecordSets(out.Reads)) == 0:
		return "No column of this row tells its records from others."
	case !fromStore:
		return "Give --store as well to see the lines of its records."
	}
	return "No record by itself has the same " + strings.Join(out.Traced, ", ") + ": the row sums up several, or its ids are codes."
}
