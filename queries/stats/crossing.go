package stats

import "math"

// findCrossing finds where f, not positive at x, first turns positive on the way from x by step,
// step doubling until it does, to a billionth of the last step. Where f jumps over 0 it ends at the
// jump. NaN when f never turns positive or cannot be said.
func findCrossing(f func(float64) float64, x, step float64) float64 {
	for range 50 {
		to := x + step
		switch v := f(to); {
		case math.IsNaN(v):
			return v
		case v > 0:
			return brentRoot(f, x, to, 1e-9*math.Abs(step))
		}
		x = to
		step *= 2
	}
	return math.NaN()
}
