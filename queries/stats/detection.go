package stats

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"
)

// Detection says how many units to inspect to find at least one of those nonconforming.
type Detection struct {
	SampleSize      int     // exact: the least that reaches the confidence
	Achieved        float64 // confidence at SampleSize
	CannonRoe       float64 // the approximation, not rounded
	CannonRoeNeeded int     // rounded up
	InfiniteLot     int     // whole units needed if the same share came from a lot without end
}

// DetectionSampleSize gives the units to inspect of a lot so that, with so many nonconforming in
// it, at least one is found with confidence conf.
//
// Exact: the least n with 1 - C(N-D,n)/C(N,n) >= conf. Approximation of Cannon and Roe (1982):
// (1 - (1-conf)^(1/D)) (N - (D-1)/2). Infinite lot: ln(1-conf) / ln(1-D/N), rounded up. Assumes units
// drawn at random and every nonconforming unit recognised when inspected; FreedomFromImperfectTest
// is for when it is not. Source: Cannon RM and Roe RT (1982) Livestock Disease Surveys. With none
// nonconforming there is nothing to find, which is an error.
func DetectionSampleSize(lot, nonconforming int, conf float64) (Detection, error) {
	if err := checkConf(conf); err != nil {
		return Detection{}, err
	}
	if lot < 1 || lot > MaxLot || nonconforming < 1 || nonconforming > lot {
		return Detection{}, fmt.Errorf("%d nonconforming in a lot of %d: give a lot of at most %d and from 1 unit to all of it",
			nonconforming, lot, MaxLot)
	}
	n, d, allowed := float64(lot), float64(nonconforming), 1-conf
	// A chance equal to the allowed one in exact numbers may come out a rounding error above it.
	const slack = 1 + 1e-12
	needed := 1 + sort.Search(lot-1, func(i int) bool {
		return missAll(lot, nonconforming, i+1, allowed) <= allowed*slack
	})
	approx := (1 - math.Pow(allowed, 1/d)) * (n - (d-1)/2)
	return Detection{
		SampleSize:      needed,
		Achieved:        1 - missAll(lot, nonconforming, needed, 0),
		CannonRoe:       approx,
		CannonRoeNeeded: roundUp(approx),
		InfiniteLot:     roundUp(math.Log(allowed) / math.Log1p(-d/n)),
	}, nil
}

// roundUp is the least whole number of units of at least x and 1, forgiving rounding errors.
func roundUp(x float64) int { return max(1, int(math.Ceil(x*(1-1e-12)))) }

// missAll is the chance that a sample has none of the marked units: C(N-D,n)/C(N,n), a product of
// min(n, D) shares. It stops early once the chance is below enough by a half.
func missAll(lot, marked, sample int, enough float64) float64 {
	few, many := min(marked, sample), max(marked, sample)
	if few+many > lot {
		return 0
	}
	chance := 1.0
	for i := range few {
		chance *= float64(lot-many-i) / float64(lot-i)
		if chance < enough/2 {
			break
		}
	}
	return chance
}

// FreedomInput describes a survey with a test that errs.
type FreedomInput struct {
	Population               int // units
	Marked                   int // nonconforming units if the design prevalence held
	Sample                   int // units tested, at random, without replacement
	Positives                int // positive tests, at most
	Sensitivity, Specificity float64
}

// Freedom is how well the survey tells a population at the design prevalence from a free one.
type Freedom struct {
	AtDesign        float64 // P(positives <= x) at the design prevalence
	HerdSensitivity float64 // 1 - AtDesign: chance of more positives than x
	IfFree          float64 // P(positives <= x) with none nonconforming: the herd specificity
}

// maxSample keeps the exact sum of FreedomFromImperfectTest within a few seconds.
const maxSample = 5000

// FreedomFromImperfectTest gives the chance of at most so many positive tests, exactly: the number
// of marked units in the sample is hypergeometric, and given y of them the positives are
// binomial(y, Se) + binomial(n-y, 1-Sp). Assumes tests independent given the state of the unit.
// Source: Cameron AR and Baldock FC (1998) Prev Vet Med 34:1-17.
func FreedomFromImperfectTest(in FreedomInput) (Freedom, error) {
	if err := in.check(); err != nil {
		return Freedom{}, err
	}
	d := newExactTable(in.Marked, in.Sample, in.Population, 1)
	sum := 0.0
	for y := max(0, in.Marked+in.Sample-in.Population); y <= min(in.Marked, in.Sample); y++ {
		if p := d.at(y); p > 1e-20 { // less cannot show in a sum of chances of 5000 terms
			sum += p * in.atMost(y)
		}
	}
	sum = min(1, sum)
	return Freedom{AtDesign: sum, HerdSensitivity: 1 - sum, IfFree: in.atMost(0)}, nil
}

func (in FreedomInput) check() error {
	isShare := func(p float64) bool { return p >= 0 && p <= 1 }
	switch {
	case in.Population < 1 || in.Population > MaxLot:
		return fmt.Errorf("population is %d: give from 1 to %d units", in.Population, MaxLot)
	case in.Marked < 0 || in.Marked > in.Population:
		return fmt.Errorf("%d nonconforming in a population of %d: give from none to all", in.Marked, in.Population)
	case in.Sample < 1 || in.Sample > min(in.Population, maxSample):
		return fmt.Errorf("a sample of %d from %d: give from 1 to %d units", in.Sample, in.Population, min(in.Population, maxSample))
	case in.Positives < 0 || in.Positives > in.Sample:
		return fmt.Errorf("%d positives in a sample of %d: give from none to all", in.Positives, in.Sample)
	case !isShare(in.Sensitivity) || !isShare(in.Specificity):
		return errors.New("sensitivity and specificity: give shares from 0 to 1")
	}
	return nil
}

// atMost is P(positives <= Positives) with marked of the sample nonconforming.
func (in FreedomInput) atMost(marked int) float64 {
	falsely := distuv.Binomial{N: float64(in.Sample - marked), P: 1 - in.Specificity}
	sum := 0.0
	for k := range min(marked, in.Positives) + 1 {
		sum += binomialProb(k, marked, in.Sensitivity) * falsely.CDF(float64(in.Positives-k))
	}
	return min(1, sum)
}

// binomialProb is P(X = k); the library's is NaN where p is 0 or 1.
func binomialProb(k, n int, p float64) float64 {
	switch {
	case p == 0 && k == 0, p == 1 && k == n:
		return 1
	case p == 0, p == 1:
		return 0
	}
	return distuv.Binomial{N: float64(n), P: p}.Prob(float64(k))
}
