package stats

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/mathext"
)

// RatioToExpected compares an observed count with the count expected if nothing were unusual (a
// standardized ratio). Intervals are two-sided; on counts for ExactCount, on observed/expected
// for the others. The ratio and its intervals are NaN when expected is 0.
type RatioToExpected struct {
	Ratio      float64
	ExactCount Interval // Garwood (1936), Biometrika 28:437-442
	ExactRatio Interval // ExactCount / expected
	ByarRatio  Interval // Rothman & Boice (1979); Breslow & Day (1987) vol. II p. 69
	MidPRatio  Interval // each limit where P(beyond) + P(equal)/2 = (1-conf)/2
	PUpper     float64  // P(X >= observed)
	PLower     float64  // P(X <= observed)
	PDoubled   float64  // twice the smaller tail, at most 1
	PMinLike   float64  // total probability of the counts no likelier than the observed one
}

// ObservedToExpected compares observed with expected, the count X being Poisson with mean expected
// and expected known without error. Counts and expected run from 0 to MaxCount; conf is the share
// of the intervals, 0.95 for 95 %. It returns an error for anything else.
func ObservedToExpected(observed int, expected, conf float64) (RatioToExpected, error) {
	err := errors.Join(checkCounts("observed", observed), checkMean("expected", expected), checkConf(conf))
	if err != nil {
		return RatioToExpected{}, err
	}
	exact := GarwoodLimits(observed, conf)
	upper, lower := poissonAtLeast(observed, expected), poissonAtMost(observed, expected)
	return RatioToExpected{
		Ratio:      quotient(float64(observed), expected),
		ExactCount: exact,
		ExactRatio: exact.over(expected),
		ByarRatio:  byarLimits(observed, conf).over(expected),
		MidPRatio:  midPLimits(observed, conf).over(expected),
		PUpper:     upper,
		PLower:     lower,
		PDoubled:   min(1, 2*min(upper, lower)),
		PMinLike:   poissonMinLike(observed, expected),
	}, nil
}

func checkMean(name string, mean float64) error {
	if !(mean >= 0 && mean <= MaxCount) {
		return fmt.Errorf("%s is %v: give a number from 0 to %d", name, mean, MaxCount)
	}
	return nil
}

func (i Interval) over(expected float64) Interval {
	return Interval{quotient(i.Low, expected), quotient(i.High, expected)}
}

// GarwoodLimits are the exact limits of a Poisson mean given the count observed: half the
// chi-square quantiles with 2*observed and 2*observed+2 degrees of freedom, taken here as gamma
// quantiles (Garwood 1936, Biometrika 28:437-442). The lower limit of a count of 0 is 0.
func GarwoodLimits(observed int, conf float64) Interval {
	tail := (1 - conf) / 2
	limits := Interval{High: mathext.GammaIncRegCompInv(float64(observed)+1, tail)}
	if observed > 0 {
		limits.Low = mathext.GammaIncRegInv(float64(observed), tail)
	}
	return limits
}

// byarLimits are Byar's approximation to the exact limits. The lower limit is 0 where the formula
// falls below 0 (few events and high confidence), because a mean cannot.
func byarLimits(observed int, conf float64) Interval {
	z := normalCritical(conf)
	limit := func(n, z float64) float64 {
		if n == 0 {
			return 0
		}
		return max(0, n*math.Pow(1-1/(9*n)+z/(3*math.Sqrt(n)), 3))
	}
	return Interval{limit(float64(observed), -z), limit(float64(observed)+1, z)}
}

// midPLimits are the means at which P(X < observed) + P(X = observed)/2 reaches 1-tail and tail.
// The lower limit of a count of 0 is 0.
func midPLimits(observed int, conf float64) Interval {
	tail := (1 - conf) / 2
	exact := GarwoodLimits(observed, conf) // which hold the mid-p limits between them
	where := func(share float64) float64 {
		return brentRoot(func(mean float64) float64 {
			return share - (poissonAtMost(observed-1, mean)+poissonAtMost(observed, mean))/2
		}, exact.Low, exact.High, 0)
	}
	limits := Interval{High: where(tail)}
	if observed > 0 {
		limits.Low = where(1 - tail)
	}
	return limits
}

// poissonAtMost is P(X <= k) for a Poisson count with the given mean.
func poissonAtMost(k int, mean float64) float64 {
	if k < 0 {
		return 0
	}
	return mathext.GammaIncRegComp(float64(k)+1, mean)
}

// poissonAtLeast is P(X >= k), summed from its own side so that a small tail keeps its digits.
func poissonAtLeast(k int, mean float64) float64 {
	if k <= 0 {
		return 1
	}
	return mathext.GammaIncReg(float64(k), mean)
}

func poissonLogProb(k int, mean float64) float64 {
	return xLogY(float64(k), mean) - mean - logGamma(float64(k)+1)
}

// poissonMinLike is the two-sided p that adds every count no likelier than the observed one. As
// in R poisson.test, likelihoods within a factor 1+1e-7 count as equal.
func poissonMinLike(observed int, mean float64) float64 {
	if float64(observed) == mean {
		return 1
	}
	bar := poissonLogProb(observed, mean) + math.Log1p(1e-7)
	rare := func(k int) bool { return poissonLogProb(k, mean) <= bar }
	if float64(observed) > mean {
		top := int(mean) + 1
		below := sort.Search(top, func(k int) bool { return !rare(k) })
		return min(1, poissonAtMost(below-1, mean)+poissonAtLeast(observed, mean))
	}
	first := int(math.Ceil(mean))
	width := 1
	for !rare(first + width) {
		width *= 2
	}
	above := first + sort.Search(width, func(k int) bool { return rare(first + k) })
	return min(1, poissonAtMost(observed, mean)+poissonAtLeast(above, mean))
}
