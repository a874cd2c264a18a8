package stats

import (
	"fmt"
	"math"
	"slices"
)

// ExponentialTail describes the largest of many values: beyond Threshold, which the share Beyond of them
// exceed, the rest falls off exponentially with mean Excess.
type ExponentialTail struct{ Threshold, Beyond, Excess float64 }

// FitExponentialTail fits the tail above the (1-share) quantile (type 7) of the values: excesses over a
// high threshold (Pickands 1975), here exponential, as the maxima of a cumulative sum with drift down are
// (Asmussen 2003, Applied Probability and Queues, XIII). It returns an error for fewer than 10 values above
// the threshold.
func FitExponentialTail(values []float64, share float64) (ExponentialTail, error) {
	if !(share > 0 && share < 1) || !allFinite(values) || share*float64(len(values)) < 10 {
		return ExponentialTail{}, fmt.Errorf("exponential tail: %d values, share %v: give finite values, at least 10 of them in the tail", len(values), share)
	}
	sorted := slices.Sorted(slices.Values(values))
	t := ExponentialTail{Threshold: quantileType7(sorted, 1-share)}
	above := 0.0
	for _, v := range sorted {
		if v > t.Threshold {
			above++
			t.Excess += v - t.Threshold
		}
	}
	if above > 0 {
		t.Excess /= above
	}
	t.Beyond = above / float64(len(values))
	return t, nil
}

// Limit is the value exceeded with chance p, for p up to Beyond.
func (t ExponentialTail) Limit(p float64) float64 {
	return t.Threshold + t.Excess*math.Log(t.Beyond/p)
}
