package stats

import (
	"errors"
	"math"
)

// CUSUMInput is a series in time order; K and H share its unit.
type CUSUMInput struct {
	X      []float64
	Target float64 // NaN: the mean of X
	Sigma  float64 // of one value, used only for a K or H not given; NaN: from the moving range
	K      float64 // allowance, half the shift to be found; NaN: Sigma/2
	H      float64 // decision limit; NaN: 5 Sigma
}

// CUSUMChart is a tabular two-sided cumulative sum, in the unit of the series.
type CUSUMChart struct {
	Target, K, H           float64 // as given or by default
	Upper, Lower           []float64
	FirstUpper, FirstLower int       // first value with the sum above H, counted from 1; 0: none
	Deviation              []float64 // running sum of x - Target
}

// NewCUSUM sums U_i = max(0, U_{i-1} + x_i - Target - K) and L_i = max(0, L_{i-1} + Target - K - x_i)
// from 0, and signals above H (Page 1954; tabular form of Montgomery). Assumes independent values.
// K or H left out of a series without variation is an error, as no sigma can be had.
func NewCUSUM(in CUSUMInput) (CUSUMChart, error) {
	if err := checkChartSeries(in.X, in.Target, in.Sigma); err != nil {
		return CUSUMChart{}, err
	}
	sigma := sigmaOf(in.X, in.Sigma)
	c := CUSUMChart{Target: targetOf(in.X, in.Target), K: in.K, H: in.H}
	if math.IsNaN(c.K) {
		c.K = sigma / 2
	}
	if math.IsNaN(c.H) {
		c.H = 5 * sigma
	}
	if math.IsNaN(c.K) || math.IsNaN(c.H) {
		return CUSUMChart{}, errors.New("the values do not vary, so k and h cannot be set from them: give k and h, or sigma")
	}
	if err := errors.Join(checkNotNegative("k", c.K), checkPositive("h", c.H)); err != nil {
		return CUSUMChart{}, err
	}
	c.sum(in.X)
	return c, nil
}

func (c *CUSUMChart) sum(xs []float64) {
	var upper, lower, deviation float64
	for i, x := range xs {
		gap := x - c.Target
		upper = math.Max(0, upper+(gap-c.K))
		lower = math.Max(0, lower+(-gap-c.K))
		deviation += gap
		c.Upper, c.Lower = append(c.Upper, upper), append(c.Lower, lower)
		c.Deviation = append(c.Deviation, deviation)
		if c.FirstUpper == 0 && upper > c.H {
			c.FirstUpper = i + 1
		}
		if c.FirstLower == 0 && lower > c.H {
			c.FirstLower = i + 1
		}
	}
}
