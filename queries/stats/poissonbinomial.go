package stats

import (
	"errors"
	"fmt"
	"math"
)

// MaxPoissonBinomial bounds the number of probabilities of one PoissonBinomial, whose work grows
// with its square.
const MaxPoissonBinomial = 10_000

// PoissonBinomialTest is how a count stands among independent trials with unequal probabilities.
type PoissonBinomialTest struct {
	Expected, Variance float64   // sum p, sum p(1-p)
	PMF                []float64 // P(X = k) for k = 0..len(p)
	PUpper             float64   // P(X >= observed)
	Z                  float64   // (observed-Expected)/sqrt(Variance); NaN at variance 0
}

// PoissonBinomial gives the exact distribution of the number of events in independent trials with
// probabilities p, by convolution (Hodges & Le Cam 1960 name the law; convolution as in Hong 2013,
// Comput Stat Data Anal 59:41-51), and where observed falls in it. It returns an error for an
// empty p, a p outside 0 to 1, and an observed below 0 or above len(p).
func PoissonBinomial(p []float64, observed int) (PoissonBinomialTest, error) {
	if err := checkPoissonBinomial(p, observed); err != nil {
		return PoissonBinomialTest{}, err
	}
	t := PoissonBinomialTest{PMF: make([]float64, 1, len(p)+1)}
	t.PMF[0] = 1
	for _, q := range p {
		t.Expected += q
		t.Variance += q * (1 - q)
		t.PMF = append(t.PMF, 0)
		for k := len(t.PMF) - 1; k > 0; k-- {
			t.PMF[k] = t.PMF[k]*(1-q) + t.PMF[k-1]*q
		}
		t.PMF[0] *= 1 - q
	}
	for k := len(p); k >= observed; k-- {
		t.PUpper += t.PMF[k]
	}
	t.PUpper = min(1, t.PUpper)
	t.Z = quotient(float64(observed)-t.Expected, math.Sqrt(t.Variance))
	return t, nil
}

func checkPoissonBinomial(p []float64, observed int) error {
	if len(p) == 0 {
		return errors.New("no expected probabilities: give one for each trial")
	}
	if len(p) > MaxPoissonBinomial {
		return fmt.Errorf("%d expected probabilities: give at most %d, or their sum as expected", len(p), MaxPoissonBinomial)
	}
	for i, q := range p {
		if !(q >= 0 && q <= 1) {
			return fmt.Errorf("expected probability %d is %v: give a share from 0 to 1", i+1, q)
		}
	}
	if observed < 0 || observed > len(p) {
		return fmt.Errorf("observed is %d of %d trials: give a count from 0 to the number of trials", observed, len(p))
	}
	return nil
}
