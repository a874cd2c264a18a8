package queries

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"scanledger/ingest/contract"
	"scanledger/ingest/store"
	"scanledger/transform/engine"
	"scanledger/transform/settle"
)

// QualityRow is what became of the rows of one record file.
type QualityRow struct {
	File       string `json:"file"`
	SHA256     string `json:"sha256"`
	RecordSet  string `json:"record_set"`
	ReceivedOn string `json:"received_on"`
	Rows       int64  `json:"rows"`
	Accepted   int64  `json:"accepted"`
	Duplicate  int64  `json:"duplicate"`
	Corrected  int64  `json:"corrected"`
	Waiting    int64  `json:"waiting"`
	Rejected   int64  `json:"rejected"`
}

// RejectRuleRow counts how often one rule was broken in one column of one file.
type RejectRuleRow struct {
	File      string `json:"file"`
	RecordSet string `json:"record_set"`
	Column    string `json:"column"`
	Rule      string `json:"rule"`
	Times     int64  `json:"times"`
	FirstLine int64  `json:"first_line"`
	Example   string `json:"example"`
}

// FlowRow is one step from readings to findings.
type FlowRow struct {
	Step    string `json:"step"`
	Call    string `json:"call"`
	Outcome string `json:"outcome"`
	N       int64  `json:"n"`
}

// Labels are the names shown for codes.
type Labels struct{ Materials, Regions map[string]string }

// ledger makes the table files from what the store had taken in by load upTo, and the views of the lines of all record sets: taken, those in
// parts, and superseded, those of them that no longer count.
func (d *desk) ledger(st *store.Store, upTo int) error {
	if err := settle.Files(d.ctx, d.eng, st, upTo); err != nil {
		return err
	}
	var taken, superseded []string
	for _, set := range contract.Sets() {
		taken = append(taken, "SELECT _file, _line FROM "+engine.Name("taken_"+set.Name))
		superseded = append(superseded, "SELECT file, line FROM "+engine.Name("superseded_"+set.Name))
	}
	return errors.Join(d.eng.Define(d.ctx, "taken", strings.Join(taken, " UNION ALL ")), d.eng.Define(d.ctx, "superseded", strings.Join(superseded, " UNION ALL ")))
}

// Recount counts what became of every row of every file taken in by load upTo, from the rows
// themselves and not from the manifest. It needs the views that settle makes.
func Recount(ctx context.Context, e engine.SQL, st *store.Store, upTo int) ([]QualityRow, error) {
	d := &desk{ctx: ctx, eng: e, book: &Book{}}
	if err := d.ledger(st, upTo); err != nil {
		return nil, err
	}
	err := d.quality()
	return d.book.Quality, err
}

func (d *desk) quality() error {
	rows, q, err := run(d, "data_quality", nil, func(scan func(...any) error, r *QualityRow) error {
		return scan(&r.File, &r.SHA256, &r.RecordSet, &r.ReceivedOn, &r.Rows, &r.Accepted, &r.Duplicate, &r.Corrected, &r.Waiting, &r.Rejected)
	})
	if err != nil {
		return err
	}
	for _, r := range rows {
		if r.Rows != r.Accepted+r.Duplicate+r.Corrected+r.Waiting+r.Rejected {
			return fmt.Errorf("analysis data_quality: rows of %s do not add up: %+v; run: scanledger verify", r.File, r)
		}
	}
	d.book.Quality = rows
	d.conclude(q, rows)
	return nil
}

func (d *desk) rejectRules() error {
	rows, q, err := run(d, "reject_rules", nil, func(scan func(...any) error, r *RejectRuleRow) error {
		return scan(&r.File, &r.RecordSet, &r.Column, &r.Rule, &r.Times, &r.FirstLine, &r.Example)
	})
	if err != nil {
		return err
	}
	d.book.RejectRules = rows
	d.conclude(q, rows)
	return nil
}

func (d *desk) flow() error {
	rows, q, err := run(d, "flow", d.months(), func(scan func(...any) error, r *FlowRow) error {
		return scan(&r.Step, &r.Call, &r.Outcome, &r.N)
	})
	if err != nil {
		return err
	}
	d.book.Flow = rows
	d.conclude(q, rows)
	return nil
}

// labels reads the names of materials and regions.
func (d *desk) labels() error {
	read := func(query string) (map[string]string, error) {
		out := map[string]string{}
		err := d.eng.Each(d.ctx, query, nil, func(scan func(...any) error) error {
			var code, label string
			err := scan(&code, &label)
			out[code] = label
			return err
		})
		return out, err
	}
	var err error
	if d.book.Labels.Materials, err = read("SELECT material, coalesce(label, material) FROM held_materials"); err != nil {
		return err
	}
	d.book.Labels.Regions, err = read("SELECT region, coalesce(label, region) FROM held_regions")
	return err
}
