package stats

import (
	"errors"
	"fmt"
	"math"
)

// Coefficient is an agreement coefficient and its standard error for the interval.
type Coefficient struct{ Value, SE float64 }

// Agreement is what two raters' cross-table says. All coefficients are 1 at full agreement and 0 at
// what chance would give; the SEs are those of large samples.
type Agreement struct {
	Observed, Chance  float64  // shares of agreement; Chance as in Cohen's kappa
	Kappa             Estimate // Cohen's kappa; its limits are not cut at 1
	SE, NullSE        float64  // of kappa, for the interval and for testing kappa = 0
	Linear, Quadratic Coefficient
	AC1               Coefficient
	ScottPi           float64
	BrennanPrediger   float64 // for two categories the PABAK
	Alpha             float64 // Krippendorff's, nominal
}

// AgreementOfTwo measures agreement in a square table of counts: rows the first rater, columns the
// second, the same category order (for the weighted kappas from low to high).
//
// With Po the observed agreement and weights w (1 on the diagonal; 1-|i-j|/(k-1) linear,
// 1-(i-j)^2/(k-1)^2 quadratic), every coefficient is (Po-Pe)/(1-Pe). Pe comes from each rater's
// own margins (Cohen 1960, 1968; SEs of Fleiss, Cohen and Everitt 1969), the mean margin (Scott 1955),
// 1/k (Brennan and Prediger 1981; Byrt, Bishop and Carlin 1993), or sum q(1-q)/(k-1) over mean margins q
// (AC1, Gwet 2008). Alpha is Scott's pi with the small-sample term 1/(2n) (Krippendorff 2011). Assumes
// subjects rated independently. Kappa, unlike the others, falls when one category is rare even if
// agreement stays high (Feinstein and Cicchetti 1990).
//
// Where Pe is 1 (one category only) the coefficient is NaN.
func AgreementOfTwo(table [][]int, conf float64) (Agreement, error) {
	if err := checkConf(conf); err != nil {
		return Agreement{}, err
	}
	t, err := newCrossTable(table)
	if err != nil {
		return Agreement{}, err
	}
	kappa, null, chance := t.weightedKappa(identityWeight)
	linear, _, _ := t.weightedKappa(linearWeight)
	quadratic, _, _ := t.weightedKappa(quadraticWeight)
	k, observed, both := float64(len(table)), t.observed(), t.meanMargin()
	pi := aboveChance(observed, sumOfSquares(both))
	half := normalCritical(conf) * kappa.SE
	out := Agreement{
		Observed: observed, Chance: chance,
		Kappa:  Estimate{Value: kappa.Value, Low: kappa.Value - half, High: kappa.Value + half, Conf: conf, N: t.n},
		SE:     kappa.SE,
		NullSE: null,
		Linear: linear, Quadratic: quadratic,
		AC1:             t.ac1(),
		ScottPi:         pi,
		BrennanPrediger: aboveChance(observed, 1/k),
		Alpha:           1 - (1-pi)*(1-1/(2*float64(t.n))),
	}
	if chance == 1 {
		out.Kappa.Warnings = []string{"both raters used one category only: chance agreement is 1 and kappa cannot be said"}
	}
	return out, nil
}

// aboveChance is the agreement above chance as a share of what was possible, NaN when chance is 1.
func aboveChance(observed, chance float64) float64 {
	if chance == 1 {
		return math.NaN()
	}
	return (observed - chance) / (1 - chance)
}

func sumOfSquares(xs []float64) float64 {
	sum := 0.0
	for _, x := range xs {
		sum += x * x
	}
	return sum
}

// weight is the credit for the categories i and j, k categories in all.
type weight func(i, j, k int) float64

func identityWeight(i, j, _ int) float64 {
	if i == j {
		return 1
	}
	return 0
}

func linearWeight(i, j, k int) float64 {
	return 1 - math.Abs(float64(i-j))/float64(k-1)
}

func quadraticWeight(i, j, k int) float64 {
	return 1 - square(float64(i-j)/float64(k-1))
}

// crossTable is a square table as shares of its total n.
type crossTable struct {
	n        int
	p        [][]float64
	row, col []float64 // margins
}

func newCrossTable(table [][]int) (crossTable, error) {
	k := len(table)
	if k < 2 {
		return crossTable{}, fmt.Errorf("table: %d categories: give a square table of at least 2", k)
	}
	t := crossTable{row: make([]float64, k), col: make([]float64, k)}
	for i, r := range table {
		name := fmt.Sprintf("table: row %d", i+1)
		if len(r) != k {
			return crossTable{}, fmt.Errorf("%s has %d columns of %d: give a square table", name, len(r), k)
		}
		if err := checkCounts(name, r...); err != nil {
			return crossTable{}, err
		}
		t.n += sumCounts(r)
	}
	if t.n == 0 {
		return crossTable{}, errors.New("table: all counts are 0: give at least one rated subject")
	}
	rows, cols := make([]int, k), make([]int, k)
	for i, r := range table {
		t.p = append(t.p, make([]float64, k))
		for j, c := range r {
			t.p[i][j] = float64(c) / float64(t.n)
			rows[i], cols[j] = rows[i]+c, cols[j]+c
		}
	}
	for i := range k {
		t.row[i], t.col[i] = float64(rows[i])/float64(t.n), float64(cols[i])/float64(t.n)
	}
	return t, nil
}

func (t crossTable) observed() float64 {
	sum := 0.0
	for i := range t.p {
		sum += t.p[i][i]
	}
	return math.Min(1, sum)
}

func (t crossTable) meanMargin() []float64 {
	out := make([]float64, len(t.row))
	for i := range out {
		out[i] = (t.row[i] + t.col[i]) / 2
	}
	return out
}

// total sums f over all cells.
func (t crossTable) total(f func(i, j int) float64) float64 {
	sum := 0.0
	for i := range t.p {
		for j := range t.p {
			sum += f(i, j)
		}
	}
	return sum
}

// weightedKappa gives kappa with weights w, its null SE and its chance agreement.
func (t crossTable) weightedKappa(w weight) (kappa Coefficient, nullSE, chance float64) {
	k := len(t.p)
	rowMean, colMean := make([]float64, k), make([]float64, k) // mean weight of a category of one rater
	for i := range k {
		for j := range k {
			rowMean[i] += t.col[j] * w(i, j, k)
			colMean[i] += t.row[j] * w(j, i, k)
		}
	}
	observed := t.total(func(i, j int) float64 { return t.p[i][j] * w(i, j, k) })
	chance = t.total(func(i, j int) float64 { return t.row[i] * t.col[j] * w(i, j, k) })
	value := aboveChance(observed, chance)
	spread := t.total(func(i, j int) float64 {
		return t.p[i][j] * square(w(i, j, k)-(rowMean[i]+colMean[j])*(1-value))
	})
	nullSpread := t.total(func(i, j int) float64 {
		return t.row[i] * t.col[j] * square(w(i, j, k)-(rowMean[i]+colMean[j]))
	})
	se := func(variance float64) float64 {
		return math.Sqrt(math.Max(0, variance)/float64(t.n)) / (1 - chance)
	}
	return Coefficient{value, se(spread - square(value-chance*(1-value)))}, se(nullSpread - square(chance)), chance
}

func (t crossTable) ac1() Coefficient {
	k, q := float64(len(t.p)), t.meanMargin()
	chance := gwetChance(q)
	observed := t.observed()
	value := aboveChance(observed, chance)
	spread := t.total(func(i, j int) float64 {
		return t.p[i][j] * square(identityWeight(i, j, 0)-2*(1-value)*(1-(q[i]+q[j])/2)/(k-1))
	})
	variance := spread - square(observed-2*(1-value)*chance)
	return Coefficient{value, math.Sqrt(math.Max(0, variance)/float64(t.n)) / (1 - chance)}
}

// gwetChance is the chance agreement of AC1: sum q(1-q)/(k-1).
func gwetChance(q []float64) float64 {
	return (1 - sumOfSquares(q)) / float64(len(q)-1)
}
