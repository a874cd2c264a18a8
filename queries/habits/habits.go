// Package habits judges how a person does things against how the others do them.
//
// In: counts. Out: tests with their sizes. It never reads a record, and never says why a habit differs.
package habits

import (
	"errors"
	"fmt"
	"math"

	"scanledger/queries/stats"
)

// Cases are chances and how many of them were breaches.
type Cases struct{ Chances, Breaches int }

// less divides both counts by a design effect, breaches rounded up to a whole one and never above chances.
func (c Cases) less(effect float64) Cases {
	n := max(1, int(math.Round(float64(c.Chances)/effect)))
	return Cases{n, min(n, int(math.Ceil(float64(c.Breaches)/effect)))}
}

// Excess is the chance of so many breaches among one person's cases, or more, were the person like the
// others: Fisher's exact test (1935), one-sided, after both counts are divided by the design effect, as
// cases of one site are alike (Rao and Scott 1992). floor is the rate of breaches that chance alone gives;
// the others count as having at least that. Without cases on either side there is no test: NaN.
func Excess(own, others Cases, effect, floor float64) (float64, error) {
	if own.Chances == 0 || others.Chances == 0 {
		return math.NaN(), nil
	}
	for _, c := range []Cases{own, others} {
		if c.Breaches < 0 || c.Breaches > c.Chances {
			return 0, fmt.Errorf("%d breaches of %d chances: give at most as many", c.Breaches, c.Chances)
		}
	}
	if math.IsNaN(effect) || effect < 1 {
		effect = 1
	}
	a, b := own.less(effect), others.less(effect)
	a.Breaches = int(float64(own.Breaches) / effect) // rounded down: no excess is made by rounding
	b.Breaches = max(b.Breaches, int(math.Ceil(floor*float64(b.Chances))))
	tails, err := stats.Hypergeometric(a.Chances+b.Chances, a.Breaches+b.Breaches, a.Chances, a.Breaches)
	return tails.Upper, err
}

// Digits are how often each last digit was written.
type Digits [10]int

// Count is how many digits there are.
func (d Digits) Count() (n int) {
	for _, x := range d {
		n += x
	}
	return n
}

// Less is d without o.
func (d Digits) Less(o Digits) Digits {
	for i := range d {
		d[i] -= o[i]
	}
	return d
}

// Plus is d and o together.
func (d Digits) Plus(o Digits) Digits {
	for i := range d {
		d[i] += o[i]
	}
	return d
}

// Preference says how uneven someone's last digits are.
type Preference struct {
	Even, Others stats.ChiSquareTest // against even shares; against the others
	Size         float64             // of the unevenness: Cohen's w, the root of chi-square by count (Cohen 1988)
	P            float64             // the larger of both p values: uneven, and unlike the others (intersection-union, Berger 1982)
}

var evenShares = []float64{1, 1, 1, 1, 1, 1, 1, 1, 1, 1}

// Prefer judges own digits against even shares and against those of the others. Both must have some.
func Prefer(own, others Digits) (Preference, error) {
	even, errEven := stats.GoodnessOfFit(own[:], evenShares)
	against, errAgainst := stats.HomogeneityTest([][]int{own[:], others[:]})
	if err := errors.Join(errEven, errAgainst); err != nil {
		return Preference{}, err
	}
	p := Preference{Even: even, Others: against.Pearson, Size: math.Sqrt(even.Statistic / float64(own.Count())), P: math.Max(even.P, against.Pearson.P)}
	if against.Pearson.DF == 0 && !math.IsNaN(even.P) { // all of both end in one digit: nobody differs
		p.P = 1
	}
	return p, nil
}

// oftenest is how far a digit must lie above the others' share, in standard errors, to be named.
const oftenest = 3

// TooOften lists the digits that own has far above the others' shares, by adjusted residual (Haberman 1973).
func TooOften(own, others Digits) []int {
	n, m := float64(own.Count()), float64(others.Count())
	var out []int
	for i := range own {
		share := float64(own[i]+others[i]) / (n + m)
		se := math.Sqrt(share * (1 - share) * (1/n + 1/m))
		if se > 0 && (float64(own[i])/n-float64(others[i])/m)/se > oftenest {
			out = append(out, i)
		}
	}
	return out
}
