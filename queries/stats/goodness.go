package stats

import (
	"errors"
	"fmt"

	"gonum.org/v1/gonum/floats"
)

// GoodnessOfFit tests counts of categories against shares known beforehand: Pearson's chi-square
// Σ(O-E)²/E on one degree of freedom less than there are categories (Pearson 1900). Shares need not sum
// to 1. Assumes independent cases; rough where an expected count is below about 5 (Cochran 1954). Without
// counts the statistic is NaN.
func GoodnessOfFit(counts []int, shares []float64) (ChiSquareTest, error) {
	if err := errors.Join(checkCounts("counts", counts...), checkFinite("shares", shares...)); err != nil {
		return ChiSquareTest{}, err
	}
	if len(counts) != len(shares) || len(counts) < 2 {
		return ChiSquareTest{}, fmt.Errorf("%d counts and %d shares: give as many of each, and at least two", len(counts), len(shares))
	}
	for i, s := range shares {
		if s <= 0 {
			return ChiSquareTest{}, fmt.Errorf("shares: value %d is %v: give shares above 0", i+1, s)
		}
	}
	return chiSquareTest(pearson(counts, shares), len(counts)-1), nil
}

// pearson is the distance of counts from what the shares give.
func pearson(counts []int, shares []float64) float64 {
	of, n, chi := floats.Sum(shares), float64(sumCounts(counts)), 0.0
	for i, share := range shares {
		expected := n * share / of
		chi += quotient(square(float64(counts[i])-expected), expected)
	}
	return chi
}
