package main

import (
	"errors"
	"fmt"

	"scanledger/ingest"
)

type checkCmd struct {
	Set   string   `help:"Record set of every file; otherwise the start of each file's name says." placeholder:"NAME"`
	Files []string `arg:"" name:"file" help:"Record files or folders of them."`
}

// checked is what check found in one file.
type checked struct {
	File     string          `json:"file"`
	Set      string          `json:"record_set"`
	Rows     int64           `json:"rows"`
	Rejected int64           `json:"rejected"`
	Extra    []string        `json:"extra_columns,omitempty"`
	Broken   []ingest.Reject `json:"broken"` // the first mostListed of them
	More     int             `json:"more_broken,omitempty"`
}

// mostListed bounds the broken rules listed of a file: where every row breaks one, they fill memory and help nobody.
const mostListed = 100_000

// Run reads every file against the rules that need no other row.
func (c *checkCmd) Run(a *app) error {
	files, unknown, err := ingest.Expand(c.Files)
	if err != nil {
		return err
	}
	var all []checked
	var rejected int64
	var bad []error
	for _, path := range files {
		one, err := c.one(a, path)
		bad = append(bad, err)
		rejected += one.Rejected
		all = append(all, one)
		if err == nil && !a.json {
			if err := a.sayChecked(one); err != nil {
				return err
			}
		}
	}
	for _, path := range unknown {
		if err := a.say("skipped %s: %s", oneLine.Replace(path), oneLine.Replace(ingest.WhyUnknown(path))); err != nil {
			return err
		}
	}
	if a.json {
		bad = append(bad, a.object(all))
	}
	if err := errors.Join(bad...); err != nil {
		return err
	}
	if rejected > 0 {
		return errRejects
	}
	return a.say("names and times that depend on other rows are judged when the files are loaded")
}

func (c *checkCmd) one(a *app, path string) (checked, error) {
	src, err := ingest.Identify(path, c.Set)
	if err != nil {
		return checked{File: path}, err
	}
	src.Renames = a.config.Columns[src.Set.Name]
	out := checked{File: path, Set: src.Set.Name, Broken: []ingest.Reject{}}
	sum, err := ingest.Read(a.ctx, src, func(chunk ingest.Chunk) error {
		room := min(len(chunk.Rejects), mostListed-len(out.Broken))
		out.Broken = append(out.Broken, chunk.Rejects[:room]...)
		out.More += len(chunk.Rejects) - room
		return nil
	})
	out.Rows, out.Rejected, out.Extra = sum.Rows, sum.Rejected, sum.ExtraColumns
	return out, err
}

func (a *app) sayChecked(one checked) error {
	if err := a.say("%s: %d rows of %s, %d rejected", oneLine.Replace(one.File), one.Rows, one.Set, one.Rejected); err != nil || a.quiet {
		return err
	}
	var rows []string
	for _, r := range one.Broken {
		rows = append(rows, fmt.Sprintf("  line %d\t%s\t%s\t%q\t%s", r.Line, r.Column, r.Rule, r.Value, r.Message))
	}
	if one.More > 0 {
		rows = append(rows, fmt.Sprintf("  and %d more; mend these first, or load the file to have all listed", one.More))
	}
	return a.table(rows)
}
