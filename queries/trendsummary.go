package queries

import (
	"fmt"
	"strings"
	"time"

	"scanledger/queries/stats"
	"scanledger/transform/engine"
)

// TrendSummaryRow says of one measure whether it moves.
type TrendSummaryRow struct {
	Measure            string `json:"measure"`
	Months             int64  `json:"months"`
	MonthsUsed         int64  `json:"months_used"`
	BaselineFrom       string `json:"baseline_from"`
	BaselineTo         string `json:"baseline_to"`
	Centre             Figure `json:"centre"`
	SigmaZ             Figure `json:"sigma_z"`
	Chart              string `json:"chart"`
	MonthsBeyond       int64  `json:"months_beyond"`
	MonthsInRuns       int64  `json:"months_in_runs"`
	MonthsSignalled    int64  `json:"months_signalled"`
	S                  *int64 `json:"s"`
	P                  Figure `json:"p"`
	Slope              Figure `json:"slope"`
	SlopeLow           Figure `json:"slope_low"`
	SlopeHigh          Figure `json:"slope_high"`
	LastN              int64  `json:"last_n"`
	LastEvents         int64  `json:"last_events"`
	LastRate           Figure `json:"last_rate"`
	BeforeN            int64  `json:"before_n"`
	BeforeEvents       int64  `json:"before_events"`
	BeforeRate         Figure `json:"before_rate"`
	Difference         Figure `json:"difference"`
	DifferenceLow      Figure `json:"difference_low"`
	DifferenceHigh     Figure `json:"difference_high"`
	LastDesignEffect   Figure `json:"last_design_effect"`
	BeforeDesignEffect Figure `json:"before_design_effect"`
	Enough             bool   `json:"enough"`
	WhyNot             string `json:"why_not"`
}

// yearCounts are the sums of one measure in one of the two windows compared.
type yearCounts struct {
	measure, window string
	sums            stats.ClusterSums
}

// trendSummary sums up the months of d.book.Trend and compares the last year with the one before.
func (d *desk) trendSummary() error {
	args, whole := d.years()
	counts, q, err := run(d, "trend_summary", args, func(scan func(...any) error, r *yearCounts) error {
		return scan(&r.measure, &r.window, &r.sums.Units, &r.sums.Events, &r.sums.Clusters, &r.sums.EventsSquared, &r.sums.EventsUnits, &r.sums.UnitsSqrd)
	})
	if err != nil {
		return err
	}
	rows := []TrendSummaryRow{}
	for start, end := 0, 0; start < len(d.book.Trend); start = end {
		for end < len(d.book.Trend) && d.book.Trend[end].Measure == d.book.Trend[start].Measure {
			end++
		}
		row, err := sumUp(d.book.Trend[start:end])
		if err == nil {
			err = row.compareYears(counts, whole, d.book.Floor)
		}
		if err != nil {
			return fmt.Errorf("analysis trend_summary, %s: %w", row.Measure, err)
		}
		rows = append(rows, row)
	}
	d.book.TrendSummary = rows
	d.conclude(q, rows)
	return nil
}

// years binds the last 12 months and the 12 before, within the period; whole tells whether the
// period holds all 24.
func (d *desk) years() (args []any, whole bool) {
	from, last := d.book.From, d.book.From
	if to, err := time.Parse("2006-01", d.book.To); err == nil {
		before := to.AddDate(0, 1-2*yearMonths, 0).Format("2006-01")
		whole = from <= before
		from = max(from, before)
		last = max(from, to.AddDate(0, 1-yearMonths, 0).Format("2006-01"))
	}
	return []any{engine.Arg("from", from), engine.Arg("last", last), engine.Arg("to", d.book.To)}, whole
}

// sumUp counts the signals of one measure and tests its months for a trend.
func sumUp(months []TrendRow) (TrendSummaryRow, error) {
	row := TrendSummaryRow{Measure: months[0].Measure, Months: int64(len(months)), Centre: Unknown, SigmaZ: Unknown,
		P: Unknown, Slope: Unknown, SlopeLow: Unknown, SlopeHigh: Unknown}
	used := charted(months)
	row.MonthsUsed = int64(len(used))
	if len(used) < yearMonths {
		row.WhyNot = fmt.Sprintf("fewer than %d months with enough cases: not enough to say", yearMonths)
		return row, nil
	}
	row.Enough = true
	var rates []float64
	for _, r := range used {
		row.count(r)
		rates = append(rates, float64(r.Rate))
	}
	test, err := stats.MannKendall(rates, Confidence)
	if err != nil {
		return row, err
	}
	s := int64(test.S)
	row.S, row.P = &s, Figure(test.P)
	row.Slope, row.SlopeLow, row.SlopeHigh = Figure(test.Slope), Figure(test.SlopeLimits.Low), Figure(test.SlopeLimits.High)
	return row, nil
}

// count adds one charted month.
func (row *TrendSummaryRow) count(r *TrendRow) {
	row.Centre, row.SigmaZ, row.Chart = r.Centre, r.SigmaZ, r.Chart
	if r.Baseline {
		row.BaselineTo = r.Month
		if row.BaselineFrom == "" {
			row.BaselineFrom = r.Month
		}
	}
	if r.Beyond {
		row.MonthsBeyond++
	}
	if strings.Contains(r.Rules, runRule) {
		row.MonthsInRuns++
	}
	if r.Signal {
		row.MonthsSignalled++
	}
}

// compareYears sets the last 12 months against the 12 before.
func (row *TrendSummaryRow) compareYears(counts []yearCounts, whole bool, floor int) error {
	window := map[string]ClusterRate{}
	for _, name := range []string{"last", "before"} {
		var sums stats.ClusterSums
		for _, c := range counts {
			if c.measure == row.Measure && c.window == name {
				sums = c.sums
			}
		}
		rate, err := clusterRate(sums, floor)
		if err != nil {
			return err
		}
		window[name] = rate
		n, events := int64(sums.Units), int64(sums.Events)
		if name == "last" {
			row.LastN, row.LastEvents, row.LastRate, row.LastDesignEffect = n, events, rate.Rate, rate.DesignEffect
		} else {
			row.BeforeN, row.BeforeEvents, row.BeforeRate, row.BeforeDesignEffect = n, events, rate.Rate, rate.DesignEffect
		}
	}
	row.Difference, row.DifferenceLow, row.DifferenceHigh = Unknown, Unknown, Unknown
	if !whole || min(row.LastN, row.BeforeN) < int64(floor) {
		return nil
	}
	last, before := window["last"], window["before"]
	limits := stats.SquareAndAdd(float64(last.Rate), last.interval(), float64(before.Rate), before.interval())
	row.Difference, row.DifferenceLow, row.DifferenceHigh = last.Rate-before.Rate, Figure(limits.Low), Figure(limits.High)
	return nil
}
