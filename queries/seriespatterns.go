package queries

import (
	"fmt"
	"slices"

	"scanledger/queries/patterns"
	"scanledger/transform/engine"
)

// signs are what the readings of a point may show about its active call, in the order of the query's columns,
// each with what it may say.
var signs = []struct {
	name   string
	values []string
}{
	{"lower_gain", []string{"vanished", "shown", "not_tried"}},
	{"shown_again", []string{"no", "yes"}},
	{"control_moved", []string{"yes", "no", "no_control"}},
	{"many_at_once", []string{"yes", "no"}},
	{"level_far_above", []string{"yes", "no"}},
}

// seriesCall is one verified active call with its signs.
type seriesCall struct {
	checkedCall
	region string
	signs  []string
}

func (d *desk) seriesPatterns() error {
	parts := d.parts(true)
	rows, q, err := run(d, "series_patterns", append(d.months(), engine.Arg("parts", parts)), func(scan func(...any) error, c *seriesCall) error {
		c.kinds, c.signs = make([]string, len(kindFactors)), make([]string, len(signs))
		to := []any{&c.inspection, &c.point, &c.site, &c.wrong, &c.kinds[slices.Index(kindFactors, "technician_id")], &c.region}
		for i := range c.signs {
			to = append(to, &c.signs[i])
		}
		return scan(to...)
	})
	if err != nil {
		return err
	}
	checked := make([]checkedCall, len(rows))
	for i, r := range rows {
		checked[i] = r.checkedCall
	}
	tested, err := patterns.Each(signsToTest(rows, checked), patterns.Options{MinVerified: d.book.Floor, Usual: []string{"technician_id", "region"}})
	if err != nil {
		return fmt.Errorf("analysis series_patterns: %w", err)
	}
	d.book.Series = []SeriesRow{}
	for k, s := range signs {
		for _, value := range s.values {
			row, err := d.sign(rows, checked, tested, k, value)
			if err != nil {
				return fmt.Errorf("analysis series_patterns: %w", err)
			}
			d.book.Series = append(d.book.Series, row)
		}
	}
	var notes []string
	if parts > 1 {
		notes = []string{"These are calls" + partly(parts) + "."}
	}
	d.conclude(q, d.book.Series, notes...)
	return nil
}

// signsToTest lays the calls out by sign, with who works where beside them to be adjusted for.
func signsToTest(rows []seriesCall, checked []checkedCall) patterns.Calls {
	calls := patterns.Calls{}
	calls.Wrong, calls.Site = wrongBySite(checked)
	of := func(value func(r *seriesCall) string) []string {
		out := make([]string, len(rows))
		for i := range rows {
			out[i] = value(&rows[i])
		}
		return out
	}
	for k, s := range signs {
		calls.Factors = append(calls.Factors, patterns.Kinds(s.name, of(func(r *seriesCall) string { return r.signs[k] }), s.values))
	}
	for _, f := range []struct {
		name   string
		values []string
	}{{"technician_id", of(func(r *seriesCall) string { return r.technician() })}, {"region", of(func(r *seriesCall) string { return r.region })}} {
		calls.Adjust = append(calls.Adjust, patterns.Kinds(f.name, f.values, valuesOf(f.values)))
	}
	return calls
}

// sign is the row of one value of the k-th sign.
func (d *desk) sign(rows []seriesCall, checked []checkedCall, tested []patterns.Pattern, k int, value string) (SeriesRow, error) {
	row := SeriesRow{Sign: signs[k].name, Value: value, Expected: Unknown, Ratio: Unknown, RatioLow: Unknown, RatioHigh: Unknown, P: Unknown, Q: Unknown}
	var members []int
	for i, r := range rows {
		if r.signs[k] == value {
			members = append(members, i)
			row.ActiveVerified++
			if r.wrong {
				row.FalseAlarms++
			}
		}
	}
	rate, err := patternInterval(checked, members, d.book.Floor)
	row.Rate, row.Low, row.High, row.Enough = rate.Rate, rate.Low, rate.High, rate.Enough
	at := slices.IndexFunc(tested, func(p patterns.Pattern) bool { return p.Terms[0] == patterns.Term{Factor: row.Sign, Value: value} })
	if err != nil || at < 0 {
		return row, err
	}
	p := tested[at]
	row.Expected, row.P, row.Q = Figure(p.Expected), Figure(p.P), Figure(p.Q)
	expected := Figure(p.Expected / float64(p.Verified))
	row.Ratio, row.RatioLow, row.RatioHigh = rate.Rate/expected, rate.Low/expected, rate.High/expected
	return row, nil
}
