package stats

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// mostScore bounds a score whose tail is beyond what a float64 holds.
const mostScore = 37

// BinomialMidPScore says how far x of n events lie from what chance p gives, as the normal deviate of the
// exact mid-p tail, P(beyond x) + P(x)/2 (Lancaster 1961): negative below, positive above, and at most 37
// either way. It keeps the skewness of small counts, which (x - np)/sd loses. It returns an error for
// counts outside 0 to n, no trials and p outside 0 to 1 (neither included).
func BinomialMidPScore(x, n int, p float64) (float64, error) {
	if err := checkCounts("events and trials", x, n); err != nil {
		return 0, err
	}
	if x > n || n == 0 || !(p > 0 && p < 1) {
		return 0, fmt.Errorf("%d of %d events at chance %v: give at most n events in at least one trial, and a chance within 0 to 1", x, n, p)
	}
	upper := (binomialAtLeast(x, n, p) + binomialAtLeast(x+1, n, p)) / 2
	if float64(x) > float64(n)*p {
		return min(mostScore, -distuv.UnitNormal.Quantile(max(upper, math.SmallestNonzeroFloat64))), nil
	}
	lower := (binomialAtLeast(n-x, n, 1-p) + binomialAtLeast(n-x+1, n, 1-p)) / 2
	return max(-mostScore, distuv.UnitNormal.Quantile(max(lower, math.SmallestNonzeroFloat64))), nil
}

// binomialAtLeast is P(X >= x), summed from its own side so that a small tail keeps its digits.
func binomialAtLeast(x, n int, p float64) float64 {
	switch {
	case x <= 0:
		return 1
	case x > n:
		return 0
	}
	return mathext.RegIncBeta(float64(x), float64(n-x)+1, p)
}

// EffectiveClopperPearson is the exact interval of a share whose counts were divided by a design effect,
// so that they need not be whole (Korn and Graubard 1998). It returns an error unless 0 <= x <= n and n is
// above 0.
func EffectiveClopperPearson(x, n, conf float64) (Interval, error) {
	if !(x >= 0 && x <= n && n > 0 && n <= MaxCount) {
		return Interval{}, errors.New("effective counts: give 0 to n events in n above 0")
	}
	if err := checkConf(conf); err != nil {
		return Interval{}, err
	}
	return clopperPearson(x, n, conf), nil
}
