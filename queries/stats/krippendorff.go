package stats

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// Alpha is Krippendorff's alpha under three metrics of difference.
type Alpha struct{ Nominal, Ordinal, Interval float64 }

// KrippendorffAlpha measures the agreement of any number of raters: ratings[r][u] is what rater r gave
// unit u, NaN where missing.
//
// alpha = 1 - Do/De, Do the mean squared difference of pairs within units, each unit's pairs weighted
// 1/(m-1) for its m ratings, De that of all pairs of the n pairable ratings (Krippendorff 2011). The
// difference is 0 or 1 (nominal), between the values (interval), or between their mid-ranks
// among all pairable ratings, which is Krippendorff's ordinal metric. Units with fewer than two ratings
// are left out. NaN when no unit can be paired or all pairable values are the same.
func KrippendorffAlpha(ratings [][]float64) (Alpha, error) {
	units, err := pairableUnits(ratings)
	if err != nil {
		return Alpha{}, err
	}
	pooled := slices.Concat(units...)
	slices.Sort(pooled)
	if len(pooled) == 0 || pooled[0] == pooled[len(pooled)-1] {
		return Alpha{math.NaN(), math.NaN(), math.NaN()}, nil
	}
	ranks := midRanks(pooled)
	ranked := make([][]float64, len(units))
	for i, unit := range units {
		for _, v := range unit {
			ranked[i] = append(ranked[i], ranks[v])
		}
	}
	return Alpha{
		Nominal:  alphaOf(units, nominalSpread),
		Ordinal:  alphaOf(ranked, squaredSpread),
		Interval: alphaOf(units, squaredSpread),
	}, nil
}

// pairableUnits turns ratings by rater into ratings by unit and keeps the units with two or more.
func pairableUnits(ratings [][]float64) ([][]float64, error) {
	if len(ratings) < 2 || len(ratings[0]) == 0 {
		return nil, errors.New("ratings: give at least two raters and one unit")
	}
	var units [][]float64
	for u := range ratings[0] {
		var unit []float64
		for r, row := range ratings {
			if len(row) != len(ratings[0]) {
				return nil, fmt.Errorf("ratings: rater %d has %d units of %d: give null for a missing rating", r+1, len(row), len(ratings[0]))
			}
			if math.IsInf(row[u], 0) {
				return nil, fmt.Errorf("ratings: rater %d, unit %d is infinite: give finite numbers", r+1, u+1)
			}
			if !math.IsNaN(row[u]) {
				unit = append(unit, row[u])
			}
		}
		if len(unit) > 1 {
			units = append(units, unit)
		}
	}
	return units, nil
}

// midRanks gives each distinct value of a sorted list the mean rank of its ties.
func midRanks(sorted []float64) map[float64]float64 {
	ranks := map[float64]float64{}
	for i := 0; i < len(sorted); {
		j := i
		for j < len(sorted) && sorted[j] == sorted[i] {
			j++
		}
		ranks[sorted[i]] = float64(i+j+1) / 2
		i = j
	}
	return ranks
}

// alphaOf is 1 - Do/De where spread sums the squared difference over all ordered pairs of values.
func alphaOf(units [][]float64, spread func([]float64) float64) float64 {
	within := 0.0
	for _, unit := range units {
		within += spread(unit) / float64(len(unit)-1)
	}
	pooled := slices.Concat(units...)
	return 1 - within/(spread(pooled)/float64(len(pooled)-1))
}

// nominalSpread counts the ordered pairs of unlike values.
func nominalSpread(values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	n, alike := len(sorted), 0
	for i := 0; i < n; {
		j := i
		for j < n && sorted[j] == sorted[i] {
			j++
		}
		alike += (j - i) * (j - i)
		i = j
	}
	return float64(n*n - alike)
}

// squaredSpread sums (x-y)^2 over ordered pairs, as 2n times the squares about the mean.
func squaredSpread(values []float64) float64 {
	n, sum := float64(len(values)), 0.0
	for _, v := range values {
		sum += v / n
	}
	squares := 0.0
	for _, v := range values {
		squares += square(v - sum)
	}
	return 2 * n * squares
}
