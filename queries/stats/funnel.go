package stats

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// FunnelLimits are the limits between which a unit of a given size falls by chance with
// probability 0.95 and 0.998, when it truly stands at the target.
type FunnelLimits struct{ Low998, Low95, High95, High998 float64 }

// limitsOf asks one quantile for the four limits.
func limitsOf(quantile func(p float64) float64) FunnelLimits {
	return FunnelLimits{quantile(0.001), quantile(0.025), quantile(0.975), quantile(0.999)}
}

// BinomialLimits are the exact funnel limits, as proportions, for a unit of total trials around a
// target proportion: with r the smallest count for which P(R <= r) >= p,
//
//	limit = (r - (P(R<=r)-p) / (P(R<=r)-P(R<=r-1))) / total, and 0 where that is below 0
//
// (Spiegelhalter 2005, Stat Med 24:1185-1202, appendix). P(R <= r) is the regularized incomplete
// beta function I(1-target; total-r, r+1). At a target of 0 or 1, where nothing varies, every
// limit is the target. It returns an error for a total outside 1 to MaxCount and a target outside
// 0 to 1.
func BinomialLimits(target float64, total int) (FunnelLimits, error) {
	if total < 1 || total > MaxCount {
		return FunnelLimits{}, fmt.Errorf("total is %d: give a count from 1 to %d", total, MaxCount)
	}
	if !(target >= 0 && target <= 1) {
		return FunnelLimits{}, fmt.Errorf("target is %v: give a share from 0 to 1", target)
	}
	return binomialLimits(target, total), nil
}

func binomialLimits(target float64, total int) FunnelLimits {
	if target == 0 || target == 1 {
		return FunnelLimits{target, target, target, target}
	}
	n := float64(total)
	d := discrete{
		mean: n * target, sd: math.Sqrt(n * target * (1 - target)), skew: (1 - 2*target) / 6, top: total,
		atMost: func(r int) float64 {
			switch {
			case r < 0:
				return 0
			case r >= total:
				return 1
			}
			return mathext.RegIncBeta(n-float64(r), float64(r)+1, 1-target)
		},
	}
	return limitsOf(func(p float64) float64 { return max(0, d.interpolated(p)) / n })
}

// PoissonFunnelLimits are funnel limits for observed/expected around 1, one entry per unit.
type PoissonFunnelLimits struct {
	Interpolated []FunnelLimits // as BinomialLimits, from the Poisson law
	ChiSquare    []Interval     // 95 %: half the chi-square quantiles on 2E and 2E+2 degrees of freedom, over E
}

// PoissonFunnel gives the limits of observed/expected for units with the given expected counts,
// whose observed counts are Poisson (Spiegelhalter 2005, Stat Med 24:1185-1202; the chi-square
// form as in Breslow & Day 1987 vol. II p. 69). A limit too large for a float64 is +Inf. It
// returns an error for no units and for an expected count outside 0 (not included) to MaxCount.
func PoissonFunnel(expected []float64) (PoissonFunnelLimits, error) {
	if len(expected) == 0 {
		return PoissonFunnelLimits{}, errors.New("no expected counts: give one for each unit")
	}
	var out PoissonFunnelLimits
	for i, e := range expected {
		if !(e > 0 && e <= MaxCount) {
			return PoissonFunnelLimits{}, fmt.Errorf("expected count %d is %v: give a number above 0, at most %d", i+1, e, MaxCount)
		}
		d := discrete{
			mean: e, sd: math.Sqrt(e), skew: 1.0 / 6, top: math.MaxInt,
			atMost: func(k int) float64 { return poissonAtMost(k, e) },
		}
		out.Interpolated = append(out.Interpolated, limitsOf(func(p float64) float64 { return max(0, d.interpolated(p)) / e }))
		out.ChiSquare = append(out.ChiSquare, Interval{
			mathext.GammaIncRegInv(e, 0.025) / e, mathext.GammaIncRegCompInv(e+1, 0.025) / e,
		})
	}
	return out, nil
}

// discrete is a law on 0..top. Skew is sd times its skewness over 6, the Cornish-Fisher term that
// makes the first guess at a quantile good enough for the search to need few tail sums.
type discrete struct {
	mean, sd, skew float64
	top            int
	atMost         func(r int) float64
}

// interpolated is the quantile of BinomialLimits as a count; it may lie below 0.
func (d discrete) interpolated(p float64) float64 {
	r := d.smallest(p)
	upTo := d.atMost(r)
	return float64(r) - (upTo-p)/(upTo-d.atMost(r-1))
}

// smallest is the least r with P(R <= r) >= p: bracketed around a guess, then halved.
func (d discrete) smallest(p float64) int {
	z := distuv.UnitNormal.Quantile(p)
	guess := int(d.mean + z*d.sd + d.skew*(z*z-1))
	guess = max(0, min(guess, d.top))
	low, high := guess-1, guess // answer in (low, high] once P(low) < p <= P(high)
	for step := 1; high < d.top && d.atMost(high) < p; step *= 2 {
		low, high = high, min(high+step, d.top)
	}
	for step := 1; low >= 0 && d.atMost(low) >= p; step *= 2 {
		low, high = max(low-step, -1), low
	}
	return low + 1 + sort.Search(high-low-1, func(i int) bool { return d.atMost(low+1+i) >= p })
}
