package stats

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// McNemarTest compares two calls on the same subjects by the discordant pairs.
type McNemarTest struct {
	Exact, Mid           float64 // two-sided p
	Plain, Continuity    ChiSquareTest
	ConditionalOddsRatio float64 // b/c
}

// McNemar tests whether yes is as common in the first as in the second of paired calls, from
// pairs with the first call in rows and the second in columns: b of them yes-no, c no-yes; agreeing
// pairs do not count.
//
// Given b+c, b is binomial with 1/2 under equality: Exact is twice the smaller tail, at most 1; Mid takes
// off the chance of b itself, half of it when b = c (Fagerland, Lydersen and Laake 2013). Plain is
// (b-c)^2/(b+c) (McNemar 1947), Continuity (|b-c|-1)^2/(b+c) (Edwards 1948), not below 0. The odds ratio b/c
// conditions on the pair. Assumes independent pairs.
//
// Without discordant pairs Exact is 1 and the rest NaN; b/c is NaN when c is 0.
func McNemar(pairs Table2x2) (McNemarTest, error) {
	if err := checkCounts("pairs", pairs.A, pairs.B, pairs.C, pairs.D); err != nil {
		return McNemarTest{}, err
	}
	b, c := pairs.B, pairs.C
	n := float64(b + c)
	gap := math.Abs(float64(b - c))
	out := McNemarTest{
		Exact:                1,
		Mid:                  math.NaN(),
		Plain:                chiSquareTest(gap*gap/n, 1),
		Continuity:           chiSquareTest(square(math.Max(0, gap-1))/n, 1),
		ConditionalOddsRatio: math.NaN(),
	}
	if c > 0 {
		out.ConditionalOddsRatio = float64(b) / float64(c)
	}
	if n == 0 {
		out.Continuity = out.Plain
		return out, nil
	}
	half := distuv.Binomial{N: n, P: 0.5}
	point := half.Prob(float64(b))
	if b == c {
		out.Mid = 1 - point/2
		return out, nil
	}
	out.Exact = math.Min(1, 2*half.CDF(float64(min(b, c))))
	out.Mid = out.Exact - point
	return out, nil
}
