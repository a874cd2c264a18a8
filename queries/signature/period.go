package signature

import (
	"math"
	"slices"

	"scanledger/queries/stats"
)

// Period is what a search for one period in a series found. Figures that cannot be said are NaN.
type Period struct {
	Seconds    float64 // the dominant period, between the frequencies searched
	Explained  float64 // share of the squares that a sine of that period explains
	G, WhiteP  float64 // Fisher's g of all ordinates, and the chance of it from white noise
	P          float64 // chance of the largest ordinate over its background
	Steadiness float64 // of the phase, from 0 to 1, over the parts of the series
}

var noPeriod = Period{math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN()}

// FindPeriod looks for one period in levels read at seconds, which rise and need not be even. Periods of which
// the series holds fewer than leastCycles are not looked for, as bursts and drifts are slow too.
//
// Ordinates are those of Lomb and Scargle (Scargle 1982) at the Fourier frequencies of the series' length, up to
// half the rate at which most of it was read; of even times they are those of Fourier, and G and WhiteP are Fisher's
// test (Fisher 1929). Bursts and drifts make slow frequencies strong, and pass for a period in a test against white
// noise. So for P each ordinate is divided by the background that fits them all, the spectrum of a process that
// forgets at one rate, with white noise on top (Whittle's likelihood), and Fisher's test is made of what that leaves.
// Times that are not even make ordinates depend on one another a little.
func FindPeriod(seconds, levels []float64, leastCycles int) (Period, error) {
	frequencies := searched(seconds)
	if len(frequencies) < leastCycles+2 {
		return noPeriod, nil
	}
	lomb, err := stats.LombScarglePeriodogram(seconds, levels, frequencies)
	if err != nil || lomb.Peak < 0 {
		return noPeriod, err
	}
	white, err := stats.LargestShare(lomb.Fraction)
	if err != nil {
		return noPeriod, err
	}
	back := background(lomb.Fraction)
	over := make([]float64, 0, len(frequencies))
	for k := leastCycles - 1; k < len(frequencies); k++ {
		over = append(over, lomb.Fraction[k]/back[k])
	}
	test, err := stats.LargestShare(over)
	if err != nil || test.Peak == 0 {
		return noPeriod, err
	}
	found := Period{G: white.G, WhiteP: white.P, P: test.P}
	f, share, err := sharpen(seconds, levels, frequencies[leastCycles-2+test.Peak], frequencies[0])
	found.Seconds, found.Explained = 1/f, share
	found.Steadiness = steadiness(seconds, levels, f)
	return found, err
}

// searched are the Fourier frequencies of a series of that length and of its usual step.
func searched(seconds []float64) []float64 {
	n := len(seconds)
	if n < 3 {
		return nil
	}
	steps := make([]float64, n-1)
	for i := range steps {
		steps[i] = seconds[i+1] - seconds[i]
	}
	slices.Sort(steps)
	step := steps[len(steps)/2]
	if !(step > 0) {
		return nil
	}
	base := 1 / (seconds[n-1] - seconds[0] + step)
	out := make([]float64, min((n-1)/2, int(math.Ceil(0.5/step/base))-1))
	for k := range out {
		out[k] = float64(k+1) * base
	}
	return out
}

// sharpen looks for the peak around f in tenths of the distance between frequencies.
func sharpen(seconds, levels []float64, f, apart float64) (peak, share float64, err error) {
	const tenths = 10
	near := make([]float64, 2*tenths-1)
	for i := range near {
		near[i] = f + float64(i+1-tenths)/tenths*apart
	}
	lomb, err := stats.LombScarglePeriodogram(seconds, levels, near)
	if err != nil || lomb.Peak < 0 {
		return math.NaN(), math.NaN(), err
	}
	return lomb.PeakFrequency, lomb.Fraction[lomb.Peak], nil
}

// parts is into how many parts a series is cut at most to see whether its phase holds, each of two cycles at least.
const parts = 8

// steadiness is how well the phase of a frequency holds from one part of the series to the next: the length of the
// sum of the parts' waves over the sum of their lengths (phase locking; Mardia and Jupp 2000, the mean resultant
// length, weighted). One wave throughout gives 1, parts that know nothing of each other about the root of 1/parts.
func steadiness(seconds, levels []float64, f float64) float64 {
	first, last := seconds[0], seconds[len(seconds)-1]
	n := int(max(2, min(parts, math.Floor((last-first)*f/2))))
	var cos, sin, sum [parts]float64
	var count [parts]float64
	part := func(t float64) int { return min(n-1, int(float64(n)*(t-first)/(last-first))) }
	for i, t := range seconds {
		p := part(t)
		sum[p] += levels[i]
		count[p]++
	}
	for i, t := range seconds {
		p := part(t)
		s, c := math.Sincos(2 * math.Pi * f * (t - first))
		d := levels[i] - sum[p]/count[p]
		cos[p], sin[p] = cos[p]+d*c, sin[p]+d*s
	}
	var c, s, lengths float64
	for p := range n {
		c, s, lengths = c+cos[p], s+sin[p], lengths+math.Hypot(cos[p], sin[p])
	}
	if !(lengths > 0) {
		return math.NaN()
	}
	return math.Hypot(c, s) / lengths
}
