package stats

import "math"

// crossingTolerance ends a search on the value of f, which is a drop of deviance and so of order 1
// whatever the unit of x.
const crossingTolerance = 1e-8

// findCrossing finds where the continuous f, negative at x, first turns positive on the way from x
// by step, step doubling until it does. NaN when it never does or f cannot be said.
func findCrossing(f func(float64) float64, x, step float64) float64 {
	from, value := x, f(x)
	for range 50 {
		to := from + step
		v := f(to)
		switch {
		case math.IsNaN(v) || math.IsNaN(value):
			return math.NaN()
		case v > 0:
			return falsePosition(f, from, value, to, v)
		}
		from, value = to, v
		step *= 2
	}
	return math.NaN()
}

// falsePosition finds the root of f between lo and hi, where it is flo <= 0 and fhi > 0, by the
// Illinois variant of false position (Dowell & Jarratt 1971, BIT 11:168-174), bisecting after a step
// that did not halve the bracket. Where f jumps over 0 it ends at the jump.
func falsePosition(f func(float64) float64, lo, flo, hi, fhi float64) float64 {
	narrow := 1e-9 * math.Abs(hi-lo)
	bisect := false
	for math.Abs(hi-lo) > narrow {
		width := math.Abs(hi - lo)
		mid := hi - fhi*(hi-lo)/(fhi-flo)
		if bisect {
			mid = lo + (hi-lo)/2
		}
		fmid := f(mid)
		if !(math.Abs(fmid) > crossingTolerance) || mid == lo || mid == hi {
			return mid + 0*fmid // NaN where f is
		}
		if fmid*fhi < 0 {
			lo, flo = hi, fhi
		} else {
			flo /= 2
		}
		hi, fhi = mid, fmid
		bisect = math.Abs(hi-lo) > width/2
	}
	return hi
}
