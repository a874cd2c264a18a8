package stats

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// closeTo fails unless got is within a relative tolerance of want (absolute below 1).
func closeTo(t rapid.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*math.Max(1, math.Abs(want))) {
		t.Fatalf("%s: got %v, want %v", what, got, want)
	}
}

// must unwraps a result the test gave valid input for.
func must[T any](v T, err error) func(rapid.TB) T {
	return func(t rapid.TB) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

func drawTable(t *rapid.T, low, high int) Table2x2 {
	cell := rapid.IntRange(low, high)
	return Table2x2{cell.Draw(t, "a"), cell.Draw(t, "b"), cell.Draw(t, "c"), cell.Draw(t, "d")}
}

func TestOneStratumIsThePlainTest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := drawTable(t, 1, 200)
		r := must(CochranMantelHaenszel([]Table2x2{x}, 0.95))(t)
		a, b, c, d, n := float64(x.A), float64(x.B), float64(x.C), float64(x.D), float64(x.total())
		pearson := n * square(a*d-b*c) / ((a + b) * (c + d) * (a + c) * (b + d))
		closeTo(t, "statistic", r.Uncorrected.Statistic, pearson*(n-1)/n, 1e-9)
		closeTo(t, "odds ratio", r.OddsRatio.Value, a*d/(b*c), 1e-12)
		closeTo(t, "log variance", r.LogVariance, 1/a+1/b+1/c+1/d, 1e-9) // RBG of one table is Woolf's variance
		closeTo(t, "homogeneity", r.BreslowDay.Statistic, 0, 1e-9)
		if !math.IsNaN(r.BreslowDay.P) {
			t.Fatalf("one stratum has no homogeneity p, got %v", r.BreslowDay.P)
		}
	})
}

func TestStrataProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var strata, turned []Table2x2
		for range rapid.IntRange(1, 5).Draw(t, "strata") {
			x := drawTable(t, 0, 60)
			strata, turned = append(strata, x), append(turned, Table2x2{x.C, x.D, x.A, x.B})
		}
		r := must(CochranMantelHaenszel(strata, 0.9))(t)
		swapped := must(CochranMantelHaenszel(turned, 0.9))(t)
		if !math.IsNaN(r.LogVariance) {
			if !(r.OddsRatio.Low <= r.OddsRatio.Value && r.OddsRatio.Value <= r.OddsRatio.High) {
				t.Fatalf("%+v does not hold its value", r.OddsRatio)
			}
			closeTo(t, "inverse odds ratio", swapped.OddsRatio.Value*r.OddsRatio.Value, 1, 1e-9)
			closeTo(t, "homogeneity under swap", swapped.BreslowDay.Statistic, r.BreslowDay.Statistic, 1e-6)
		}
		if !math.IsNaN(r.Uncorrected.Statistic) {
			if r.Continuity.Statistic > r.Uncorrected.Statistic || r.Tarone.Statistic > r.BreslowDay.Statistic {
				t.Fatalf("a correction raised a statistic: %+v", r)
			}
			closeTo(t, "statistic under swap", swapped.Uncorrected.Statistic, r.Uncorrected.Statistic, 1e-9)
		}
	})
}

func TestEmptyStrataAddNothing(t *testing.T) {
	full := []Table2x2{{16, 11, 5, 20}, {12, 16, 7, 19}}
	want := must(CochranMantelHaenszel(full, 0.95))(t)
	got := must(CochranMantelHaenszel(append(full, Table2x2{}, Table2x2{0, 4, 0, 9}, Table2x2{1, 0, 0, 0}), 0.95))(t)
	if len(got.OddsRatio.Warnings) != 1 || got.BreslowDay != want.BreslowDay || got.Woolf != want.Woolf || got.Uncorrected != want.Uncorrected {
		t.Errorf("got %+v, want %+v and one warning", got, want)
	}
}

func TestFittedCellKeepsTheOddsRatio(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := drawTable(t, 1, 1000)
		odds := math.Exp(rapid.Float64Range(-12, 12).Draw(t, "log odds"))
		a := fittedCell(x, odds)
		r1, c1 := float64(x.A+x.B), float64(x.A+x.C)
		b, c, d := r1-a, c1-a, float64(x.D-x.A)+a
		if a <= 0 || b <= 0 || c <= 0 || d <= 0 {
			t.Fatalf("cell outside its margins: %v %v %v %v", a, b, c, d)
		}
		// the gap is measured on a*d = odds*b*c, where the smaller cells lose digits by subtraction
		closeTo(t, "odds", (a*d-odds*b*c)/(a*d+odds*b*c), 0, 1e-6)
	})
}

func TestTrendProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.IntRange(2, 6).Draw(t, "groups")
		var events, rest, totals []int
		var scores, moved []float64
		for i := range k {
			e, n := rapid.IntRange(0, 50).Draw(t, "events"), rapid.IntRange(1, 50).Draw(t, "others")
			events, rest, totals = append(events, e), append(rest, n), append(totals, e+n)
			scores, moved = append(scores, float64(i)), append(moved, 7+3*float64(i))
		}
		r := must(CochranArmitage(events, totals, scores))(t)
		linear := must(CochranArmitage(events, totals, moved))(t)
		others := must(CochranArmitage(rest, totals, nil))(t)
		if math.IsNaN(r.Z) {
			return
		}
		closeTo(t, "z under a linear change of score", linear.Z, r.Z, 1e-9)
		closeTo(t, "z of the other outcome", others.Z, -r.Z, 1e-9)
		closeTo(t, "parts of Pearson", r.Trend.Statistic+r.Departure.Statistic, r.Pearson.Statistic, 1e-9)
		if k == 2 {
			closeTo(t, "two groups", r.Trend.Statistic, r.Pearson.Statistic, 1e-9)
		}
		if !(r.P >= 0 && r.P <= 1) || r.G2.Statistic < 0 {
			t.Fatalf("out of range: %+v", r)
		}
	})
}

func TestFisherProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := drawTable(t, 0, 30)
		if x.total() == 0 {
			return
		}
		r := must(FisherExact(x, 0.95))(t)
		turned := must(FisherExact(Table2x2{x.A, x.C, x.B, x.D}, 0.95))(t)
		swapped := must(FisherExact(Table2x2{x.C, x.D, x.A, x.B}, 0.95))(t)
		for _, p := range []float64{r.TwoSided, r.Greater, r.Less, r.Point, r.MidGreater, r.MidLess, r.MidDoubled, r.MidMinLike} {
			if !(p >= 0 && p <= 1) {
				t.Fatalf("p outside 0..1: %+v", r)
			}
		}
		closeTo(t, "tails", r.Greater+r.Less-r.Point, 1, 1e-12)
		closeTo(t, "transposed", turned.TwoSided, r.TwoSided, 1e-12)
		closeTo(t, "rows swapped", swapped.TwoSided, r.TwoSided, 1e-12)
		closeTo(t, "rows swapped, one side", swapped.Less, r.Greater, 1e-12)
		if r.TwoSided < math.Min(r.Greater, r.Less)-1e-12 || r.MidMinLike > r.TwoSided {
			t.Fatalf("two-sided out of order: %+v", r)
		}
		e := r.ConditionalOddsRatio
		if e.Low > e.Value || e.Value > e.High {
			t.Fatalf("interval does not hold its value: %+v", e)
		}
	})
}

// TestConditionalLimitsSolveTheirEquations puts the limits back: at each the tail is 2.5 %, and at the
// estimate the mean is the count.
func TestConditionalLimitsSolveTheirEquations(t *testing.T) {
	for _, x := range []Table2x2{{3, 1, 1, 3}, {2, 15, 10, 3}, {1, 9, 11, 3}, {40, 9, 6, 45}, {1, 400, 300, 2}} {
		e := must(FisherExact(x, 0.95))(t).ConditionalOddsRatio
		given := func(odds float64) exactTable { return newExactTable(x.A+x.B, x.A+x.C, x.total(), odds) }
		closeTo(t, "upper tail at the lower limit", given(e.Low).above(x.A), 0.025, 1e-12)
		closeTo(t, "lower tail at the upper limit", given(e.High).below(x.A), 0.025, 1e-12)
		closeTo(t, "mean at the estimate", given(e.Value).mean(), float64(x.A), 1e-12)
	}
	// By hand for the tea tasting: P(A<=3) = 1 - w^4/(1+16w+36w^2+16w^3+w^4) = 0.025.
	w := must(FisherExact(Table2x2{3, 1, 1, 3}, 0.95))(t).ConditionalOddsRatio.High
	closeTo(t, "tea tasting", 1-w*w*w*w/(1+16*w+36*w*w+16*w*w*w+w*w*w*w), 0.025, 1e-12)
}

func TestHypergeometricByBinomials(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		population := rapid.IntRange(1, 40).Draw(t, "population")
		marked := rapid.IntRange(0, population).Draw(t, "marked")
		sample := rapid.IntRange(0, population).Draw(t, "sample")
		observed := rapid.IntRange(max(0, marked+sample-population), min(marked, sample)).Draw(t, "observed")
		r := must(Hypergeometric(population, marked, sample, observed))(t)
		byHand := choose(marked, observed) * choose(population-marked, sample-observed) / choose(population, sample)
		closeTo(t, "point", r.Point/byHand, 1, 1e-11)
		closeTo(t, "tails", r.Upper+r.Lower-r.Point, 1, 1e-12)
	})
}

func choose(n, k int) float64 {
	c := 1.0
	for i := range k {
		c = c * float64(n-i) / float64(i+1)
	}
	return c
}

func TestBrentRoot(t *testing.T) {
	closeTo(t, "cube root", brentRoot(func(x float64) float64 { return x*x*x - 2 }, 0, 2, 0), math.Cbrt(2), 1e-15)
	closeTo(t, "root at an end", brentRoot(func(x float64) float64 { return x }, 0, 2, 0), 0, 0)
	closeTo(t, "steep", brentRoot(func(x float64) float64 { return math.Log(x / 1e-9) }, 1e-200, 1, 0)*1e9, 1, 1e-12)
	if got := brentRoot(func(x float64) float64 { return 1 + x*x }, -1, 1, 0); !math.IsNaN(got) {
		t.Errorf("no root, got %v", got)
	}
}

// TestChiSquareTail checks against erfc at 1 degree of freedom and exp(-x/2) at 2, where the tail is
// elementary, far out.
func TestChiSquareTail(t *testing.T) {
	for _, x := range []float64{0, 0.1, 3.841459, 50, 280, 1000} {
		closeTo(t, "2 degrees", chiSquaredP(x, 2)/math.Exp(-x/2), 1, 1e-10)
		closeTo(t, "1 degree", chiSquaredP(x, 1)/math.Erfc(math.Sqrt(x/2)), 1, 1e-12)
	}
	if !math.IsNaN(chiSquaredP(1, 0)) || !math.IsNaN(chiSquaredP(math.NaN(), 3)) || chiSquaredP(math.Inf(1), 3) != 0 {
		t.Error("edges of the tail")
	}
}
