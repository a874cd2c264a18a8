package stats

import (
	"errors"
	"fmt"
	"math"
)

// A Ladder is what stepping up told of points of one cluster that all stand for Weight points: they
// did not show at step Unshown or below (-1: not tried), and showed at step Shown (the number of
// steps: never). Steps count from 0.
type Ladder struct {
	Cluster        int
	Unshown, Shown int
	Points         int
	Weight         float64
}

// jackknifeGroups is how many groups clusters are dealt to for the jackknife of ShownBy.
const jackknifeGroups = 20

// ShownBy estimates, for each of a number of steps, the share of points that show by that step when
// one steps up to it and stops at the first that shows. A point's own step lies above Unshown and at
// or below Shown; the estimate is the nonparametric maximum of the likelihood of such intervals
// (Turnbull 1976, JRSS B 38:290-295, by his self-consistency iteration). For ladders that all start at
// the first step it is the estimate of Kaplan & Meier (1958), and for points tried at one step each
// the isotonic regression of the shares that showed.
//
// The variance is that of the jackknife that leaves out one of 20 groups of clusters (fewer where
// there are fewer clusters), dealt in the order of their numbers (Kott 2001, J Official Stat
// 17:521-526); intervals are as in ClusterProportion with groups for clusters. The second slice holds
// for each step the n of Kish (1965) of the points known to have shown by it or not.
//
// It assumes that a point which shows at a step would show at any higher one, that points which were
// not taken further are like those that were, and weights that are known. It returns an error for no
// steps or points, a step out of range, and weights that are not positive.
func ShownBy(steps int, ladders []Ladder, conf float64) ([]ClusterEstimate, []float64, error) {
	if err := checkLadders(steps, ladders); err != nil {
		return nil, nil, fmt.Errorf("shown by: %w", err)
	}
	if err := checkConf(conf); err != nil {
		return nil, nil, fmt.Errorf("shown by: %w", err)
	}
	clusters := map[int]bool{}
	for _, l := range ladders {
		clusters[l.Cluster] = true
	}
	groups := min(len(clusters), jackknifeGroups)
	shares := uniform(steps + 1)
	turnbull(shares, bracketsOf(steps, ladders, groups, -1))
	variance := jackknife(steps, ladders, groups, shares)
	out, n := make([]ClusterEstimate, steps), make([]float64, steps)
	for i, p := range cumulate(shares) {
		n[i] = kishKnown(ladders, i)
		out[i] = newClusterEstimate(p, variance[i], n[i], groups, conf)
	}
	return out, n, nil
}

func checkLadders(steps int, ladders []Ladder) error {
	if steps < 1 || len(ladders) == 0 {
		return errors.New("no steps or no points; give at least one of each")
	}
	for i, l := range ladders {
		if l.Cluster < 0 || l.Unshown < -1 || l.Unshown >= l.Shown || l.Shown > steps || l.Points < 1 || !(l.Weight > 0) || math.IsInf(l.Weight, 0) {
			return fmt.Errorf("ladder %d is %+v; give steps 0 to %d in order, points and a positive weight", i, l, steps-1)
		}
	}
	return nil
}

func uniform(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = 1 / float64(n)
	}
	return out
}

// brackets holds summed weights by Unshown+1 and Shown.
type brackets [][]float64

// bracketsOf sums the ladders but for those of one group of clusters.
func bracketsOf(steps int, ladders []Ladder, groups, without int) brackets {
	b := make(brackets, steps+1)
	for i := range b {
		b[i] = make([]float64, steps+1)
	}
	for _, l := range ladders {
		if without < 0 || l.Cluster%groups != without {
			b[l.Unshown+1][l.Shown] += l.Weight * float64(l.Points)
		}
	}
	return b
}

const (
	turnbullRounds    = 2000
	turnbullTolerance = 1e-9
)

// turnbull moves shares, one a step and one for never, to the maximum of the likelihood.
func turnbull(shares []float64, b brackets) {
	for range turnbullRounds {
		next := make([]float64, len(shares))
		var total float64
		for from := range b {
			for to := from; to < len(shares); to++ {
				spread(next[from:to+1], shares[from:to+1], b[from][to])
				total += b[from][to]
			}
		}
		if total == 0 {
			return // nothing to learn from
		}
		var change float64
		for i, x := range next {
			change = max(change, math.Abs(x/total-shares[i]))
			shares[i] = x / total
		}
		if change < turnbullTolerance {
			return
		}
	}
}

// spread deals weight w to the steps of a bracket in proportion to their shares.
func spread(next, shares []float64, w float64) {
	var sum float64
	for _, s := range shares {
		sum += s
	}
	for i, s := range shares {
		if sum > 0 {
			next[i] += w * s / sum
		} else {
			next[i] += w / float64(len(shares))
		}
	}
}

// turnbullDigits is what is left of a share that tends to 0 when the search ends.
const turnbullDigits = 1e-6

// cumulate adds up shares step by step; sums that differ from 0 or 1 by what the search leaves are
// those.
func cumulate(shares []float64) []float64 {
	out := make([]float64, len(shares)-1)
	var sum float64
	for i := range out {
		sum += shares[i]
		switch {
		case sum < turnbullDigits:
			out[i] = 0
		case sum > 1-turnbullDigits:
			out[i] = 1
		default:
			out[i] = sum
		}
	}
	return out
}

func jackknife(steps int, ladders []Ladder, groups int, full []float64) []float64 {
	variance := make([]float64, steps)
	if groups < 2 {
		for i := range variance {
			variance[i] = math.NaN()
		}
		return variance
	}
	whole := cumulate(full)
	for g := range groups {
		// A start with a little everywhere, so that no share is held at 0 by where the whole ended.
		shares := make([]float64, len(full))
		for i, s := range full {
			shares[i] = 0.95*s + 0.05/float64(len(full))
		}
		turnbull(shares, bracketsOf(steps, ladders, groups, g))
		for i, p := range cumulate(shares) {
			variance[i] += float64(groups-1) / float64(groups) * (p - whole[i]) * (p - whole[i])
		}
	}
	return variance
}

// kishKnown is Kish's n of the points known to have shown by step i or not.
func kishKnown(ladders []Ladder, i int) float64 {
	var sum, squares float64
	for _, l := range ladders {
		if l.Shown <= i || l.Unshown >= i {
			sum += l.Weight * float64(l.Points)
			squares += l.Weight * l.Weight * float64(l.Points)
		}
	}
	if squares == 0 {
		return 0
	}
	return sum * sum / squares
}
