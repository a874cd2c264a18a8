package stats

import (
	"errors"
	"fmt"
	"math"
)

// TrendTest is what ordered groups say about a linear trend of a share.
type TrendTest struct {
	Z         float64       // positive when the share rises with the score
	P         float64       // two-sided, of Z
	Trend     ChiSquareTest // Z squared
	Mantel    ChiSquareTest // (N-1) r^2, the form with denominator N-1
	Pearson   ChiSquareTest // any difference between the groups
	G2        ChiSquareTest // the same by likelihood ratio
	Departure ChiSquareTest // Pearson less Trend: what a straight line leaves over
	Slope     float64       // change of the share for one unit of score, least squares
}

// CochranArmitage tests a linear trend of events/totals over scores.
//
// Z = sum e(s-sbar) / sqrt(p(1-p) sum n(s-sbar)^2) with p the pooled share and sbar the mean score by
// subject (Cochran 1954; Armitage 1955); Mantel (1963) has N-1 in place of N. Scores nil stands for
// 1, 2, ...; their unit is the caller's. Assumes independent subjects.
//
// Groups without subjects are left out of the degrees of freedom. When the pooled share is 0 or 1
// nothing can be said and all is NaN but Slope; when all scores are equal the trend is NaN.
func CochranArmitage(events, totals []int, scores []float64) (TrendTest, error) {
	if scores == nil {
		for i := range events {
			scores = append(scores, float64(i+1))
		}
	}
	if err := checkTrend(events, totals, scores); err != nil {
		return TrendTest{}, err
	}
	groups, n, hits := 0, 0, 0
	for i := range totals {
		n, hits = n+totals[i], hits+events[i]
		if totals[i] > 0 {
			groups++
		}
	}
	share := float64(hits) / float64(n)
	cross, spread := scoreSums(events, totals, scores, share)
	variance := share * (1 - share)
	z := cross / math.Sqrt(variance*spread)
	pearson, g2 := groupTests(events, totals, share)
	trend := square(z)
	out := TrendTest{
		Z:         z,
		P:         normalP(z),
		Trend:     chiSquareTest(trend, 1),
		Mantel:    chiSquareTest(trend*float64(n-1)/float64(n), 1),
		Pearson:   chiSquareTest(pearson, groups-1),
		G2:        chiSquareTest(g2, groups-1),
		Departure: chiSquareTest(math.Max(0, pearson-trend), max(groups-2, 0)),
		Slope:     cross / spread,
	}
	return out, nil
}

func checkTrend(events, totals []int, scores []float64) error {
	if len(events) < 2 || len(events) != len(totals) || len(events) != len(scores) {
		return fmt.Errorf("%d events, %d totals, %d scores: give the same number of each, at least 2",
			len(events), len(totals), len(scores))
	}
	if err := errors.Join(checkShares("events", events, "totals", totals), checkFinite("scores", scores...)); err != nil {
		return err
	}
	if sumCounts(totals) == 0 {
		return errors.New("totals: all are 0: give at least one group with subjects")
	}
	return nil
}

// scoreSums gives sum e(s-sbar) and sum n(s-sbar)^2, both NaN when the scores in use are all equal.
func scoreSums(events, totals []int, scores []float64, share float64) (cross, spread float64) {
	var weighted, n float64
	low, high := math.Inf(1), math.Inf(-1)
	for i, s := range scores {
		if totals[i] > 0 {
			low, high = math.Min(low, s), math.Max(high, s)
			weighted, n = weighted+s*float64(totals[i]), n+float64(totals[i])
		}
	}
	if low == high {
		return math.NaN(), math.NaN()
	}
	centre := weighted / n
	for i, s := range scores {
		total := float64(totals[i])
		cross += (float64(events[i]) - share*total) * (s - centre)
		spread += total * square(s-centre)
	}
	return cross, spread
}

// groupTests gives Pearson's statistic and the likelihood ratio of equal shares.
func groupTests(events, totals []int, share float64) (pearson, g2 float64) {
	if share == 0 || share == 1 {
		return math.NaN(), math.NaN()
	}
	for i := range events {
		e, n := float64(events[i]), float64(totals[i])
		if n == 0 {
			continue
		}
		pearson += square(e-n*share) / (n * share * (1 - share))
		g2 += 2 * (xLogXOver(e, n*share) + xLogXOver(n-e, n*(1-share)))
	}
	return pearson, math.Max(0, g2)
}

// xLogXOver is x log(x/y), 0 at x = 0.
func xLogXOver(x, y float64) float64 {
	if x == 0 {
		return 0
	}
	return x * math.Log(x/y)
}
