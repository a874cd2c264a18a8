package stats

import "math"

// maxRootSteps ends a search that does not close; Brent's method needs far fewer.
const maxRootSteps = 1000

// brentRoot finds a zero of f between low and high, where it must have unlike signs, to within tolerance:
// the zeroin of Brent (1973), which takes an interpolated step when it is safe and halves when it is not.
// Tolerance 0 goes on to neighbouring floats. NaN when the signs are alike.
func brentRoot(f func(float64) float64, low, high, tolerance float64) float64 {
	a, b := low, high
	fa, fb := f(a), f(b)
	switch {
	case fa == 0:
		return a
	case fb == 0:
		return b
	case !(fa*fb < 0):
		return math.NaN()
	}
	c, fc := a, fa // b and c enclose the root, b the better; a is the b before
	for range maxRootSteps {
		before := b - a
		if math.Abs(fc) < math.Abs(fb) {
			a, b, c = b, c, b
			fa, fb, fc = fb, fc, fb
		}
		within := 2*0x1p-52*math.Abs(b) + tolerance/2
		step := (c - b) / 2
		if math.Abs(step) <= within || fb == 0 {
			return b
		}
		if math.Abs(before) >= within && math.Abs(fa) > math.Abs(fb) {
			p, q := interpolation(a, b, c, fa, fb, fc)
			if p < 0.75*(c-b)*q-math.Abs(within*q)/2 && p < math.Abs(before*q/2) {
				step = p / q
			}
		}
		if math.Abs(step) < within {
			step = math.Copysign(within, step)
		}
		a, fa = b, fb
		b += step
		fb = f(b)
		if fb*fc > 0 {
			c, fc = a, fa
		}
	}
	return b
}

// interpolation gives the step from b as p/q with p >= 0: linear through two points when a is c, else
// inverse quadratic through three.
func interpolation(a, b, c, fa, fb, fc float64) (p, q float64) {
	if a == c {
		p, q = (c-b)*fb/fa, 1-fb/fa
	} else {
		u, v, w := fa/fc, fb/fc, fb/fa
		p = w * ((c-b)*u*(u-v) - (b-a)*(v-1))
		q = (u - 1) * (v - 1) * (w - 1)
	}
	if p > 0 {
		return p, -q
	}
	return -p, q
}
