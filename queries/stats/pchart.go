package stats

import (
	"errors"
	"fmt"
	"math"
)

// PChart is a control chart of shares, with Laney's p-prime beside it. Limits are per subgroup, held
// within 0 and 1.
type PChart struct {
	Centre      float64 // pooled share
	Limits      []Interval
	Beyond      []int     // subgroups outside their limits, counted from 1
	Z           []float64 // (p_i - Centre) / sqrt(Centre(1-Centre)/n_i)
	SigmaZ      float64   // Laney's widening: mean moving range of Z / 1.128
	Laney       []Interval
	LaneyBeyond []int
}

// laneyD2 is the mean range of two normal deviates, to the three decimals Laney prints.
const laneyD2 = 1.128

// NewPChart charts nonconforming[i] of sizes[i], in time order, with limits
// Centre ± sigmas*sqrt(Centre(1-Centre)/n_i) (Shewhart 1931), and Laney's limits, the same times
// SigmaZ (Laney 2002), for large subgroups whose share varies more than the binomial says. The
// plain chart assumes a constant share and independent items.
//
// With one subgroup, or a pooled share of 0 or 1, the p-prime side (and for the latter Z) is NaN
// and flags nothing.
func NewPChart(nonconforming, sizes []int, sigmas float64) (PChart, error) {
	if err := checkPChart(nonconforming, sizes, sigmas); err != nil {
		return PChart{}, err
	}
	centre := float64(sumCounts(nonconforming)) / float64(sumCounts(sizes))
	shares := make([]float64, len(sizes))
	c := PChart{Centre: centre, Z: make([]float64, len(sizes))}
	for i, n := range sizes {
		shares[i] = float64(nonconforming[i]) / float64(n)
		c.Z[i] = (shares[i] - centre) / c.Sigma(n)
	}
	c.SigmaZ = meanMovingRange(c.Z) / laneyD2
	for _, n := range sizes {
		plain, laney := c.LimitsAt(n, sigmas)
		c.Limits, c.Laney = append(c.Limits, plain), append(c.Laney, laney)
	}
	c.Beyond, c.LaneyBeyond = outside(shares, c.Limits), outside(shares, c.Laney)
	return c, nil
}

// Sigma is the binomial standard error of the share of a subgroup of the given size around Centre.
func (c PChart) Sigma(size int) float64 {
	return math.Sqrt(c.Centre * (1 - c.Centre) / float64(size))
}

// LimitsAt gives the plain and Laney's limits for a subgroup of the given size, for subgroups that
// came after those the chart was made from (phase II, Montgomery).
func (c PChart) LimitsAt(size int, sigmas float64) (plain, laney Interval) {
	half := sigmas * c.Sigma(size)
	return shareLimits(c.Centre, half), shareLimits(c.Centre, half*c.SigmaZ)
}

func checkPChart(nonconforming, sizes []int, sigmas float64) error {
	if len(sizes) == 0 || len(nonconforming) != len(sizes) {
		return fmt.Errorf("%d nonconforming, %d sizes: give the same number of each, at least 1", len(nonconforming), len(sizes))
	}
	for i, n := range sizes {
		if n == 0 {
			return fmt.Errorf("sizes: value %d is 0: leave out empty subgroups", i+1)
		}
	}
	return errors.Join(checkShares("nonconforming", nonconforming, "sizes", sizes), checkPositive("sigmas", sigmas))
}

// meanMovingRange is the mean absolute step between neighbours, NaN for fewer than two values.
func meanMovingRange(xs []float64) float64 {
	sum := 0.0
	for i := 1; i < len(xs); i++ {
		sum += math.Abs(xs[i] - xs[i-1])
	}
	return sum / float64(len(xs)-1)
}

func shareLimits(centre, half float64) Interval {
	return Interval{Low: math.Max(0, centre-half), High: math.Min(1, centre+half)}
}

// outside lists, counted from 1, the values beyond their limits; NaN limits flag nothing.
func outside(values []float64, limits []Interval) []int {
	flagged := []int{}
	for i, v := range values {
		if v < limits[i].Low || v > limits[i].High {
			flagged = append(flagged, i+1)
		}
	}
	return flagged
}
