package stats

import (
	"fmt"
	"math"
)

// Wilson estimates a proportion from x events in n units with the score interval of Wilson (1927,
// JASA 22:209-212), without continuity correction:
//
//	(p + z²/2n ± z sqrt(p(1-p)/n + z²/4n²)) / (1 + z²/n)
//
// It assumes independent units of one common probability. With n = 0 it cannot say: Value, Low and
// High are NaN beside a warning.
func Wilson(x, n int, conf float64) (Estimate, error) {
	return binomialEstimate(x, n, conf, func(p float64) Interval {
		return wilson(p, float64(n), normalCritical(conf))
	})
}

// ClopperPearson is Wilson with the exact interval of Clopper & Pearson (1934, Biometrika
// 26:404-413): the beta quantiles B(α/2; x, n-x+1) and B(1-α/2; x+1, n-x). It never covers less
// than conf.
func ClopperPearson(x, n int, conf float64) (Estimate, error) {
	return binomialEstimate(x, n, conf, func(float64) Interval {
		return clopperPearson(float64(x), float64(n), conf)
	})
}

func binomialEstimate(x, n int, conf float64, limits func(p float64) Interval) (Estimate, error) {
	if err := checkEvents(x, n, conf); err != nil {
		return Estimate{}, fmt.Errorf("proportion: %w", err)
	}
	if n == 0 {
		return Estimate{Value: math.NaN(), Low: math.NaN(), High: math.NaN(), Conf: conf,
			Warnings: []string{"nothing was observed: no proportion can be said"}}, nil
	}
	p := float64(x) / float64(n)
	ci := limits(p)
	return Estimate{Value: p, Low: ci.Low, High: ci.High, Conf: conf, N: n}, nil
}

// NewcombeDifference estimates p1 - p2 of two independent samples with the square-and-add interval
// of Newcombe (1998, Stat Med 17:873-890, method 10), built from the two Wilson intervals:
//
//	d - sqrt((p1-l1)² + (u2-p2)²)  to  d + sqrt((u1-p1)² + (p2-l2)²)
//
// With an empty sample it cannot say: NaN beside a warning.
func NewcombeDifference(x1, n1, x2, n2 int, conf float64) (Estimate, error) {
	a, err := Wilson(x1, n1, conf)
	if err != nil {
		return Estimate{}, fmt.Errorf("difference, first sample: %w", err)
	}
	b, err := Wilson(x2, n2, conf)
	if err != nil {
		return Estimate{}, fmt.Errorf("difference, second sample: %w", err)
	}
	ci := SquareAndAdd(a.Value, Interval{a.Low, a.High}, b.Value, Interval{b.Low, b.High})
	out := Estimate{Value: a.Value - b.Value, Low: ci.Low, High: ci.High, Conf: conf, N: n1 + n2}
	if math.IsNaN(out.Value) {
		out.Warnings = []string{"one of the samples is empty: no difference can be said"}
	}
	return out, nil
}

// SquareAndAdd is the interval of p1 - p2 from the intervals of two independent proportions, however
// those were made: the form of NewcombeDifference, which holds for any of them (Zou and Donner 2008,
// Stat Med 27:1693-1702). The limits have the confidence of those given. Proportions that are
// positively correlated make it too wide.
func SquareAndAdd(p1 float64, i1 Interval, p2 float64, i2 Interval) Interval {
	d := p1 - p2
	return Interval{max(-1, d-math.Hypot(p1-i1.Low, i2.High-p2)), min(1, d+math.Hypot(i1.High-p1, p2-i2.Low))}
}

func checkEvents(x, n int, conf float64) error {
	switch {
	case x < 0 || n < 0:
		return fmt.Errorf("%d events in %d units: counts cannot be negative", x, n)
	case x > n:
		return fmt.Errorf("%d events in %d units: more events than units", x, n)
	}
	return checkConf(conf)
}

// wilson is the score interval for a proportion p seen in n units, n being any positive number.
func wilson(p, n, z float64) Interval {
	if !(n > 0) {
		return Interval{math.NaN(), math.NaN()}
	}
	zz := z * z / n
	centre := p + zz/2
	half := math.Sqrt(zz * (p*(1-p) + zz/4))
	ci := Interval{(centre - half) / (1 + zz), (centre + half) / (1 + zz)}
	// The ends are exactly 0 and 1 there, and elsewhere they never pass the estimate; rounding
	// could say otherwise.
	if p == 0 {
		ci.Low = 0
	}
	if p == 1 {
		ci.High = 1
	}
	return Interval{min(max(ci.Low, 0), p), max(min(ci.High, 1), p)}
}

// clopperPearson is the exact interval for x events in n units, both real and 0 <= x <= n.
func clopperPearson(x, n, conf float64) Interval {
	if !(n > 0) || math.IsInf(n, 0) || math.IsNaN(x) {
		return Interval{math.NaN(), math.NaN()}
	}
	tail := (1 - conf) / 2
	ci := Interval{0, 1}
	if x > 0 {
		ci.Low = betaQuantile(tail, x, n-x+1)
	}
	if x < n {
		// By symmetry, from the lower tail, where the digits are.
		ci.High = 1 - betaQuantile(tail, n-x, x+1)
	}
	return ci
}
