package stats

import "math"

// quantileType7 is the sample quantile of type 7 (Hyndman & Fan 1996, Am Stat 50:361-365): linear
// between order statistics, share 0 the least and 1 the greatest. sorted must rise and not be
// empty.
func quantileType7(sorted []float64, share float64) float64 {
	at := share * float64(len(sorted)-1)
	low := int(math.Floor(at))
	high := min(low+1, len(sorted)-1)
	return sorted[low] + (at-float64(low))*(sorted[high]-sorted[low])
}
