package stats

import (
	"fmt"
	"math"
)

// MaxExactTotal bounds the table an exact test enumerates; above it the approximate tests agree to
// all digits anybody reads.
const MaxExactTotal = 1_000_000

// tieTolerance is the relative gap under which two tables count as equally probable.
const tieTolerance = 1e-7

// FisherTest is what one two-by-two table says, given its margins. Greater means A larger than
// chance, that is an odds ratio above 1.
type FisherTest struct {
	TwoSided, Greater, Less float64
	Point                   float64 // chance of this very table
	MidGreater, MidLess     float64 // half weight on this table
	MidDoubled, MidMinLike  float64 // two-sided: twice the smaller tail; by probability
	SampleOddsRatio         float64 // AD/BC; NaN when B or C is 0
	ConditionalOddsRatio    Estimate
	UnirootOddsRatio        Estimate // the same, as R prints it; see FisherExact
}

// FisherExact is the exact test of Fisher (1935): with the margins fixed, cell A is
// hypergeometric. The two-sided p sums all tables no more probable than this one (Irwin 1935);
// the mid-p (Lancaster 1961) counts equally probable ones by half. The conditional odds ratio is the
// maximum of the noncentral hypergeometric likelihood, its interval inverts the two one-sided tests at
// (1-conf)/2 each (Cornfield 1956).
//
// R's fisher.test looks for the same three roots only to within 2^-13 on the scale of the odds ratio
// or, above 1, its reciprocal; that is out by up to some percent far from 1 (for the tea tasting the upper
// limit is 626.2 but R prints 621.9). Published values carry this error, so UnirootOddsRatio repeats
// that search for comparing with them; use ConditionalOddsRatio for anything else.
//
// At the edge of what the margins allow the odds ratio is 0 or infinite; infinite is given as NaN, and
// so is the open end of the interval. When a margin is 0 there is one possible table: every p is 1
// (mid-p 1/2) and the odds ratio is NaN.
func FisherExact(t Table2x2, conf float64) (FisherTest, error) {
	if err := checkCounts("a, b, c, d", t.A, t.B, t.C, t.D); err != nil {
		return FisherTest{}, err
	}
	if err := checkConf(conf); err != nil {
		return FisherTest{}, err
	}
	if n := t.total(); n == 0 || n > MaxExactTotal {
		return FisherTest{}, fmt.Errorf("the table holds %d: give 1 to %d, or use cochran-mantel-haenszel with one stratum", n, MaxExactTotal)
	}
	d := newExactTable(t.A+t.B, t.A+t.C, t.total(), 1)
	out := FisherTest{
		Greater:              d.above(t.A),
		Less:                 d.below(t.A),
		Point:                d.at(t.A),
		SampleOddsRatio:      math.NaN(),
		ConditionalOddsRatio: conditionalOddsRatio(t, conf, fullSearch),
		UnirootOddsRatio:     conditionalOddsRatio(t, conf, unirootSearch),
	}
	out.MidGreater = out.Greater - out.Point/2
	out.MidLess = out.Less - out.Point/2
	out.MidDoubled = math.Min(1, 2*math.Min(out.MidGreater, out.MidLess))
	out.TwoSided, out.MidMinLike = minimumLikelihood(d, out.Point)
	if t.B > 0 && t.C > 0 {
		out.SampleOddsRatio = float64(t.A) / float64(t.B) * float64(t.D) / float64(t.C)
	}
	return out, nil
}

// minimumLikelihood sums the tables less probable than point and those equally probable, these
// in full for the p and by half for the mid-p.
func minimumLikelihood(d exactTable, point float64) (p, mid float64) {
	var less, equal float64
	for _, q := range d.p {
		switch {
		case q < point*(1-tieTolerance):
			less += q
		case q <= point*(1+tieTolerance):
			equal += q
		}
	}
	return math.Min(1, less+equal), math.Min(1, less+equal/2)
}

// A rootSearch says how closely and how far out the odds ratio is looked for.
type rootSearch struct{ tolerance, smallest float64 }

var (
	fullSearch    = rootSearch{tolerance: 0, smallest: 1e-200}
	unirootSearch = rootSearch{tolerance: 0x1p-13, smallest: 0x1p-52} // eps^(1/4) and eps, as R has them
)

// odds finds where f, rising in the odds ratio, is 0: on (0,1], or by the reciprocal above 1.
func (s rootSearch) odds(f func(odds float64) float64) float64 {
	switch at := f(1); {
	case at > 0:
		return brentRoot(f, 0, 1, s.tolerance)
	case at < 0:
		return 1 / brentRoot(func(inverse float64) float64 { return f(1 / inverse) }, s.smallest, 1, s.tolerance)
	default:
		return 1
	}
}

func conditionalOddsRatio(t Table2x2, conf float64, search rootSearch) Estimate {
	row, col, total := t.A+t.B, t.A+t.C, t.total()
	est := Estimate{Value: math.NaN(), Low: 0, High: math.NaN(), Conf: conf, N: total}
	atLow, atHigh := min(t.A, t.D) == 0, min(t.B, t.C) == 0
	if atLow && atHigh {
		est.Warnings = []string{"a margin is 0: the table says nothing about the odds ratio"}
		return est
	}
	given := func(odds float64) exactTable { return newExactTable(row, col, total, odds) }
	tail := (1 - conf) / 2
	if !atLow {
		est.Low = search.odds(func(odds float64) float64 { return given(odds).above(t.A) - tail })
	}
	if !atHigh {
		est.High = search.odds(func(odds float64) float64 { return tail - given(odds).below(t.A) })
	}
	switch {
	case atLow:
		est.Value = 0
	case atHigh:
		est.Warnings = []string{"the odds ratio is infinite: only the lower limit can be given"}
	default:
		est.Value = search.odds(func(odds float64) float64 { return given(odds).mean() - float64(t.A) })
	}
	return est
}
