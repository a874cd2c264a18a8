package stats

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func drawSquare(t *rapid.T, k, high int) [][]int {
	table := make([][]int, k)
	for i := range table {
		table[i] = rapid.SliceOfN(rapid.IntRange(0, high), k, k).Draw(t, "row")
	}
	table[0][0]++
	return table
}

func TestAgreementProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.IntRange(2, 5).Draw(t, "categories")
		table := drawSquare(t, k, 30)
		turned := make([][]int, k)
		for i := range turned {
			for j := range table {
				turned[i] = append(turned[i], table[j][i])
			}
		}
		r, s := must(AgreementOfTwo(table, 0.95))(t), must(AgreementOfTwo(turned, 0.95))(t)
		for _, v := range []float64{r.Kappa.Value, r.Linear.Value, r.Quadratic.Value, r.AC1.Value, r.ScottPi, r.BrennanPrediger, r.Alpha} {
			if v > 1+1e-12 {
				t.Fatalf("above 1: %+v", r)
			}
		}
		closeTo(t, "AC1 transposed", s.AC1.Value, r.AC1.Value, 1e-9)
		closeTo(t, "AC1 SE transposed", s.AC1.SE, r.AC1.SE, 1e-9)
		if math.IsNaN(r.Kappa.Value) {
			return
		}
		closeTo(t, "kappa transposed", s.Kappa.Value, r.Kappa.Value, 1e-9)
		closeTo(t, "SE transposed", s.SE, r.SE, 1e-9)
		if r.Kappa.Low > r.Kappa.Value || r.Kappa.Value > r.Kappa.High {
			t.Fatalf("interval does not hold its value: %+v", r.Kappa)
		}
		if k == 2 {
			closeTo(t, "linear for two categories", r.Linear.Value, r.Kappa.Value, 1e-9)
			closeTo(t, "quadratic SE for two categories", r.Quadratic.SE, r.SE, 1e-9)
		}
	})
}

func TestFullAgreementIsOne(t *testing.T) {
	r := must(AgreementOfTwo([][]int{{5, 0, 0}, {0, 7, 0}, {0, 0, 9}}, 0.95))(t)
	for _, v := range []float64{r.Kappa.Value, r.Linear.Value, r.Quadratic.Value, r.AC1.Value, r.ScottPi, r.BrennanPrediger, r.Alpha} {
		closeTo(t, "coefficient", v, 1, 1e-12)
	}
	closeTo(t, "SE", r.SE, 0, 1e-9)
}

// TestKappaErrorBySampling compares both SEs with the spread of kappa over drawn tables: the null SE for
// independent raters, the other for the carcinoma table's own shares.
func TestKappaErrorBySampling(t *testing.T) {
	carcinoma := [][]int{{22, 2, 2, 0}, {5, 7, 14, 0}, {0, 2, 36, 0}, {0, 1, 17, 10}}
	want := must(AgreementOfTwo(carcinoma, 0.95))(t)
	shares := must(newCrossTable(carcinoma))(t)
	independent := make([][]float64, 4)
	for i := range independent {
		for j := range 4 {
			independent[i] = append(independent[i], shares.row[i]*shares.col[j])
		}
	}
	closeTo(t, "SE", spreadOfKappa(t, shares.p)/want.SE, 1, 0.06)
	closeTo(t, "null SE", spreadOfKappa(t, independent)/want.NullSE, 1, 0.06)
}

// spreadOfKappa is the standard deviation of kappa over 4000 tables of 118 drawn with fixed seeds.
func spreadOfKappa(t *testing.T, shares [][]float64) float64 {
	t.Helper()
	const draws, size = 4000, 118
	state := uint64(1)
	var sum, squares float64
	for range draws {
		table := [][]int{make([]int, 4), make([]int, 4), make([]int, 4), make([]int, 4)}
		for range size {
			state = state*6364136223846793005 + 1442695040888963407
			u, cell := float64(state>>11)/(1<<53), 0
			for cell < 15 && u >= shares[cell/4][cell%4] {
				u -= shares[cell/4][cell%4]
				cell++
			}
			table[cell/4][cell%4]++
		}
		k := must(AgreementOfTwo(table, 0.95))(t).Kappa.Value
		sum, squares = sum+k, squares+k*k
	}
	return math.Sqrt(squares/draws - square(sum/draws))
}

func TestFleissProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k, raters := rapid.IntRange(2, 4).Draw(t, "categories"), rapid.IntRange(2, 5).Draw(t, "raters")
		n := rapid.IntRange(1, 8).Draw(t, "subjects")
		counts, ratings := make([][]int, n), make([][]float64, raters)
		for i := range n {
			counts[i] = make([]int, k)
			for r := range raters {
				c := rapid.IntRange(0, k-1).Draw(t, "category")
				counts[i][c]++
				ratings[r] = append(ratings[r], float64(c))
			}
		}
		f := must(FleissKappa(counts, 0))(t)
		alpha := must(KrippendorffAlpha(ratings))(t)
		if math.IsNaN(f.Kappa) {
			if !math.IsNaN(alpha.Nominal) {
				t.Fatalf("kappa cannot be said but alpha is %v", alpha.Nominal)
			}
			return
		}
		closeTo(t, "nominal alpha by either road", alpha.Nominal, f.KrippendorffNominal, 1e-9)
		if f.Kappa > 1 || f.AC1 > 1 || !(f.SE1979 >= 0) {
			t.Fatalf("out of range: %+v", f)
		}
		weighted, weight := 0.0, 0.0 // kappa is the mean of category kappas weighted by p(1-p)
		for j, p := range f.Proportions {
			if p > 0 {
				weighted, weight = weighted+p*(1-p)*f.CategoryKappa[j], weight+p*(1-p)
			}
		}
		closeTo(t, "mean of category kappas", weighted/weight, f.Kappa, 1e-9)
	})
}

// TestAlphaByCoincidences recomputes alpha by the coincidence matrix as the source lays it out.
func TestAlphaByCoincidences(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 8).Draw(t, "units")
		ratings := make([][]float64, rapid.IntRange(2, 4).Draw(t, "raters"))
		for r := range ratings {
			for range n {
				v := float64(rapid.IntRange(0, 4).Draw(t, "rating"))
				if v == 0 {
					v = math.NaN()
				}
				ratings[r] = append(ratings[r], v)
			}
		}
		got := must(KrippendorffAlpha(ratings))(t)
		if math.IsNaN(got.Nominal) {
			return
		}
		o := coincidences(ratings)
		closeTo(t, "nominal", got.Nominal, alphaBy(o, func(c, k int) float64 {
			if c == k {
				return 0
			}
			return 1
		}), 1e-9)
		closeTo(t, "interval", got.Interval, alphaBy(o, func(c, k int) float64 { return square(float64(c - k)) }), 1e-9)
		closeTo(t, "ordinal", got.Ordinal, alphaBy(o, func(c, k int) float64 {
			c, k = min(c, k), max(c, k)
			sum := -(total(o[c]) + total(o[k])) / 2
			for g := c; g <= k; g++ {
				sum += total(o[g])
			}
			return square(sum)
		}), 1e-9)
	})
}

// coincidences counts ordered pairs of values 1..4 within units, weighted 1/(m-1).
func coincidences(ratings [][]float64) [][]float64 {
	o := [][]float64{nil, make([]float64, 5), make([]float64, 5), make([]float64, 5), make([]float64, 5)}
	for u := range ratings[0] {
		m := 0.0
		for _, row := range ratings {
			if !math.IsNaN(row[u]) {
				m++
			}
		}
		for i, first := range ratings {
			for j, second := range ratings {
				if i != j && !math.IsNaN(first[u]) && !math.IsNaN(second[u]) {
					o[int(first[u])][int(second[u])] += 1 / (m - 1)
				}
			}
		}
	}
	return o
}

func total(row []float64) float64 {
	sum := 0.0
	for _, v := range row {
		sum += v
	}
	return sum
}

func alphaBy(o [][]float64, difference func(c, k int) float64) float64 {
	var within, between, n float64
	for c := 1; c <= 4; c++ {
		n += total(o[c])
		for k := 1; k <= 4; k++ {
			within += o[c][k] * difference(c, k)
			between += total(o[c]) * total(o[k]) * difference(c, k)
		}
	}
	return 1 - (n-1)*within/between
}

func TestMcNemarProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b, c := rapid.IntRange(0, 300).Draw(t, "b"), rapid.IntRange(0, 300).Draw(t, "c")
		r, s := must(McNemar(Table2x2{B: b, C: c}))(t), must(McNemar(Table2x2{B: c, C: b}))(t)
		if b+c == 0 {
			return
		}
		closeTo(t, "exact swapped", s.Exact, r.Exact, 1e-12)
		closeTo(t, "mid swapped", s.Mid, r.Mid, 1e-12)
		if !slices.IsSorted([]float64{0, r.Mid, r.Exact, 1}) || r.Continuity.Statistic > r.Plain.Statistic {
			t.Fatalf("out of order: %+v", r)
		}
	})
	// By hand: P(X<=1) for 8 tosses is 9/256.
	closeTo(t, "one in eight", must(McNemar(Table2x2{B: 1, C: 7}))(t).Exact, 18.0/256, 1e-12)
}
