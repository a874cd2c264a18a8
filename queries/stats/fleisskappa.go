package stats

import (
	"errors"
	"fmt"
	"math"
)

// ManyRaters is the agreement of a fixed number of raters over subjects.
type ManyRaters struct {
	Observed, Chance    float64   // mean share of agreeing pairs, and that by chance
	Kappa               float64   // Fleiss' kappa
	SE1971              float64   // null SE of Fleiss (1971), superseded, kept for comparison
	SE1979              float64   // null SE of Fleiss, Nee and Landis (1979)
	Z                   float64   // Kappa / SE1979
	Proportions         []float64 // of all ratings, by category
	CategoryKappa       []float64 // each category against the rest; NaN for one never or always used
	AC1                 float64
	KrippendorffNominal float64
}

// FleissKappa measures agreement of raters on subjects: counts[i][j] raters put subject i in
// category j. Raters 0 takes the number from the first row; every row must sum to it.
//
// kappa = (Po-Pe)/(1-Pe), Po the mean share of agreeing pairs of raters, Pe the sum of squared category
// shares (Fleiss 1971). AC1 by Gwet (2008), alpha by Krippendorff (2011). Assumes that any raters may
// have rated any subject, and subjects are independent. NaN when only one category was used; the 1979 SE
// needs no more than one subject but is a large-sample figure.
func FleissKappa(counts [][]int, raters int) (ManyRaters, error) {
	raters, err := checkRatings(counts, raters)
	if err != nil {
		return ManyRaters{}, err
	}
	n, m, k := float64(len(counts)), float64(raters), len(counts[0])
	totals, disagree := make([]int, k), make([]float64, k) // disagree: ordered pairs, one in j, one not
	pairs := n * m * (m - 1)
	for _, row := range counts {
		for j, c := range row {
			totals[j] += c
			disagree[j] += float64(c) * float64(raters-c)
		}
	}
	out := ManyRaters{Proportions: make([]float64, k), CategoryKappa: make([]float64, k)}
	all := 0.0
	for j, t := range totals {
		p := float64(t) / (n * m)
		out.Proportions[j] = p
		out.CategoryKappa[j] = aboveChance(1-disagree[j]/(pairs*p*(1-p)), 0)
		all += disagree[j]
	}
	out.Observed = 1 - all/pairs
	out.Chance = sumOfSquares(out.Proportions)
	out.Kappa = aboveChance(out.Observed, out.Chance)
	out.SE1971, out.SE1979 = fleissErrors(out.Proportions, m, pairs)
	out.Z = out.Kappa / out.SE1979
	out.AC1 = aboveChance(out.Observed, gwetChance(out.Proportions))
	out.KrippendorffNominal = 1 - (1-out.Kappa)*(1-1/(n*m))
	return out, nil
}

func checkRatings(counts [][]int, raters int) (int, error) {
	if len(counts) == 0 || len(counts[0]) < 2 {
		return 0, errors.New("counts: give at least one subject and two categories")
	}
	if raters == 0 {
		raters = sumCounts(counts[0])
	}
	if raters < 2 || raters > MaxCount {
		return 0, fmt.Errorf("raters is %d: give from 2 to %d", raters, MaxCount)
	}
	for i, row := range counts {
		name := fmt.Sprintf("counts: row %d", i+1)
		if err := checkCounts(name, row...); err != nil {
			return 0, err
		}
		if len(row) != len(counts[0]) {
			return 0, fmt.Errorf("%s has %d categories of %d: give every subject the same", name, len(row), len(counts[0]))
		}
		if sum := sumCounts(row); sum != raters {
			return 0, fmt.Errorf("%s holds %d ratings of %d raters: every rater must rate every subject, or use krippendorff-alpha", name, sum, raters)
		}
	}
	return raters, nil
}

// fleissErrors gives the null SEs of 1971 and 1979 for category shares p, m raters and pairs
// ordered pairs of ratings.
func fleissErrors(p []float64, m, pairs float64) (se1971, se1979 float64) {
	var squares, cubes, pq, skew float64
	for _, x := range p {
		squares, cubes = squares+x*x, cubes+x*x*x
		pq, skew = pq+x*(1-x), skew+x*(1-x)*(1-2*x)
	}
	variance1971 := squares - (2*m-3)*square(squares) + 2*(m-2)*cubes
	variance1979 := square(pq) - skew
	return math.Sqrt(2/pairs*math.Max(0, variance1971)) / (1 - squares),
		math.Sqrt(2/pairs*math.Max(0, variance1979)) / pq
}
