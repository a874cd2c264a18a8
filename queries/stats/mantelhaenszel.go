package stats

import (
	"errors"
	"fmt"
	"math"
)

// Table2x2 is a two-by-two table of counts [[A, B], [C, D]]: rows are the two groups, columns
// the two outcomes.
type Table2x2 struct{ A, B, C, D int }

func (t Table2x2) total() int { return t.A + t.B + t.C + t.D }

// informative tells whether both rows and both columns hold something; a table with an empty
// margin says nothing about association.
func (t Table2x2) informative() bool {
	return t.A+t.B > 0 && t.C+t.D > 0 && t.A+t.C > 0 && t.B+t.D > 0
}

// MantelHaenszel is what a set of two-by-two strata says about one common association.
type MantelHaenszel struct {
	Uncorrected, Continuity ChiSquareTest // 1 degree of freedom
	OddsRatio               Estimate      // interval of Robins, Breslow and Greenland
	LogVariance             float64       // of the log common odds ratio
	BreslowDay, Tarone      ChiSquareTest // homogeneity of the odds ratios
	Woolf                   ChiSquareTest // homogeneity, by log odds ratios
}

// CochranMantelHaenszel tests and estimates one association over strata.
//
// With E and V the mean and variance of A given the margins, the statistic is
// (|sum(A-E)| - c)^2 / sum V, where the continuity correction c is 1/2, or 0 when |sum(A-E)| is
// below 1/2 (Cochran 1954; Mantel and Haenszel 1959). The common odds ratio is
// sum(AD/n) / sum(BC/n) with the variance of Robins, Breslow and Greenland (1986). Homogeneity:
// Breslow and Day (1980), its adjustment by Tarone (1985), and Woolf (1955). Assumes independent
// subjects and, for the intervals and homogeneity tests, strata that are not all small.
//
// Strata with an empty row or column carry nothing: they are left out, counted in a warning, and do
// not add to the degrees of freedom. When no stratum is left, or all pairs point one way, the figures
// that cannot be said are NaN.
func CochranMantelHaenszel(strata []Table2x2, conf float64) (MantelHaenszel, error) {
	if len(strata) == 0 {
		return MantelHaenszel{}, errors.New("strata: none given: give at least one two-by-two table")
	}
	if err := checkConf(conf); err != nil {
		return MantelHaenszel{}, err
	}
	used := make([]Table2x2, 0, len(strata))
	for i, t := range strata {
		if err := checkCounts(fmt.Sprintf("strata: table %d", i+1), t.A, t.B, t.C, t.D); err != nil {
			return MantelHaenszel{}, err
		}
		if t.informative() {
			used = append(used, t)
		}
	}
	var out MantelHaenszel
	out.Uncorrected, out.Continuity = cmhTests(used)
	out.OddsRatio, out.LogVariance = commonOddsRatio(used, conf)
	if left := len(strata) - len(used); left > 0 {
		out.OddsRatio.Warnings = append(out.OddsRatio.Warnings,
			fmt.Sprintf("%d of %d strata have an empty row or column and say nothing", left, len(strata)))
	}
	out.BreslowDay, out.Tarone = breslowDay(used, out.OddsRatio.Value)
	out.Woolf = woolf(used)
	return out, nil
}

func cmhTests(strata []Table2x2) (uncorrected, continuity ChiSquareTest) {
	var delta, variance float64
	for _, t := range strata {
		n := float64(t.total())
		r1, r2, c1, c2 := float64(t.A+t.B), float64(t.C+t.D), float64(t.A+t.C), float64(t.B+t.D)
		delta += float64(t.A) - r1*c1/n
		variance += r1 / n * r2 / n * c1 / (n - 1) * c2
	}
	correction := 0.5
	if math.Abs(delta) < correction {
		correction = 0
	}
	return chiSquareTest(square(delta)/variance, 1),
		chiSquareTest(square(math.Abs(delta)-correction)/variance, 1)
}

func commonOddsRatio(strata []Table2x2, conf float64) (Estimate, float64) {
	var r, s, pr, psqr, qs float64
	n := 0
	for _, t := range strata {
		total := float64(t.total())
		a, b, c, d := float64(t.A), float64(t.B), float64(t.C), float64(t.D)
		ri, si := a*d/total, b*c/total
		p, q := (a+d)/total, (b+c)/total
		r, s = r+ri, s+si
		pr, psqr, qs = pr+p*ri, psqr+p*si+q*ri, qs+q*si
		n += t.total()
	}
	est := Estimate{Value: r / s, Low: math.NaN(), High: math.NaN(), Conf: conf, N: n}
	if s == 0 {
		est.Value = math.NaN()
	}
	if r == 0 || s == 0 {
		est.Warnings = append(est.Warnings, "the strata point one way only: no interval can be given")
		return est, math.NaN()
	}
	variance := pr/(2*r*r) + psqr/(2*r*s) + qs/(2*s*s)
	half := normalCritical(conf) * math.Sqrt(variance)
	est.Low, est.High = est.Value*math.Exp(-half), est.Value*math.Exp(half)
	return est, variance
}

// breslowDay compares each A with the value fitted under the common odds ratio.
func breslowDay(strata []Table2x2, odds float64) (plain, tarone ChiSquareTest) {
	df := max(len(strata)-1, 0)
	if !(odds > 0) {
		cannot := chiSquareTest(math.NaN(), df)
		return cannot, cannot
	}
	var statistic, gap, spread float64
	for _, t := range strata {
		fitted := fittedCell(t, odds)
		r1, c1 := float64(t.A+t.B), float64(t.A+t.C)
		other := float64(t.D-t.A) + fitted
		variance := 1 / (1/fitted + 1/(r1-fitted) + 1/(c1-fitted) + 1/other)
		statistic += square(float64(t.A)-fitted) / variance
		gap += float64(t.A) - fitted
		spread += variance
	}
	return chiSquareTest(statistic, df), chiSquareTest(math.Max(0, statistic-square(gap)/spread), df)
}

// fittedCell solves A*D = odds*B*C for A at the margins of t: the root of
// (1-odds)A^2 + linear*A - odds*r1*c1 inside the margins, in the form that does not cancel.
func fittedCell(t Table2x2, odds float64) float64 {
	r1, c1 := float64(t.A+t.B), float64(t.A+t.C)
	linear := float64(t.D-t.A) + odds*(r1+c1)
	constant := odds * r1 * c1
	root := math.Sqrt(math.Max(0, square(linear)+4*(1-odds)*constant))
	if linear >= 0 {
		return 2 * constant / (linear + root)
	}
	return (root - linear) / (2 * (1 - odds))
}

// woolf weighs log odds ratios by their inverse variance; when any cell of any stratum is zero, 1/2 is
// added to every cell of every stratum (Haldane 1955).
func woolf(strata []Table2x2) ChiSquareTest {
	add := 0.0
	for _, t := range strata {
		if min(t.A, t.B, t.C, t.D) == 0 {
			add = 0.5
		}
	}
	logs, weights := make([]float64, len(strata)), make([]float64, len(strata))
	var sum, weight float64
	for i, t := range strata {
		a, b, c, d := float64(t.A)+add, float64(t.B)+add, float64(t.C)+add, float64(t.D)+add
		logs[i], weights[i] = math.Log(a/b*(d/c)), 1/(1/a+1/b+1/c+1/d)
		sum, weight = sum+weights[i]*logs[i], weight+weights[i]
	}
	if len(strata) == 0 {
		return chiSquareTest(math.NaN(), 0)
	}
	statistic := 0.0
	for i := range logs {
		statistic += weights[i] * square(logs[i]-sum/weight)
	}
	return chiSquareTest(statistic, len(strata)-1)
}
