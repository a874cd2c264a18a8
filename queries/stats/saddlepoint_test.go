package stats

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// TestUpperNearExact holds the saddlepoint tail against the exact distribution (convolution, Hong 2013):
// its mid-p, P(X > x) + P(X = x)/2, within half of it at 20 trials and more.
func TestUpperNearExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SliceOfN(rapid.Float64Range(0.02, 0.5), 20, 80).Draw(t, "p")
		sum, mean := WeightedSum{Clump: 1}, 0.0
		for _, x := range p {
			sum.Trials = append(sum.Trials, WeightedTrials{1, x, 1})
			mean += x
		}
		observed := rapid.IntRange(0, len(p)).Draw(t, "observed")
		exact, err := PoissonBinomial(p, observed)
		if err != nil {
			t.Fatal(err)
		}
		want := exact.PUpper - exact.PMF[observed]/2
		if want < 1e-4 || want > 0.9 || observed == 0 || observed == len(p) {
			return
		}
		got, err := sum.Upper(float64(observed) - mean)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(math.Log(got/want)) > 0.405 {
			t.Fatalf("%d of %d: got %g, exact mid-p %g", observed, len(p), got, want)
		}
	})
}

// TestUpperNormalPart: with nothing but a normal part the tail is the normal one.
func TestUpperNormalPart(t *testing.T) {
	s := WeightedSum{Trials: []WeightedTrials{{N: 5, P: 0.5}}, Rest: 4, Clump: 1}
	for u, want := range map[float64]float64{-2: 0.841344746, 0: 0.5, 2: 0.158655254, 6: 0.001349898} { // standard normal table
		got, err := s.Upper(u)
		if err != nil || math.Abs(got-want) > 1e-8 {
			t.Errorf("at %g: %g, %v; want %g", u, got, err, want)
		}
	}
}

// TestClumps: trials that succeed four at a time are a quarter as many trials of fourfold weight.
func TestClumps(t *testing.T) {
	single, err := WeightedSum{Trials: []WeightedTrials{{N: 80, P: 0.1, Weight: 1}}, Clump: 4}.Upper(9)
	if err != nil {
		t.Fatal(err)
	}
	whole, err := WeightedSum{Trials: []WeightedTrials{{N: 20, P: 0.1, Weight: 4}}, Clump: 1}.Upper(9)
	if err != nil || math.Abs(single-whole) > 1e-12 {
		t.Errorf("%g and %g, %v", single, whole, err)
	}
}

func TestUpperEnds(t *testing.T) {
	s := WeightedSum{Trials: []WeightedTrials{{N: 3, P: 0.1, Weight: 1}}, Clump: 1}
	if got, err := s.Upper(2.7); err != nil || math.Abs(got-0.0005) > 1e-6 {
		t.Errorf("all of three: %g, %v; want half of 0.001", got, err)
	}
	if got, err := s.Upper(-0.3); err != nil || math.Abs(got-(1-0.9*0.9*0.9/2)) > 1e-6 {
		t.Errorf("none of three: %g, %v", got, err)
	}
	for _, bad := range []WeightedSum{{Clump: 1}, {Rest: 1, Clump: 0.5}, {Rest: -1, Clump: 1}, {Trials: []WeightedTrials{{1, 2, 1}}, Clump: 1}, {Rest: math.NaN(), Clump: 1}} {
		if p, err := bad.Upper(1); err == nil {
			t.Errorf("%+v: accepted, %g", bad, p)
		}
	}
}
