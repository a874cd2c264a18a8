package signature

import "math"

// rates are how much a process keeps from one sample to the next, of those tried: 0 is white noise.
var rates = []float64{0, 0.3, 0.5, 0.65, 0.75, 0.82, 0.88, 0.92, 0.95, 0.97, 0.985}

// turns bounds the steps of a fit: the last ones change the likelihood in its fourth digit.
const turns = 12

// background is what a process that forgets at one rate, with white noise on top, is expected to give at each of the
// ordinates: a/(1 - 2φ cos ω + φ²) + b, with the rate φ and the sizes a and b that fit them best by Whittle's
// likelihood, -Σ log S + I/S (Whittle 1953). The ordinates lie at even frequencies up to half the rate of sampling.
func background(ordinates []float64) (fit []float64) {
	best := math.Inf(-1)
	shape, trial := make([]float64, len(ordinates)), make([]float64, len(ordinates))
	for _, rate := range rates {
		for k := range shape {
			shape[k] = 1 / (1 - 2*rate*math.Cos(math.Pi*float64(k+1)/float64(len(shape)+1)) + rate*rate)
		}
		slow, white := sizes(ordinates, shape)
		likelihood := 0.0
		for k, s := range shape {
			trial[k] = slow*s + white
			likelihood -= math.Log(trial[k]) + ordinates[k]/trial[k]
		}
		if likelihood > best {
			best = likelihood
			fit = append(fit[:0], trial...)
		}
	}
	return fit
}

// sizes fits slow·shape + white to ordinates: each step multiplies a size by the ratio of the likelihood's two
// gradients, which never lessens it (Févotte, Bertin and Durrieu 2009, for this very likelihood).
func sizes(ordinates, shape []float64) (slow, white float64) {
	var mean, form float64
	for k, v := range ordinates {
		mean, form = mean+v, form+shape[k]
	}
	mean, form = mean/float64(len(shape)), form/float64(len(shape))
	slow, white = mean/2/form, mean/2
	for range turns {
		var slowUp, slowDown, whiteUp, whiteDown float64
		for k, v := range ordinates {
			inverse := 1 / (slow*shape[k] + white)
			up := v * inverse * inverse
			slowUp, slowDown = slowUp+up*shape[k], slowDown+inverse*shape[k]
			whiteUp, whiteDown = whiteUp+up, whiteDown+inverse
		}
		slow, white = slow*slowUp/slowDown, white*whiteUp/whiteDown
	}
	return slow, white
}
