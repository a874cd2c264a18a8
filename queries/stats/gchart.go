package stats

import (
	"errors"
	"math"
	"slices"
)

// GChart is a control chart of the gaps between rare events, in items.
type GChart struct {
	Mean, Sigma float64
	Limits      Interval // Mean ± sigmas Sigma, the lower held at 0
	Median      float64  // of the gaps, the centre line
	P           float64  // chance of an event per item, 1/(1+Mean)
	Quantiles   [3]int   // of the geometric distribution at GChartProbabilities
	Beyond      []int    // gaps outside Limits, counted from 1
}

// GChartProbabilities are the levels of the probability limits: the tails of three normal
// sigmas, and the middle.
var GChartProbabilities = [3]float64{0.00135, 0.5, 0.99865}

// NewGChart charts gaps, the number of items strictly between neighbouring events, in time order.
//
// Gaps are geometric when events are independent with a constant chance: sigma = sqrt(mean(mean+1))
// (Kaminsky, Benneyan, Davis and Burke 1992; Benneyan 2001). The distribution is far from normal, so
// the quantiles beside the limits tell more.
func NewGChart(gaps []int, sigmas float64) (GChart, error) {
	if len(gaps) == 0 {
		return GChart{}, errors.New("between_events: no gaps: give at least one")
	}
	if err := errors.Join(checkCounts("between_events", gaps...), checkPositive("sigmas", sigmas)); err != nil {
		return GChart{}, err
	}
	mean := float64(sumCounts(gaps)) / float64(len(gaps))
	c := GChart{Mean: mean, Sigma: math.Sqrt(mean * (mean + 1)), P: 1 / (1 + mean), Median: medianCount(gaps)}
	c.Limits = Interval{Low: math.Max(0, mean-sigmas*c.Sigma), High: mean + sigmas*c.Sigma}
	for i, q := range GChartProbabilities {
		c.Quantiles[i] = geometricQuantile(q, mean)
	}
	values, limits := make([]float64, len(gaps)), make([]Interval, len(gaps))
	for i, gap := range gaps {
		values[i], limits[i] = float64(gap), c.Limits
	}
	c.Beyond = outside(values, limits)
	return c, nil
}

func medianCount(counts []int) float64 {
	sorted := slices.Sorted(slices.Values(counts))
	n := len(sorted)
	return float64(sorted[(n-1)/2]+sorted[n/2]) / 2
}

// geometricQuantile is the smallest k with P(X <= k) = 1-(mean/(1+mean))^{k+1} at least q. The
// tiny step down keeps a q that is met exactly from landing one too high by rounding.
func geometricQuantile(q, mean float64) int {
	if mean == 0 {
		return 0
	}
	k := math.Log1p(-q)/-math.Log1p(1/mean) - 1
	return max(0, int(math.Ceil(k-1e-12*(1+math.Abs(k)))))
}
