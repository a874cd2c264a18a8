package stats

import (
	"fmt"
	"math"
	"slices"
)

// Limits on a series for the rank tests, whose work grows with the square of its length and whose
// slopes must stay finite.
const (
	MaxTrendLength = 3000
	maxTrendValue  = 1e150
)

// exactKendallLength is the longest series without ties whose p is counted exactly, as in
// algorithm AS 71 (Best & Gipps 1974, Appl Stat 23:98-100).
const exactKendallLength = 8

// MannKendallTest is a test for a steady rise or fall of a series, with its slope. Figures that
// the series cannot give are NaN.
type MannKendallTest struct {
	S           int      // pairs that rise less pairs that fall
	VarS        float64  // variance of S without trend, less what ties take away
	Z           float64  // (S -+ 1)/sqrt(VarS), 0 at S = 0
	P           float64  // two-sided, from Z
	TauA        float64  // S / (n(n-1)/2)
	TauB        float64  // S over the geometric mean of all pairs and the pairs untied in value
	Slope       float64  // median of the slopes of all pairs, per step
	SlopeLimits Interval // each end is NaN where its rank falls outside the slopes (short series)
	Intercept   float64  // median of x - Slope t, t = 1..n
	KendallP    float64  // exact for a series of up to 8 values without ties, else P
}

// MannKendall tests the equally spaced series x (Mann 1945, Econometrica 13:245-259; Kendall
// 1975; ties as in Kendall 1975, eq. 4.4) and gives the slope of Sen (1968, JASA 63:1379-1389).
//
//	VarS = (n(n-1)(2n+5) - sum over groups of t tied values of t(t-1)(2t+5)) / 18
//
// With N' slopes in rising order and C = z sqrt(VarS), the limits of the slope at confidence conf
// are the slopes of rank round((N'-C)/2) and round((N'+C)/2 + 1), halves to even. It assumes
// independent values: a series with seasons or memory gives p that are too small. A constant
// series has slope 0 and NaN for Z, P and TauB. It returns an error for fewer than 2 or more than
// MaxTrendLength values, values beyond 1e150, and conf outside 0 to 1.
func MannKendall(x []float64, conf float64) (MannKendallTest, error) {
	if err := checkConf(conf); err != nil {
		return MannKendallTest{}, err
	}
	if err := checkTrendSeries(x); err != nil {
		return MannKendallTest{}, err
	}
	slopes := pairSlopes(x)
	t := MannKendallTest{Slope: quantileType7(slopes, 0.5)}
	for _, s := range slopes {
		t.S += sign(s)
	}
	tiedPairs := 0.0
	t.VarS, tiedPairs = kendallVariance(x)
	pairs := float64(len(slopes))
	t.TauA = float64(t.S) / pairs
	t.TauB = quotient(float64(t.S), math.Sqrt(pairs*(pairs-tiedPairs)))
	t.Z = quotient(float64(t.S-sign(float64(t.S))), math.Sqrt(t.VarS))
	t.P = normalP(t.Z)
	t.KendallP = t.P
	if len(x) <= exactKendallLength && tiedPairs == 0 {
		t.KendallP = exactKendallP(t.S, len(x))
	}
	t.SlopeLimits = slopeLimits(slopes, normalCritical(conf)*math.Sqrt(t.VarS))
	t.Intercept = senIntercept(x, t.Slope)
	return t, nil
}

func checkTrendSeries(x []float64) error {
	if len(x) < 2 || len(x) > MaxTrendLength {
		return fmt.Errorf("%d values: give a series of 2 to %d values", len(x), MaxTrendLength)
	}
	for i, v := range x {
		if !(math.Abs(v) <= maxTrendValue) {
			return fmt.Errorf("value %d is %v: give finite numbers no larger than %g", i+1, v, maxTrendValue)
		}
	}
	return nil
}

// pairSlopes are the slopes between all pairs of values, rising.
func pairSlopes(x []float64) []float64 {
	slopes := make([]float64, 0, len(x)*(len(x)-1)/2)
	for i, from := range x {
		for j, to := range x[i+1:] {
			slopes = append(slopes, (to-from)/float64(j+1))
		}
	}
	slices.Sort(slopes)
	return slopes
}

func sign(x float64) int {
	switch {
	case x > 0:
		return 1
	case x < 0:
		return -1
	}
	return 0
}

// kendallVariance is the variance of S without trend, and the number of tied pairs.
func kendallVariance(x []float64) (variance, tiedPairs float64) {
	term := func(n float64) float64 { return n * (n - 1) * (2*n + 5) }
	sum := term(float64(len(x)))
	sorted := slices.Sorted(slices.Values(x))
	for i := 0; i < len(sorted); {
		tied := i
		for tied < len(sorted) && sorted[tied] == sorted[i] {
			tied++
		}
		n := float64(tied - i)
		sum -= term(n)
		tiedPairs += n * (n - 1) / 2
		i = tied
	}
	return sum / 18, tiedPairs
}

func slopeLimits(slopes []float64, c float64) Interval {
	n := float64(len(slopes))
	ranked := func(rank float64) float64 {
		if rank < 1 || rank > n {
			return math.NaN()
		}
		return slopes[int(rank)-1]
	}
	return Interval{ranked(math.RoundToEven((n - c) / 2)), ranked(math.RoundToEven((n+c)/2 + 1))}
}

func senIntercept(x []float64, slope float64) float64 {
	residuals := make([]float64, len(x))
	for i, v := range x {
		residuals[i] = v - slope*float64(i+1)
	}
	return quantileType7(slices.Sorted(slices.Values(residuals)), 0.5)
}

// exactKendallP is the two-sided p of S among all orders of n distinct values: twice the chance of
// an S as far from 0 on its side, at most 1. Inserting the k-th value adds 0 to k-1 falling pairs
// with equal chance, which builds up the law of the number of falling pairs.
func exactKendallP(s, n int) float64 {
	law := []float64{1}
	for k := 2; k <= n; k++ {
		next := make([]float64, len(law)+k-1)
		for falling, p := range law {
			for more := range k {
				next[falling+more] += p / float64(k)
			}
		}
		law = next
	}
	pairs := n * (n - 1) / 2
	tail := 0.0
	for falling, p := range law {
		if pairs-2*falling >= max(s, -s) {
			tail += p
		}
	}
	return min(1, 2*tail)
}
