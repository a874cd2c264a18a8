package stats

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// AdjustedP holds adjusted p-values, each in the order of the p-values given.
type AdjustedP struct{ BenjaminiHochberg, BenjaminiYekutieli, Holm, Bonferroni []float64 }

// AdjustPValues adjusts m p-values for being looked at together. With p(i) the i-th smallest:
//
//	BenjaminiHochberg   min over j>=i of p(j) m/j: false discovery rate, independent or positively
//	                    dependent tests (Benjamini and Hochberg 1995)
//	BenjaminiYekutieli  the same times 1 + 1/2 + ... + 1/m: any dependence (2001)
//	Holm                max over j<=i of p(j) (m-j+1): family-wise error (Holm 1979)
//	Bonferroni          p(i) m
//
// all at most 1. NaN stands for a test that could not be made: it stays NaN and is not counted in m.
func AdjustPValues(p []float64) (AdjustedP, error) {
	if len(p) == 0 {
		return AdjustedP{}, errors.New("p_values: none given: give at least one")
	}
	order := make([]int, 0, len(p))
	for i, v := range p {
		if v < 0 || v > 1 {
			return AdjustedP{}, fmt.Errorf("p_values: value %d is %v: give p-values from 0 to 1", i+1, v)
		}
		if !math.IsNaN(v) {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(i, j int) int {
		switch {
		case p[i] < p[j]:
			return -1
		case p[i] > p[j]:
			return 1
		default:
			return 0
		}
	})
	m, harmonic := float64(len(order)), 0.0
	for i := range order {
		harmonic += 1 / float64(i+1)
	}
	return AdjustedP{
		BenjaminiHochberg:  stepUp(p, order, m),
		BenjaminiYekutieli: stepUp(p, order, m*harmonic),
		Holm:               holm(p, order),
		Bonferroni:         bonferroni(p, order),
	}, nil
}

// Rejected counts the adjusted p-values at or below level; a last-bit rounding error does not
// turn an equal value into a larger one.
func Rejected(adjusted []float64, level float64) int {
	n := 0
	for _, p := range adjusted {
		if p <= level*(1+1e-12) {
			n++
		}
	}
	return n
}

func missing(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = math.NaN()
	}
	return out
}

func stepUp(p []float64, order []int, factor float64) []float64 {
	out, best := missing(len(p)), 1.0
	for rank := len(order); rank > 0; rank-- {
		i := order[rank-1]
		best = math.Min(best, p[i]*factor/float64(rank))
		out[i] = best
	}
	return out
}

func holm(p []float64, order []int) []float64 {
	out, worst := missing(len(p)), 0.0
	for rank, i := range order {
		worst = math.Max(worst, math.Min(1, p[i]*float64(len(order)-rank)))
		out[i] = worst
	}
	return out
}

func bonferroni(p []float64, order []int) []float64 {
	out := missing(len(p))
	for _, i := range order {
		out[i] = math.Min(1, p[i]*float64(len(order)))
	}
	return out
}
