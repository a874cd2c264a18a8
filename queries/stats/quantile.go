package stats

import (
	"fmt"
	"math"
	"sync"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// checkConf refuses a confidence level that is not strictly between 0 and 1.
func checkConf(conf float64) error {
	if !(conf > 0 && conf < 1) {
		return fmt.Errorf("confidence %g is not between 0 and 1; give 0.95 for 95 %%", conf)
	}
	return nil
}

// normalCritical is the z of a two-sided interval: 1.96 at 0.95.
func normalCritical(conf float64) float64 {
	return -distuv.UnitNormal.Quantile((1 - conf) / 2)
}

// tCritical is the t of a two-sided interval; NaN without degrees of freedom.
func tCritical(conf, df float64) float64 {
	if !(df > 0) {
		return math.NaN()
	}
	key := [2]float64{conf, df}
	if known, ok := tKnown.Load(key); ok {
		return known.(float64)
	}
	t := -distuv.StudentsT{Sigma: 1, Nu: df}.Quantile((1 - conf) / 2)
	if df == math.Trunc(df) && df <= tKept { // of so many clusters and no more
		tKnown.Store(key, t)
	}
	return t
}

// tKnown holds critical values: thousands of intervals have the same few degrees of freedom, and an inversion takes longer than
// all the rest of an interval.
var tKnown sync.Map

const tKept = 5000

// normalP is the two-sided P of a standard normal z.
func normalP(z float64) float64 { return 2 * NormalUpper(math.Abs(z)) }

// NormalUpper is the chance that a standard normal exceeds z. It keeps its digits far out, where one less
// the distribution function has none left.
func NormalUpper(z float64) float64 { return math.Erfc(z/math.Sqrt2) / 2 }

// chiSquaredP is P(X > x) for chi-square with df degrees of freedom; NaN without any.
func chiSquaredP(x, df float64) float64 {
	if !(df > 0) || math.IsNaN(x) {
		return math.NaN()
	}
	return mathext.GammaIncRegComp(df/2, max(x, 0)/2)
}

// betaQuantile inverts the regularised incomplete beta function. The library's inverse stops early
// at some large a and b, so what it gives is refined by bisection where it is off.
func betaQuantile(p, a, b float64) float64 {
	x := mathext.InvRegIncBeta(a, b, p)
	if math.Abs(mathext.RegIncBeta(a, b, x)-p) <= 1e-11*p {
		return x
	}
	lo, hi := 0.0, 1.0
	for range 200 {
		mid := (lo + hi) / 2
		if mid == lo || mid == hi {
			break
		}
		if mathext.RegIncBeta(a, b, mid) < p {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}
