package queries

import (
	"context"
	_ "embed"

	"scanledger/transform/engine"
)

//go:embed late.sql
var lateSQL string

// LateRecords are rows of one record file about a month that came in after it was reported on.
type LateRecords struct {
	RecordSet  string `json:"record_set"`
	File       string `json:"file"`
	ReceivedOn string `json:"received_on"`
	Did        string `json:"did"` // new, corrected, or removed, which has neither file nor lines
	Rows       int64  `json:"rows"`
	Lines      string `json:"lines"` // the first of them
}

// RecordsSince lists the records about a month that came in, or were corrected, after load since. It needs what
// Analyse has left in the engine.
func RecordsSince(ctx context.Context, e engine.SQL, month string, since, truthDays int) ([]LateRecords, error) {
	out := []LateRecords{}
	args := []any{engine.Arg("month", month), engine.Arg("since", since), engine.Arg("truth_days", truthDays)}
	err := e.Each(ctx, lateSQL, args, func(scan func(...any) error) error {
		var r LateRecords
		err := scan(&r.RecordSet, &r.File, &r.ReceivedOn, &r.Did, &r.Rows, &r.Lines)
		out = append(out, r)
		return err
	})
	return out, err
}
