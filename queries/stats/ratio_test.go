package stats

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// within tells whether |a-b| is at most tol, relative above 1; two NaN agree.
func within(a, b, tol float64) bool {
	return math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) <= tol*max(1, math.Abs(a), math.Abs(b))
}

// The exact limits are where the tails of the Poisson law leave (1-conf)/2: summed here term by
// term, apart from the gamma function that found them.
func TestGarwoodLimitsLeaveTheTail(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		observed := rapid.IntRange(1, 150).Draw(t, "observed")
		conf := rapid.Float64Range(0.5, 0.999).Draw(t, "conf")
		limits := GarwoodLimits(observed, conf)
		atMost := func(k int, mean float64) float64 {
			sum := 0.0
			for i := range k + 1 {
				sum += distuv.Poisson{Lambda: mean}.Prob(float64(i))
			}
			return sum
		}
		tail := (1 - conf) / 2
		if got := atMost(observed, limits.High); !within(got, tail, 1e-9) {
			t.Fatalf("upper limit leaves %v, want %v", got, tail)
		}
		if got := 1 - atMost(observed-1, limits.Low); !within(got, tail, 1e-9) {
			t.Fatalf("lower limit leaves %v, want %v", got, tail)
		}
	})
}

func TestObservedToExpectedProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		observed := rapid.IntRange(0, 500).Draw(t, "observed")
		expected := rapid.Float64Range(0.01, 500).Draw(t, "expected")
		conf := rapid.Float64Range(0.5, 0.999).Draw(t, "conf")
		r, err := ObservedToExpected(observed, expected, conf)
		if err != nil {
			t.Fatal(err)
		}
		if !(r.ExactRatio.Low <= r.Ratio && r.Ratio <= r.ExactRatio.High) {
			t.Fatalf("exact limits %v do not hold the ratio %v", r.ExactRatio, r.Ratio)
		}
		if r.MidPRatio.Low < r.ExactRatio.Low-1e-9 || r.MidPRatio.High > r.ExactRatio.High+1e-9 {
			t.Fatalf("mid-p limits %v are not within the exact %v", r.MidPRatio, r.ExactRatio)
		}
		equal := math.Exp(poissonLogProb(observed, expected))
		if !within(r.PUpper+r.PLower, 1+equal, 1e-9) {
			t.Fatalf("tails %v + %v do not overlap in P(equal) %v", r.PUpper, r.PLower, equal)
		}
		// The exact limits and the exact tails are one test seen from two sides.
		tail := (1 - conf) / 2
		if (r.ExactRatio.Low > 1) != (r.PUpper < tail) && !within(r.PUpper, tail, 1e-7) {
			t.Fatalf("lower limit %v disagrees with p %v", r.ExactRatio.Low, r.PUpper)
		}
		if r.PMinLike < min(r.PUpper, r.PLower)-1e-12 || r.PMinLike > 1 {
			t.Fatalf("minimum likelihood p %v below its own tail", r.PMinLike)
		}
	})
}

// The counts no likelier than the observed one, added one by one.
func TestPoissonMinLikeAddsRareCounts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		observed := rapid.IntRange(0, 60).Draw(t, "observed")
		mean := rapid.Float64Range(0.1, 40).Draw(t, "mean")
		law := distuv.Poisson{Lambda: mean}
		bar := law.Prob(float64(observed)) * (1 + 1e-7)
		want := 0.0
		for k := range 400 {
			if p := law.Prob(float64(k)); p <= bar {
				want += p
			}
		}
		if got := poissonMinLike(observed, mean); !within(got, want, 1e-9) {
			t.Fatalf("got %v, want %v", got, want)
		}
	})
}

func TestPoissonBinomialOfEqualProbabilitiesIsBinomial(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 80).Draw(t, "n")
		q := rapid.Float64Range(0, 1).Draw(t, "p")
		observed := rapid.IntRange(0, n).Draw(t, "observed")
		p := make([]float64, n)
		for i := range p {
			p[i] = q
		}
		got, err := PoissonBinomial(p, observed)
		if err != nil {
			t.Fatal(err)
		}
		law := distuv.Binomial{N: float64(n), P: q}
		for k, mass := range got.PMF {
			if want := law.Prob(float64(k)); q > 0 && q < 1 && !within(mass, want, 1e-11) {
				t.Fatalf("P(%d) = %v, want %v", k, mass, want)
			}
		}
		if !within(got.Variance, law.Variance(), 1e-10) {
			t.Fatalf("variance %v, want %v", got.Variance, law.Variance())
		}
	})
}

func TestPoissonBinomialIgnoresOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SliceOfN(rapid.Float64Range(0, 1), 1, 40).Draw(t, "p")
		shuffled := rapid.Permutation(p).Draw(t, "shuffled")
		a, _ := PoissonBinomial(p, 1)
		b, err := PoissonBinomial(shuffled, 1)
		if err != nil || !within(a.PUpper, b.PUpper, 1e-12) || !within(a.Expected, b.Expected, 1e-12) {
			t.Fatalf("%v and %v (%v)", a, b, err)
		}
	})
}

func TestRatioRefuses(t *testing.T) {
	nan := math.NaN()
	calls := map[string]func() error{
		"negative observed": func() error { _, err := ObservedToExpected(-1, 2, 0.95); return err },
		"negative expected": func() error { _, err := ObservedToExpected(1, -2, 0.95); return err },
		"NaN expected":      func() error { _, err := ObservedToExpected(1, nan, 0.95); return err },
		"infinite expected": func() error { _, err := ObservedToExpected(1, math.Inf(1), 0.95); return err },
		"conf 1":            func() error { _, err := ObservedToExpected(1, 2, 1); return err },
		"NaN conf":          func() error { _, err := ObservedToExpected(1, 2, nan); return err },
		"no p":              func() error { _, err := PoissonBinomial(nil, 0); return err },
		"p above 1":         func() error { _, err := PoissonBinomial([]float64{1.1}, 0); return err },
		"NaN p":             func() error { _, err := PoissonBinomial([]float64{nan}, 0); return err },
		"x above n":         func() error { _, err := PoissonBinomial([]float64{0.5}, 2); return err },
		"too many p":        func() error { _, err := PoissonBinomial(make([]float64, MaxPoissonBinomial+1), 2); return err },
	}
	for name, call := range calls {
		if call() == nil {
			t.Errorf("%s: no error", name)
		}
	}
}
