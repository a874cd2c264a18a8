package stats

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"
)

// Median is the median of the values with limits that suppose no law: the k-th value from either end,
// k the largest for which P(B < k) <= (1-conf)/2, B binomial with n trials of 1/2 (Thompson 1936,
// Ann Math Stat 7:122-128). It assumes independent values. Limits are NaN where n is too small for any.
// It returns an error for no values and for one that is not finite.
func Median(values []float64, conf float64) (Estimate, error) {
	if err := checkConf(conf); err != nil {
		return Estimate{}, err
	}
	if len(values) == 0 {
		return Estimate{}, fmt.Errorf("values: none given: give at least one")
	}
	if err := checkFinite("values", values...); err != nil {
		return Estimate{}, err
	}
	sorted := slices.Sorted(slices.Values(values))
	n := len(sorted)
	out := Estimate{Value: quantileType7(sorted, 0.5), Low: math.NaN(), High: math.NaN(), Conf: conf, N: n}
	half := distuv.Binomial{N: float64(n), P: 0.5}
	beyond := sort.Search(n, func(k int) bool { return half.CDF(float64(k)) > (1-conf)/2 }) // P(B < k+1)
	if beyond > 0 {
		out.Low, out.High = sorted[beyond-1], sorted[n-beyond]
	} else {
		out.Warnings = []string{"too few values for limits of a median"}
	}
	return out, nil
}
