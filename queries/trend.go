package queries

import (
	"fmt"
	"math"
	"strings"

	"scanledger/queries/stats"
)

// Measures of TrendRow.
const (
	ActiveRate     = "active_rate"
	UnsureRate     = "unsure_rate"
	ConfirmedShare = "confirmed_share"
	MissedShare    = "missed_share"
)

// Charts of TrendRow.
const (
	PlainChart = "p"
	LaneyChart = "laney"
)

// TrendRow is one measure in one month, on its control charts.
type TrendRow struct {
	Measure  string `json:"measure"`
	Month    string `json:"month"`
	N        int64  `json:"n"`
	Events   int64  `json:"events"`
	Rate     Figure `json:"rate"`
	Low      Figure `json:"low"`
	High     Figure `json:"high"`
	Baseline bool   `json:"baseline"`
	Centre   Figure `json:"centre"`
	LCL      Figure `json:"lcl"`
	UCL      Figure `json:"ucl"`
	LaneyLCL Figure `json:"laney_lcl"`
	LaneyUCL Figure `json:"laney_ucl"`
	SigmaZ   Figure `json:"sigma_z"`
	Chart    string `json:"chart"`
	Beyond   bool   `json:"beyond"`
	Rules    string `json:"rules"`
	EWMA     Figure `json:"ewma"`
	EWMALCL  Figure `json:"ewma_lcl"`
	EWMAUCL  Figure `json:"ewma_ucl"`
	Signal   bool   `json:"signal"`
	Enough   bool   `json:"enough"`
}

// Limits are those of the chart that counts; not known where there is none.
func (r TrendRow) Limits() (low, high Figure) {
	if r.Chart == LaneyChart {
		return r.LaneyLCL, r.LaneyUCL
	}
	return r.LCL, r.UCL
}

const (
	yearMonths = 12
	// sigmas is the width of the limits (Shewhart 1931).
	sigmas = 3
	// overdispersed is the sigma_z above which Laney's limits count: the house's choice.
	overdispersed = 1.1
	// runLength on one side of the centre is a signal (Western Electric 1956: 8).
	runLength = 8
	// newestWeight of the moving average (Lucas and Saccucci 1990 advise 0.05 to 0.25).
	newestWeight = 0.2
	beyondRule   = "beyond limits"
)

// runRule names the rule of runs.
var runRule = fmt.Sprintf("run of %d on one side", runLength)

func (d *desk) trend() error {
	rows, q, err := run(d, "trend", d.months(), func(scan func(...any) error, r *TrendRow) error {
		var s stats.ClusterSums
		err := scan(&r.Measure, &r.Month, &s.Units, &s.Events, &s.Clusters, &s.EventsSquared, &s.EventsUnits, &s.UnitsSqrd)
		if err != nil {
			return err
		}
		rate, err := clusterRate(s, d.book.Floor)
		*r = TrendRow{Measure: r.Measure, Month: r.Month, N: int64(s.Units), Events: int64(s.Events), Rate: rate.Rate, Low: rate.Low, High: rate.High,
			Centre: Unknown, LCL: Unknown, UCL: Unknown, LaneyLCL: Unknown, LaneyUCL: Unknown, SigmaZ: Unknown, EWMA: Unknown, EWMALCL: Unknown, EWMAUCL: Unknown,
			Enough: s.Units >= d.book.Floor}
		return err
	})
	if err != nil {
		return err
	}
	for start, end := 0, 0; start < len(rows); start = end {
		for end < len(rows) && rows[end].Measure == rows[start].Measure {
			end++
		}
		if err := chartMonths(charted(rows[start:end])); err != nil {
			return fmt.Errorf("analysis trend, %s: %w", rows[start].Measure, err)
		}
	}
	d.book.Trend = rows
	d.conclude(q, rows)
	return d.trendSummary()
}

// charted are the months with enough cases.
func charted(rows []TrendRow) []*TrendRow {
	var out []*TrendRow
	for i := range rows {
		if rows[i].Enough {
			out = append(out, &rows[i])
		}
	}
	return out
}

// chartMonths sets the months of one measure against limits from the first of them.
func chartMonths(rows []*TrendRow) error {
	if len(rows) < yearMonths {
		return nil
	}
	baseline := rows
	if len(rows) >= 2*yearMonths {
		baseline = rows[:yearMonths]
	}
	var events, sizes []int
	for _, r := range baseline {
		r.Baseline = true
		events, sizes = append(events, int(r.Events)), append(sizes, int(r.N))
	}
	c, err := stats.NewPChart(events, sizes, sigmas)
	if err != nil {
		return err
	}
	for _, r := range rows {
		r.against(c)
	}
	markRuns(rows)
	return average(rows, c)
}

// against sets one month against the chart of the baseline.
func (r *TrendRow) against(c stats.PChart) {
	plain, laney := c.LimitsAt(int(r.N), sigmas)
	r.Centre, r.SigmaZ = Figure(c.Centre), Figure(c.SigmaZ)
	r.LCL, r.UCL = Figure(plain.Low), Figure(plain.High)
	r.LaneyLCL, r.LaneyUCL = Figure(laney.Low), Figure(laney.High)
	r.Chart = PlainChart
	if c.SigmaZ > overdispersed {
		r.Chart = LaneyChart
	}
	if low, high := r.Limits(); r.Rate < low || r.Rate > high {
		r.Beyond, r.Rules = true, beyondRule
	}
}

// markRuns names the rule of runs at every month that completes or continues one.
func markRuns(rows []*TrendRow) {
	side, length := 0, 0
	for _, r := range rows {
		here := 0
		switch {
		case r.Rate > r.Centre:
			here = 1
		case r.Rate < r.Centre:
			here = -1
		}
		if here != side {
			side, length = here, 0
		}
		length++
		if side != 0 && length >= runLength {
			r.Rules = strings.TrimPrefix(r.Rules+"; "+runRule, "; ")
		}
	}
}

// average adds the moving average, whose limits are as wide as those of the chart that counts.
func average(rows []*TrendRow, c stats.PChart) error {
	in := stats.EWMAInput{Target: c.Centre, Sigma: math.NaN(), Lambda: newestWeight, L: sigmas}
	widening := 1.0
	if c.SigmaZ > overdispersed {
		widening = c.SigmaZ
	}
	for _, r := range rows {
		in.X, in.Sigmas = append(in.X, float64(r.Rate)), append(in.Sigmas, widening*c.Sigma(int(r.N)))
	}
	if c.Centre == 0 || c.Centre == 1 {
		return nil // nothing varies in the baseline: no limits
	}
	e, err := stats.NewEWMA(in)
	if err != nil {
		return err
	}
	for i, r := range rows {
		r.EWMA, r.EWMALCL, r.EWMAUCL = Figure(e.EWMA[i]), Figure(max(0, e.Exact[i].Low)), Figure(min(1, e.Exact[i].High))
	}
	for _, at := range e.SignalsExact {
		rows[at-1].Signal = true
	}
	return nil
}
