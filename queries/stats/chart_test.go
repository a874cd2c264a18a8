package stats

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestPChartProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var part, sizes []int
		for range rapid.IntRange(1, 20).Draw(t, "subgroups") {
			n := rapid.IntRange(1, 100).Draw(t, "size")
			part, sizes = append(part, rapid.IntRange(0, n).Draw(t, "part")), append(sizes, n)
		}
		c := must(NewPChart(part, sizes, 3))(t)
		for i, l := range c.Limits {
			if !(0 <= l.Low && l.Low <= c.Centre && c.Centre <= l.High && l.High <= 1) {
				t.Fatalf("limits %+v do not hold the centre %v", l, c.Centre)
			}
			if slices.Contains(c.Beyond, i+1) != (math.Abs(c.Z[i]) > 3) && math.Abs(math.Abs(c.Z[i])-3) > 1e-9 {
				t.Fatalf("subgroup %d flagged %v at z %v", i+1, c.Beyond, c.Z[i])
			}
		}
		wider := must(NewPChart(part, sizes, 4))(t)
		for _, i := range wider.Beyond {
			if !slices.Contains(c.Beyond, i) {
				t.Fatalf("wider limits flag more: %v, %v", wider.Beyond, c.Beyond)
			}
		}
	})
}

func TestEWMAProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-1e6, 1e6), 1, 30).Draw(t, "x")
		lambda := rapid.Float64Range(0.01, 1).Draw(t, "lambda")
		c := must(NewEWMA(EWMAInput{X: x, Target: 0, Sigma: 1, Lambda: lambda, L: 3}))(t)
		byHand := 0.0 // the average as one weighted sum of all values
		for i := range x {
			byHand += lambda * math.Pow(1-lambda, float64(len(x)-1-i)) * x[i]
		}
		closeTo(t, "last average", c.EWMA[len(x)-1]/1e6, byHand/1e6, 1e-9)
		for i, l := range c.Exact {
			if l.High > c.Asymptotic.High || i > 0 && l.High < c.Exact[i-1].High {
				t.Fatalf("exact limits do not widen towards the asymptotic ones: %+v", c)
			}
		}
		for _, i := range c.SignalsAsymptotic {
			if !slices.Contains(c.SignalsExact, i) {
				t.Fatalf("a signal outside the wider limits only: %+v", c)
			}
		}
	})
}

func TestEWMAOfWeightOneIsAShewhartChart(t *testing.T) {
	c := must(NewEWMA(EWMAInput{X: []float64{1, 4, 2}, Target: 0, Sigma: 1, Lambda: 1, L: 3}))(t)
	if !slices.Equal(c.EWMA, []float64{1, 4, 2}) || c.Exact[0] != (Interval{-3, 3}) || !slices.Equal(c.SignalsExact, []int{2}) {
		t.Errorf("got %+v", c)
	}
}

func TestCUSUMProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-100, 100), 1, 40).Draw(t, "x")
		minus := make([]float64, len(x))
		for i, v := range x {
			minus[i] = -v
		}
		nan := math.NaN()
		c := must(NewCUSUM(CUSUMInput{X: x, Target: 0, Sigma: nan, K: 0.5, H: 5}))(t)
		m := must(NewCUSUM(CUSUMInput{X: minus, Target: 0, Sigma: nan, K: 0.5, H: 5}))(t)
		if !slices.Equal(c.Upper, m.Lower) || c.FirstUpper != m.FirstLower {
			t.Fatalf("not symmetric: %+v, %+v", c, m)
		}
		for i := range x {
			best := 0.0 // Page's form: the largest sum of x-K over any stretch that ends here
			for from, sum := i, 0.0; from >= 0; from-- {
				sum += x[from] - 0.5
				best = math.Max(best, sum)
			}
			closeTo(t, "upper", c.Upper[i], best, 1e-9)
		}
	})
}

// TestRunLengthTabled checks against Montgomery, Introduction to Statistical Quality Control, table of
// the ARL of a two-sided CUSUM with k = 1/2 (from memory): h = 4: 168, 74.2, 26.6, 8.38; h = 5: 465, 139, 38.0,
// 10.4 at shifts 0, 0.25, 0.5, 1.
func TestRunLengthTabled(t *testing.T) {
	tables := map[float64][]float64{4: {168, 74.2, 26.6, 8.38}, 5: {465, 139, 38.0, 10.4}}
	for h, want := range tables {
		for i, r := range must(CUSUMRunLength(0.5, h, []float64{0, 0.25, 0.5, 1}))(t) {
			closeTo(t, "run length", r.TwoSided/want[i], 1, 0.005)
		}
	}
}

// TestRunLengthBySimulation drives the tabular chart itself with normal values.
func TestRunLengthBySimulation(t *testing.T) {
	const runs = 20000
	want := must(CUSUMRunLength(0.5, 3, []float64{1}))(t)[0]
	state, sum := uint64(7), 0.0
	uniform := func() float64 {
		state = state*6364136223846793005 + 1442695040888963407
		return (float64(state>>11) + 0.5) / (1 << 53)
	}
	for range runs {
		upper, lower, n := 0.0, 0.0, 0
		for upper <= 3 && lower <= 3 {
			z := math.Sqrt(-2*math.Log(uniform()))*math.Cos(2*math.Pi*uniform()) + 1
			upper, lower, n = math.Max(0, upper+z-0.5), math.Max(0, lower-z-0.5), n+1
		}
		sum += float64(n)
	}
	closeTo(t, "mean run", sum/runs/want.TwoSided, 1, 0.02)
}

func TestRunLengthProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k, h := rapid.Float64Range(0, 1.5).Draw(t, "k"), rapid.Float64Range(0.1, 6).Draw(t, "h")
		shift := rapid.Float64Range(0, 4).Draw(t, "shift")
		r := must(CUSUMRunLength(k, h, []float64{shift, -shift, shift + 0.5}))(t)
		if r[0].TwoSided > r[0].OneSided*(1+1e-9) || r[2].OneSided > r[0].OneSided*(1+1e-9) {
			t.Fatalf("out of order: %+v", r)
		}
		if !math.IsNaN(r[0].TwoSided) {
			closeTo(t, "either direction", r[1].TwoSided, r[0].TwoSided, 1e-9)
		}
	})
	// With h next to 0 a run ends at the first value above k: 1/Phi(-k).
	closeTo(t, "no memory", must(CUSUMRunLength(1, 1e-9, []float64{0}))(t)[0].OneSided, 1/(0.5*math.Erfc(math.Sqrt(0.5))), 1e-6)
	if r := must(CUSUMRunLength(1, 20, []float64{-3}))(t)[0]; !math.IsNaN(r.OneSided) || math.IsNaN(r.TwoSided) {
		t.Errorf("a run without end beside a short one: %+v", r)
	}
}

func TestGChartProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		gaps := rapid.SliceOfN(rapid.IntRange(0, 500), 1, 40).Draw(t, "gaps")
		c := must(NewGChart(gaps, 3))(t)
		if c.Limits.Low > c.Mean || c.Mean > c.Limits.High || !slices.IsSorted(c.Quantiles[:]) {
			t.Fatalf("out of order: %+v", c)
		}
		for i, q := range GChartProbabilities { // the smallest k whose share reaches q
			k := float64(c.Quantiles[i])
			if reached := 1 - math.Pow(1-c.P, k+1); reached < q-1e-9 {
				t.Fatalf("quantile %v of %v reaches %v only", q, k, reached)
			}
			if short := 1 - math.Pow(1-c.P, k); k > 0 && short >= q+1e-9 {
				t.Fatalf("quantile %v is too high at %v", q, k)
			}
		}
	})
}
