package queries

import (
	"fmt"
	"strings"
	"time"

	"scanledger/ingest/store"
)

// Restatement says, in a sentence or two, that records were removed from the store, so that figures are another than those
// made before; empty where none were.
func Restatement(trail []store.Forgotten) string {
	var asked, aged, coded int64
	var last, before string
	for _, f := range trail {
		on := f.At.UTC().Format(time.DateOnly)
		switch {
		case f.Did == store.Pseudonymised:
			coded += f.Total()
			continue
		case f.Before != "":
			aged += f.Total()
			before = max(before, f.Before)
		default:
			asked += f.Total()
		}
		last = max(last, on)
	}
	var parts []string
	if asked > 0 {
		parts = append(parts, rowsText(asked)+" removed on request")
	}
	if aged > 0 {
		parts = append(parts, fmt.Sprintf("%s of months before %s removed for their age", rowsText(aged), before))
	}
	out := ""
	if len(parts) > 0 {
		out = fmt.Sprintf("Restated: %s, the last on %s. Figures made before then counted them.", strings.Join(parts, ", and "), last)
	}
	if coded > 0 {
		out = strings.TrimSpace(fmt.Sprintf("%s In %s a code has taken the place of an id, which changes no count.", out, rowsText(coded)))
	}
	return out
}

func rowsText(n int64) string {
	if n == 1 {
		return "1 row"
	}
	return Count(n) + " rows"
}

// RemovedSince lists, as reasons for a restatement, what was removed after so many removals and may have been about a month:
// rows dated, in UTC, within a month of it, and findings of as long as they tell. A trail knows no local month.
func RemovedSince(trail []store.Forgotten, month string, since, truthDays int) ([]LateRecords, error) {
	first, err := time.Parse("2006-01", month)
	if err != nil {
		return nil, fmt.Errorf("removed since: %q is no month; write it as 2026-08", month)
	}
	from, to := first.AddDate(0, -1, 0).Format("2006-01"), first.AddDate(0, 1, 0)
	var out []LateRecords
	for _, f := range trail {
		if f.Number <= since || f.Did != store.Removed {
			continue
		}
		for _, set := range []string{"inspections", "readings", "findings"} {
			until := to
			if set == "findings" {
				until = to.AddDate(0, 0, truthDays)
			}
			r := LateRecords{RecordSet: set, ReceivedOn: f.At.UTC().Format(time.DateOnly), Did: store.Removed}
			for _, rows := range f.Rows {
				if rows.RecordSet == set && rows.Month >= from && rows.Month <= until.Format("2006-01") {
					r.Rows += rows.Rows
				}
			}
			if r.Rows > 0 {
				out = append(out, r)
			}
		}
	}
	return out, nil
}
