package stats

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// DispersedRatio compares an observed count with an expected one where counts vary more than a Poisson
// law lets them, and the expected count is itself in doubt.
type DispersedRatio struct {
	Ratio      Estimate // N is the observed count
	Dispersion float64  // variance / expected, at least 1
	Z, P       float64  // from the mid-p tail; two-sided
}

// ObservedToDispersed is ObservedToExpected for a count whose variance about the expected count, the
// doubt about that included, is variance. With D = max(1, variance/expected) it takes observed/D and
// expected/D as counts worth as much, the way an effective sample size is used for a proportion
// (McCullagh and Nelder 1989, section 6.2.3, for D):
//
//	low, high = gamma quantiles with shapes observed/D and observed/D + 1, over expected/D
//
// which are Garwood's exact limits at D = 1, where P is the mid-p of the Poisson law. It returns an error
// for a negative count, and for an expected count or variance that is not above 0.
func ObservedToDispersed(observed int, expected, variance, conf float64) (DispersedRatio, error) {
	if err := errors.Join(checkCounts("observed", observed), checkMean("expected", expected), checkConf(conf)); err != nil {
		return DispersedRatio{}, err
	}
	if !(expected > 0 && variance > 0) || math.IsInf(variance, 0) {
		return DispersedRatio{}, fmt.Errorf("expected is %v and its variance %v: give finite numbers above 0", expected, variance)
	}
	d := max(1, variance/expected)
	o, e, tail := float64(observed)/d, expected/d, (1-conf)/2
	out := DispersedRatio{Dispersion: d, Ratio: Estimate{Value: float64(observed) / expected, Conf: conf, N: observed,
		High: mathext.GammaIncRegCompInv(o+1, tail) / e}}
	above, below := 1.0, mathext.GammaIncRegComp(o+1, e) // P(X >= o), P(X <= o)
	if observed > 0 {
		out.Ratio.Low = mathext.GammaIncRegInv(o, tail) / e
		above = mathext.GammaIncReg(o, e)
		below = (below + mathext.GammaIncRegComp(o, e)) / 2
	} else {
		below /= 2
	}
	above = (above + mathext.GammaIncReg(o+1, e)) / 2
	out.P = min(1, 2*min(above, below))
	out.Z = distuv.UnitNormal.Quantile(max(below, math.SmallestNonzeroFloat64))
	if above < below {
		out.Z = -distuv.UnitNormal.Quantile(max(above, math.SmallestNonzeroFloat64))
	}
	return out, nil
}
