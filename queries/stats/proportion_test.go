package stats

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

var confidences = []float64{0.5, 0.8, 0.9, 0.95, 0.99, 0.999}

func drawCounts(t *rapid.T) (x, n int) {
	n = rapid.IntRange(1, 5000).Draw(t, "n")
	return rapid.IntRange(0, n).Draw(t, "x"), n
}

var proportionIntervals = map[string]func(x, n int, conf float64) (Estimate, error){
	"Wilson": Wilson, "Clopper-Pearson": ClopperPearson,
}

func estimateOf(t interface{ Fatal(...any) }, f func(int, int, float64) (Estimate, error), x, n int, conf float64) Estimate {
	e, err := f(x, n, conf)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func TestProportionIntervalProperties(t *testing.T) {
	for name, f := range proportionIntervals {
		t.Run(name, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				x, n := drawCounts(t)
				conf := rapid.SampledFrom(confidences).Draw(t, "conf")
				e := estimateOf(t, f, x, n, conf)
				if !(0 <= e.Low && e.Low <= e.Value && e.Value <= e.High && e.High <= 1) {
					t.Fatalf("%d/%d: %+v", x, n, e)
				}
				if m := estimateOf(t, f, n-x, n, conf); math.Abs(m.Low-(1-e.High)) > 1e-12 || math.Abs(m.High-(1-e.Low)) > 1e-12 {
					t.Fatalf("relabelling events: %+v and %+v", e, m)
				}
				if more := estimateOf(t, f, 2*x, 2*n, conf); more.High-more.Low >= e.High-e.Low {
					t.Fatalf("twice the data is no narrower: %+v and %+v", e, more)
				}
				if wider := estimateOf(t, f, x, n, (1+conf)/2); wider.High-wider.Low <= e.High-e.Low {
					t.Fatalf("more confidence is no wider: %+v and %+v", e, wider)
				}
			})
		})
	}
}

// The exact interval covers at least conf for every true proportion (Clopper & Pearson 1934).
func TestClopperPearsonCovers(t *testing.T) {
	const conf = 0.9
	for _, n := range []int{1, 5, 17} {
		for p := 0.01; p < 1; p += 0.01 {
			var covered float64
			for x := range n + 1 {
				if e := estimateOf(t, ClopperPearson, x, n, conf); e.Low <= p && p <= e.High {
					covered += distuv.Binomial{N: float64(n), P: p}.Prob(float64(x))
				}
			}
			if covered < conf-1e-9 {
				t.Errorf("n %d, p %.2f: covers %.4f", n, p, covered)
			}
		}
	}
}

// Without events the exact upper limit is 1-(α/2)^(1/n); Wilson's is z²/(n+z²).
func TestNoEventsClosedForm(t *testing.T) {
	for _, n := range []int{1, 3, 59, 1000, 100_000_000} {
		e := estimateOf(t, ClopperPearson, 0, n, 0.95)
		near(t, "exact", e.High, -math.Expm1(math.Log(0.025)/float64(n)), 1e-13)
		z := normalCritical(0.95)
		near(t, "score", estimateOf(t, Wilson, 0, n, 0.95).High, z*z/(float64(n)+z*z), 1e-14)
	}
}

func TestBetaQuantileInverts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := math.Exp(rapid.Float64Range(-2, 14).Draw(t, "log a"))
		b := math.Exp(rapid.Float64Range(-2, 14).Draw(t, "log b"))
		p := rapid.Float64Range(1e-6, 0.999).Draw(t, "p")
		x := betaQuantile(p, a, b)
		// Where the function is steeper than the spacing of floats only neighbours can be asked for.
		lo, hi := mathext.RegIncBeta(a, b, max(0, x*(1-1e-12))), mathext.RegIncBeta(a, b, min(1, x*(1+1e-12)))
		if lo > p*(1+1e-9) || hi < p*(1-1e-9) {
			t.Fatalf("I(%g; %g, %g) is %g to %g, not %g", x, a, b, lo, hi, p)
		}
	})
}

// Student's t at 97.5 %: 12.706, 2.145, 1.984 at 1, 14 and 100 degrees of freedom (any table).
func TestTCritical(t *testing.T) {
	for df, want := range map[float64]float64{1: 12.706, 14: 2.145, 100: 1.984, 1e9: 1.960} {
		near(t, "t", tCritical(0.95, df), want, 5e-4)
	}
	if !math.IsNaN(tCritical(0.95, 0)) {
		t.Error("t without degrees of freedom was said")
	}
}

func TestNewcombeProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x1, n1 := drawCounts(t)
		x2, n2 := drawCounts(t)
		d, err := NewcombeDifference(x1, n1, x2, n2, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		if !(-1 <= d.Low && d.Low <= d.Value && d.Value <= d.High && d.High <= 1) {
			t.Fatalf("%+v", d)
		}
		if r, _ := NewcombeDifference(x2, n2, x1, n1, 0.95); math.Abs(r.Low+d.High) > 1e-12 || math.Abs(r.High+d.Low) > 1e-12 {
			t.Fatalf("order of the samples: %+v and %+v", d, r)
		}
		if more, _ := NewcombeDifference(2*x1, 2*n1, 2*x2, 2*n2, 0.95); more.High-more.Low >= d.High-d.Low {
			t.Fatalf("twice the data is no narrower")
		}
	})
}

func TestProportionRefuses(t *testing.T) {
	for _, c := range []struct {
		x, n int
		conf float64
	}{{-1, 2, 0.95}, {0, -1, 0.95}, {3, 2, 0.95}, {1, 2, 0}, {1, 2, 1}, {1, 2, math.NaN()}} {
		for name, f := range proportionIntervals {
			if e, err := f(c.x, c.n, c.conf); err == nil {
				t.Errorf("%s accepted %+v: %+v", name, c, e)
			}
		}
		if d, err := NewcombeDifference(1, 2, c.x, c.n, c.conf); err == nil {
			t.Errorf("difference accepted %+v: %+v", c, d)
		}
	}
	e, err := Wilson(0, 0, 0.95)
	if err != nil || !math.IsNaN(e.Value) || !math.IsNaN(e.Low) || len(e.Warnings) == 0 {
		t.Errorf("nothing observed: %+v, %v", e, err)
	}
}

func TestPresentProportion(t *testing.T) {
	inf := math.Inf(1)
	for _, c := range []struct {
		name       string
		p, n, df   float64
		ci         Interval
		want       Verdict
		complement bool
	}{
		{"few units", 0.5, 29.9, inf, Interval{0.49, 0.51}, Hold, false},
		{"narrow", 0.02, 900, inf, Interval{0.01, 0.06}, Show, false},
		{"narrow though relatively wide", 0.01, 400, inf, Interval{0.001, 0.05}, Show, false},
		{"wide", 0.5, 40, inf, Interval{0.34, 0.66}, Hold, false},
		{"between, relatively wide", 0.06, 60, inf, Interval{0.02, 0.12}, Hold, false},
		{"between, relatively narrow", 0.2, 60, inf, Interval{0.11, 0.32}, Show, false},
		{"complement doubtful", 0.94, 60, inf, Interval{0.88, 0.98}, Show, true},
		{"no events", 0, 100, inf, Interval{0, 0.036}, Review, false},
		{"no events, few units", 0, 20, inf, Interval{0, 0.17}, Hold, false},
		{"all events", 1, 100, inf, Interval{0.90, 1}, Review, false},
		{"few clusters", 0.2, 60, 7, Interval{0.11, 0.32}, Review, false},
		{"enough clusters", 0.2, 60, 8, Interval{0.11, 0.32}, Show, false},
		{"nothing", math.NaN(), math.NaN(), inf, Interval{math.NaN(), math.NaN()}, Hold, false},
		{"no effective n", 0.2, math.NaN(), inf, Interval{0.19, 0.21}, Hold, false},
	} {
		got := PresentProportion(c.p, c.n, c.df, c.ci)
		if got.Verdict != c.want || got.ComplementDoubtful != c.complement {
			t.Errorf("%s: %+v", c.name, got)
		}
		if plain := got.Verdict == Show && !got.ComplementDoubtful; plain != (len(got.Reasons) == 0) {
			t.Errorf("%s: reasons %q", c.name, got.Reasons)
		}
	}
}
