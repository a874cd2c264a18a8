package stats

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// Tied values are likely in a draw from few whole numbers.
func drawSeries(t *rapid.T) []float64 {
	whole := rapid.SliceOfN(rapid.IntRange(-6, 6), 2, 40).Draw(t, "x")
	return floatsOf(whole)
}

func mapped(x []float64, f func(float64) float64) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = f(v)
	}
	return out
}

func TestMannKendallProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := drawSeries(t)
		a, err := MannKendall(x, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		if a.SlopeLimits.Low > a.Slope || a.SlopeLimits.High < a.Slope {
			t.Fatalf("limits %v do not hold the slope %v", a.SlopeLimits, a.Slope)
		}
		if !(a.P >= 0 && a.P <= 1) && a.VarS != 0 {
			t.Fatalf("p %v", a.P)
		}
		back := slices.Clone(x)
		slices.Reverse(back)
		if b, _ := MannKendall(back, 0.95); b.S != -a.S || !within(b.Slope, -a.Slope, 1e-12) || !within(b.P, a.P, 1e-12) || !within(b.KendallP, a.KendallP, 1e-12) {
			t.Fatalf("backwards: %v, forwards %v", b, a)
		}
		// Only ranks count for the test; the slope follows the scale.
		if b, _ := MannKendall(mapped(x, math.Exp), 0.95); b.S != a.S || b.VarS != a.VarS || !within(b.TauB, a.TauB, 1e-12) {
			t.Fatalf("after exp: %v, before %v", b, a)
		}
		if b, _ := MannKendall(mapped(x, func(v float64) float64 { return 4*v - 8 }), 0.95); !within(b.Slope, 4*a.Slope, 1e-12) || !within(b.Intercept, 4*a.Intercept-8, 1e-12) {
			t.Fatalf("after 4x-8: %v, before %v", b, a)
		}
	})
}

// orders counts S over every order of n values.
func orders(n int) map[int]int {
	found := map[int]int{}
	var walk func(done, left []int)
	walk = func(done, left []int) {
		if len(left) == 0 {
			s := 0
			for i := range done {
				for j := i + 1; j < n; j++ {
					s += sign(float64(done[j] - done[i]))
				}
			}
			found[s]++
		}
		for i := range left {
			walk(append(slices.Clone(done), left[i]), slices.Delete(slices.Clone(left), i, i+1))
		}
	}
	walk(nil, indices(n))
	return found
}

func TestExactKendallCountsAllOrders(t *testing.T) {
	for n := 2; n <= 7; n++ {
		found, all := orders(n), 0
		for _, c := range found {
			all += c
		}
		for s := range found {
			tail := 0
			for other, c := range found {
				if other >= max(s, -s) {
					tail += c
				}
			}
			want := min(1, 2*float64(tail)/float64(all))
			if got := exactKendallP(s, n); !within(got, want, 1e-12) {
				t.Errorf("n %d, S %d: got %v, want %v", n, s, got, want)
			}
		}
		mean2 := 0.0 // the variance of S, from the same count
		for s, c := range found {
			mean2 += float64(s*s*c) / float64(all)
		}
		if v, _ := kendallVariance(floatsOf(indices(n))); !within(v, mean2, 1e-12) {
			t.Errorf("n %d: variance %v, counted %v", n, v, mean2)
		}
	}
}

func TestMannKendallShortAndConstant(t *testing.T) {
	two, err := MannKendall([]float64{1, 2}, 0.95)
	if err != nil || two.S != 1 || two.Z != 0 || two.P != 1 || two.Slope != 1 || !math.IsNaN(two.SlopeLimits.Low) {
		t.Errorf("two values: %+v (%v)", two, err)
	}
	flat, err := MannKendall([]float64{3, 3, 3, 3}, 0.95)
	if err != nil || flat.S != 0 || flat.Slope != 0 || flat.Intercept != 3 || !math.IsNaN(flat.P) || !math.IsNaN(flat.TauB) || !math.IsNaN(flat.KendallP) {
		t.Errorf("constant: %+v (%v)", flat, err)
	}
	for _, x := range [][]float64{nil, {1}, {1, math.NaN()}, {1, math.Inf(1)}, {1, 1e200}, make([]float64, MaxTrendLength+1)} {
		if _, err := MannKendall(x, 0.95); err == nil {
			t.Errorf("%.3v: no error", x)
		}
	}
	if _, err := MannKendall([]float64{1, 2, 3}, 0); err == nil {
		t.Error("conf 0: no error")
	}
}

func TestQuantileType7(t *testing.T) {
	// R: quantile(c(1, 2, 4, 8), c(0, .1, .5, .9, 1)) gives 1, 1.3, 3, 6.8, 8.
	for share, want := range map[float64]float64{0: 1, 0.1: 1.3, 0.5: 3, 0.9: 6.8, 1: 8} {
		if got := quantileType7([]float64{1, 2, 4, 8}, share); !within(got, want, 1e-12) {
			t.Errorf("share %v: got %v, want %v", share, got, want)
		}
	}
}
