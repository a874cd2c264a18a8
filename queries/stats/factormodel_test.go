package stats

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// TestFactorsWithoutHold: with wide spreads the fit is the maximum likelihood one, which for one factor is
// each level's own share.
func TestFactorsWithoutHold(t *testing.T) {
	m := FactorModel{Levels: []int{3}, Spread: []float64{1000}}
	counts := [][2]float64{{3, 10}, {20, 50}, {1, 8}}
	for level, c := range counts {
		m.Rows = append(m.Rows, FactorRow{At: []int{level}, Events: c[0], Trials: c[1]})
	}
	fit, err := FitFactors(m)
	if err != nil {
		t.Fatal(err)
	}
	for level, c := range counts {
		if got := expit(fit.Constant + fit.Effects[0][level]); math.Abs(got-c[0]/c[1]) > 1e-5 {
			t.Errorf("level %d: %v, want %v", level, got, c[0]/c[1])
		}
	}
}

// TestFactorsSeparated: a level of events only, and one never seen, stay finite; the unseen one is average.
func TestFactorsSeparated(t *testing.T) {
	fit, err := FitFactors(FactorModel{Levels: []int{3}, Spread: []float64{1}, Rows: []FactorRow{
		{At: []int{0}, Events: 9, Trials: 9}, {At: []int{1}, Events: 0, Trials: 9}}})
	if err != nil {
		t.Fatal(err)
	}
	e := fit.Effects[0]
	if !(e[0] > 0.5 && e[0] < 5) || math.Abs(e[0]+e[1]) > 1e-6 || math.Abs(e[2]) > 1e-9 || math.Abs(fit.Cov.At(3, 3)-1) > 1e-9 {
		t.Errorf("effects %v, variance of the unseen level %v", e, fit.Cov.At(3, 3))
	}
}

// TestFactorsScore: at the fit the penalised score is 0, whatever the data.
func TestFactorsScore(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	for range 50 {
		m := FactorModel{Levels: []int{3, 4}, Spread: []float64{1, 0.5}}
		for range 30 {
			n := float64(r.IntN(20))
			m.Rows = append(m.Rows, FactorRow{At: []int{r.IntN(3), r.IntN(4)}, Events: math.Floor(n * r.Float64()), Trials: n, Offset: r.NormFloat64()})
		}
		fit, err := FitFactors(m)
		if err != nil {
			t.Fatal(err)
		}
		for level, effect := range fit.Effects[1] {
			score := -effect / 0.25
			for _, row := range m.Rows {
				if row.At[1] == level {
					score += row.Events - row.Trials*expit(fit.Constant+fit.Effects[0][row.At[0]]+effect+row.Offset)
				}
			}
			if math.Abs(score) > 1e-6 {
				t.Fatalf("score %v at level %d", score, level)
			}
		}
	}
}

func TestFactorsRefuse(t *testing.T) {
	for name, m := range map[string]FactorModel{
		"no trials":    {Levels: []int{1}, Spread: []float64{1}},
		"no spread":    {Levels: []int{1}, Spread: []float64{0}, Rows: []FactorRow{{At: []int{0}, Trials: 1}}},
		"level beyond": {Levels: []int{1}, Spread: []float64{1}, Rows: []FactorRow{{At: []int{1}, Trials: 1}}},
		"many events":  {Levels: []int{1}, Spread: []float64{1}, Rows: []FactorRow{{At: []int{0}, Events: 2, Trials: 1}}},
	} {
		if _, err := FitFactors(m); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

// TestMidPScore against tails summed by hand: of 3 trials at 1/2, P(3) = 1/8, so the mid-p tail is 1/16.
func TestMidPScore(t *testing.T) {
	for _, c := range []struct {
		x, n int
		p    float64
		want float64 // normal tail
	}{{3, 3, 0.5, 1. / 16}, {0, 3, 0.5, 1. / 16}, {2, 2, 0.1, 0.005}} {
		z, err := BinomialMidPScore(c.x, c.n, c.p)
		if err != nil || math.Abs(math.Erfc(math.Abs(z)/math.Sqrt2)/2-c.want) > 1e-12 || (z > 0) != (float64(c.x) > float64(c.n)*c.p) {
			t.Errorf("%+v: z %v, %v", c, z, err)
		}
	}
	if z, err := BinomialMidPScore(9000, 9000, 0.01); err != nil || z != mostScore {
		t.Errorf("far out: %v, %v", z, err)
	}
	if _, err := BinomialMidPScore(4, 3, 0.5); err == nil {
		t.Error("4 of 3 accepted")
	}
}

// TestExponentialTail finds the limit of exponential values, which is known: -log p.
func TestExponentialTail(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	values := make([]float64, 20000)
	for i := range values {
		values[i] = r.ExpFloat64()
	}
	tail, err := FitExponentialTail(values, 0.2)
	if err != nil || math.Abs(tail.Limit(0.001)+math.Log(0.001)) > 0.2 || math.Abs(tail.Excess-1) > 0.05 {
		t.Errorf("limit %v, %+v, %v", tail.Limit(0.001), tail, err)
	}
	if _, err := FitExponentialTail(values[:20], 0.2); err == nil {
		t.Error("4 values in the tail accepted")
	}
}

// TestGammaShrinkage: no spread means 1, much spread the ratio itself, and always between the two.
func TestGammaShrinkage(t *testing.T) {
	for _, c := range []struct{ variance, low, high float64 }{{0, 1, 1}, {1e9, 2.4999, 2.5}, {0.1, 1.7, 1.8}} {
		if got, err := GammaShrinkage(25, 10, c.variance); err != nil || got < c.low || got > c.high {
			t.Errorf("variance %v: %v, %v", c.variance, got, err)
		}
	}
	if _, err := GammaShrinkage(-1, 10, 1); err == nil {
		t.Error("negative count accepted")
	}
}

// TestFactorsInverse: the covariance is the inverse of the penalised information, and a search that begins at the fit of other
// rows ends where one from nothing does, for none, one and several factors.
func TestFactorsInverse(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 6))
	for _, levels := range [][]int{{}, {4}, {2, 7}, {5, 3, 5}} {
		m := FactorModel{Levels: levels, Spread: make([]float64, len(levels))}
		for f := range levels {
			m.Spread[f] = 0.5 + r.Float64()
		}
		for range 60 {
			row := FactorRow{At: make([]int, len(levels)), Trials: float64(1 + r.IntN(20)), Offset: 0.3 * r.NormFloat64()}
			for f, n := range levels {
				row.At[f] = r.IntN(n)
			}
			row.Events = math.Floor(row.Trials * r.Float64())
			m.Rows = append(m.Rows, row)
		}
		fit, err := FitFactors(m)
		if err != nil {
			t.Fatal(err)
		}
		first, columns := make([]int, len(levels)), 1
		for f, n := range levels {
			first[f], columns = columns, columns+n
		}
		information := mat.NewDense(columns, columns, nil)
		information.Set(0, 0, 1/square(constantSpread))
		for f, n := range levels {
			for level := range n {
				information.Set(first[f]+level, first[f]+level, 1/square(m.Spread[f]))
			}
		}
		for _, row := range m.Rows {
			eta, at := fit.Constant+row.Offset, []int{0}
			for f, level := range row.At {
				eta, at = eta+fit.Effects[f][level], append(at, first[f]+level)
			}
			for _, j := range at {
				for _, k := range at {
					information.Set(j, k, information.At(j, k)+row.Trials*expit(eta)*expit(-eta))
				}
			}
		}
		var product mat.Dense
		product.Mul(information, fit.Cov)
		for j := range columns {
			for k := range columns {
				want := 0.0
				if j == k {
					want = 1
				}
				if math.Abs(product.At(j, k)-want) > 1e-9 {
					t.Fatalf("levels %v: information times covariance has %v at %d, %d", levels, product.At(j, k), j, k)
				}
			}
		}
		part := m
		part.Rows = m.Rows[5:]
		if part.From = &fit; len(levels) > 0 {
			wrong := fit
			wrong.Effects = wrong.Effects[1:]
			if _, err := FitFactors(FactorModel{Levels: m.Levels, Spread: m.Spread, Rows: m.Rows, From: &wrong}); err == nil {
				t.Errorf("levels %v: a start with other factors was taken", levels)
			}
		}
		warm, err := FitFactors(part)
		if err != nil {
			t.Fatal(err)
		}
		part.From = nil
		cold, err := FitFactors(part)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(warm.Constant-cold.Constant) > 1e-12 || !mat.EqualApprox(warm.Cov, cold.Cov, 1e-12) {
			t.Errorf("levels %v: constant %v from another fit, %v from nothing", levels, warm.Constant, cold.Constant)
		}
	}
}
