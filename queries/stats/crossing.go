package stats

import "math"

// findRoot finds where the continuous f changes sign between lo and hi by the Illinois variant of
// false position (Dowell & Jarratt 1971, BIT 11:168-174) with bisection when that stalls; NaN when
// f has one sign at both ends or cannot be said.
func findRoot(f func(float64) float64, lo, hi float64) float64 {
	flo, fhi := f(lo), f(hi)
	if flo == 0 {
		return lo
	}
	if !(flo*fhi <= 0) {
		return math.NaN()
	}
	for i := range 200 {
		mid := hi - fhi*(hi-lo)/(fhi-flo)
		if i%3 == 2 {
			mid = lo + (hi-lo)/2
		}
		fmid := f(mid)
		if fmid == 0 || math.Abs(hi-lo) <= 1e-12*(1e-12+math.Abs(mid)) {
			return mid
		}
		if math.IsNaN(fmid) {
			return math.NaN()
		}
		if fmid*fhi < 0 {
			lo, flo = hi, fhi
		} else {
			flo /= 2
		}
		hi, fhi = mid, fmid
	}
	return hi
}

// findCrossing walks from x by step, doubling it, to where f turns positive, and finds the root on
// the way; NaN when it never does.
func findCrossing(f func(float64) float64, x, step float64) float64 {
	from := x
	for range 50 {
		to := x + step
		switch v := f(to); {
		case math.IsNaN(v):
			return v
		case v > 0:
			return findRoot(f, from, to)
		}
		from = to
		step *= 2
	}
	return math.NaN()
}
