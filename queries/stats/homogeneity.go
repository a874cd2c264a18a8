package stats

import (
	"errors"
	"fmt"
	"math"
)

// Homogeneity says whether groups share one mix of categories. Rows are groups, columns categories.
type Homogeneity struct {
	Pearson              ChiSquareTest // Pearson (1900)
	G                    ChiSquareTest // likelihood ratio
	Williams             ChiSquareTest // G / q (Williams 1976)
	WilliamsQ            float64
	CramerV              float64 // 0 for one mix, 1 for mixes that share nothing
	MinExpected          float64 // below about 5 the chi-square P is rough (Cochran 1954)
	WeightedJS           float64 // Jensen-Shannon divergence in nats, weights n_i/N: G/2N
	EqualJS              float64 // the same with equal weights, over groups that have units
	GiniSimpson, Entropy []float64
}

// HomogeneityTest tests a table of counts for one common mix: Pearson's chi-square
// Σ(O-E)²/E, G = 2ΣO ln(O/E) and G over Williams' q = 1 + (NΣ1/R - 1)(NΣ1/C - 1) / 6N df, all against
// chi-square on (r-1)(c-1); Cramer's V = sqrt(X²/N min(r-1,c-1)) (Cramer 1946); and the
// Jensen-Shannon divergence H(Σ w p) - Σ w H(p) (Lin 1991). By row it gives Gini-Simpson 1-Σp²
// (Simpson 1949) and the entropy -Σ p ln p in nats (Shannon 1948). Assumes independent units.
//
// Empty rows and columns count for nothing, also not in the degrees of freedom. Where fewer than two
// of either are left there is no test and its figures are NaN; an empty row has NaN diversity. A
// ragged table and a negative count are errors.
func HomogeneityTest(table [][]int) (Homogeneity, error) {
	if err := checkMixTable(table); err != nil {
		return Homogeneity{}, err
	}
	out := Homogeneity{}
	for _, row := range table {
		p := Shares(row)
		out.Entropy = append(out.Entropy, entropy(p))
		out.GiniSimpson = append(out.GiniSimpson, giniSimpson(p))
	}
	full := withoutEmpty(table)
	out.WeightedJS, out.EqualJS = mixDivergences(full)
	out.test(full)
	return out, nil
}

func checkMixTable(table [][]int) error {
	if len(table) == 0 || len(table[0]) == 0 {
		return errors.New("table: give at least one group and one category")
	}
	for i, row := range table {
		if len(row) != len(table[0]) {
			return fmt.Errorf("table: row %d has %d categories of %d: give every group the same", i+1, len(row), len(table[0]))
		}
		if err := checkCounts(fmt.Sprintf("table: row %d", i+1), row...); err != nil {
			return err
		}
	}
	return nil
}

// test fills in the tests from a table without empty rows and columns.
func (h *Homogeneity) test(table [][]float64) {
	rows, cols, n := margins(table)
	if len(rows) < 2 || len(cols) < 2 {
		nan := math.NaN()
		none := chiSquareTest(nan, 0)
		h.Pearson, h.G, h.Williams = none, none, none
		h.WilliamsQ, h.CramerV, h.MinExpected = nan, nan, nan
		return
	}
	df := (len(rows) - 1) * (len(cols) - 1)
	pearson, g := 0.0, 0.0
	h.MinExpected = math.Inf(1)
	for i, row := range table {
		for j, o := range row {
			e := rows[i] * cols[j] / n
			pearson += square(o-e) / e
			g += 2 * xLogRatio(o, e)
			h.MinExpected = min(h.MinExpected, e)
		}
	}
	g = max(0, g)
	h.WilliamsQ = 1 + (n*sumOfInverses(rows)-1)*(n*sumOfInverses(cols)-1)/(6*n*float64(df))
	h.Pearson, h.G, h.Williams = chiSquareTest(pearson, df), chiSquareTest(g, df), chiSquareTest(g/h.WilliamsQ, df)
	h.CramerV = min(1, math.Sqrt(pearson/(n*float64(min(len(rows), len(cols))-1))))
}

func sumOfInverses(xs []float64) float64 {
	sum := 0.0
	for _, x := range xs {
		sum += 1 / x
	}
	return sum
}

func margins(table [][]float64) (rows, cols []float64, total float64) {
	for _, row := range table {
		if cols == nil {
			cols = make([]float64, len(row))
		}
		sum := 0.0
		for j, v := range row {
			sum += v
			cols[j] += v
		}
		rows = append(rows, sum)
		total += sum
	}
	return rows, cols, total
}

// withoutEmpty drops the rows and columns that hold nothing.
func withoutEmpty(table [][]int) [][]float64 {
	used := make([]bool, len(table[0]))
	for _, row := range table {
		for j, c := range row {
			used[j] = used[j] || c > 0
		}
	}
	var out [][]float64
	for _, row := range table {
		var kept []float64
		some := false
		for j, c := range row {
			if used[j] {
				kept = append(kept, float64(c))
				some = some || c > 0
			}
		}
		if some {
			out = append(out, kept)
		}
	}
	return out
}

// mixDivergences gives the Jensen-Shannon divergence of the rows, weighted by their totals and
// equally, in nats; NaN for no rows.
func mixDivergences(table [][]float64) (weighted, equal float64) {
	rows, _, n := margins(table)
	if len(rows) == 0 {
		return math.NaN(), math.NaN()
	}
	mixes, weights, equally := make([][]float64, len(rows)), make([]float64, len(rows)), make([]float64, len(rows))
	for i, row := range table {
		for _, v := range row {
			mixes[i] = append(mixes[i], v/rows[i])
		}
		weights[i], equally[i] = rows[i]/n, 1/float64(len(rows))
	}
	return jensenShannon(mixes, weights), jensenShannon(mixes, equally)
}
