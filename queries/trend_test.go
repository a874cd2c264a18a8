package queries

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

// monthsOf are months of 100 cases with the events given.
func monthsOf(events ...int64) []TrendRow {
	var out []TrendRow
	for i, x := range events {
		out = append(out, TrendRow{Measure: ActiveRate, Month: time.Date(2024, time.Month(1+i), 1, 0, 0, 0, 0, time.UTC).Format("2006-01"),
			N: 100, Events: x, Rate: share(x, 100), Centre: Unknown, LCL: Unknown, UCL: Unknown, EWMA: Unknown, Enough: true})
	}
	return out
}

func repeated(times int, events ...int64) []int64 {
	var out []int64
	for range times {
		out = append(out, events...)
	}
	return out
}

// TestChartMonths is worked by hand: at a centre of 10 % and 100 cases a month, sigma is
// sqrt(0.1 0.9 / 100) = 0.03 and the limits are 0.01 and 0.19.
func TestChartMonths(t *testing.T) {
	for _, c := range []struct {
		name             string
		events           []int64
		chart            string
		low, high        float64 // limits that count
		beyond, in, ewma []int   // months, from 1
	}{
		{"steady", repeated(24, 10), PlainChart, 0.01, 0.19, nil, nil, nil},
		{"under two years all months are the baseline", repeated(14, 10), PlainChart, 0.01, 0.19, nil, nil, nil},
		{"one month", append(repeated(23, 10), 20), PlainChart, 0.01, 0.19, []int{24}, nil, nil},
		// 0.2 of a step of 0.04 is 0.008, then 0.0144 and so on, against 3 * 0.03 / 3 = 0.03: month 7 of the step
		// is the first above it: 0.04 (1 - 0.8^7) = 0.0316
		{"a step of 4 %", append(repeated(12, 10), repeated(12, 14)...), PlainChart, 0.01, 0.19, nil, []int{20, 21, 22, 23, 24}, []int{19, 20, 21, 22, 23, 24}},
		// 2 and 18 by turns: z is 2.667 either way, the range 5.333, sigma_z 5.333 / 1.128 = 4.728
		{"months that differ", repeated(12, 2, 18), LaneyChart, 0, 0.1 + 0.09*(0.16/0.03)/1.128, nil, nil, nil},
		{"eleven months", repeated(11, 10), "", float64(Unknown), float64(Unknown), nil, nil, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows := monthsOf(c.events...)
			if err := chartMonths(charted(rows)); err != nil {
				t.Fatal(err)
			}
			var beyond, in, ewma []int
			for i, r := range rows {
				if r.Beyond != strings.Contains(r.Rules, beyondRule) {
					t.Errorf("%s: beyond %v, rules %q", r.Month, r.Beyond, r.Rules)
				}
				if r.Beyond {
					beyond = append(beyond, i+1)
				}
				if strings.Contains(r.Rules, runRule) {
					in = append(in, i+1)
				}
				if r.Signal {
					ewma = append(ewma, i+1)
				}
			}
			if fmt.Sprint(beyond, in, ewma) != fmt.Sprint(c.beyond, c.in, c.ewma) {
				t.Errorf("beyond, runs, average: got %v %v %v, want %v %v %v", beyond, in, ewma, c.beyond, c.in, c.ewma)
			}
			last := rows[len(rows)-1]
			if last.Chart != c.chart {
				t.Errorf("chart %q, want %q", last.Chart, c.chart)
			}
			if c.chart == "" {
				return
			}
			low, high := last.Limits()
			close(t, "lower limit", low, c.low, 1e-9)
			close(t, "upper limit", high, c.high, 1e-9)
		})
	}
}

// TestChartWithoutEvents: a baseline without a single event has limits at 0 and no average.
func TestChartWithoutEvents(t *testing.T) {
	rows := monthsOf(append(repeated(23, 0), 1)...)
	if err := chartMonths(charted(rows)); err != nil {
		t.Fatal(err)
	}
	if last := rows[23]; !last.Beyond || last.EWMA.Known() {
		t.Errorf("got %+v", last)
	}
}

// TestSumUp: twelve months that rise by one each have S = 12*11/2 = 66 and a slope of one case in a
// hundred a month.
func TestSumUp(t *testing.T) {
	rows := monthsOf(1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12)
	got, err := sumUp(rows)
	if err != nil {
		t.Fatal(err)
	}
	if got.S == nil || *got.S != 66 || !(got.P < 0.001) {
		t.Fatalf("got %+v", got)
	}
	close(t, "slope", got.Slope, 0.01, 1e-12)
	rows[3].Enough = false
	if got, err = sumUp(rows); err != nil || got.Enough || got.S != nil || !strings.Contains(got.WhyNot, "not enough to say") {
		t.Errorf("eleven months: %v %+v", err, got)
	}
}

// TestYears: the comparison is of the last 12 months of the period with the 12 before, and made only
// where the period holds both.
func TestYears(t *testing.T) {
	var all []tested
	for k := range 26 {
		day := time.Date(2024, time.Month(1+k), 15, 0, 0, 0, 0, time.UTC)
		events := 10
		if k >= 14 {
			events = 30
		}
		all = append(all, spread("N", "board", fmt.Sprint("A", k), day, 10, 100, events)...)
	}
	for _, c := range []struct {
		opt          Options
		last, before int64
		whole        bool
	}{
		{Options{}, 360, 120, true},
		{Options{To: "2025-12"}, 2*10 + 10*30, 120, true}, // 2025: two months of 10, ten of 30; 2024: twelve of 10
		{Options{From: "2024-06"}, 360, 90, false},
	} {
		b, _ := analyse(t, all, c.opt)
		for _, r := range b.TrendSummary {
			if r.Measure != ActiveRate {
				continue
			}
			if r.LastEvents != c.last || r.BeforeEvents != c.before || r.Difference.Known() != c.whole {
				t.Errorf("%+v: got %d and %d, difference %v", c.opt, r.LastEvents, r.BeforeEvents, r.Difference)
			}
			if c.whole && !(r.DifferenceLow <= r.LastRate-r.BeforeRate && r.LastRate-r.BeforeRate <= r.DifferenceHigh) {
				t.Errorf("%+v: %v outside its interval", c.opt, r.Difference)
			}
		}
	}
}
