package stats

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// LombScargle is the periodogram of a series sampled at any times.
type LombScargle struct {
	Power         []float64 // at each frequency, in units of the sample variance; NaN where it cannot be said
	Fraction      []float64 // 2 Power/(n-1): share of the squares a sine of that frequency explains
	Peak          int       // index of the largest power; -1 when none can be said
	SingleP       float64   // exp(-Power) at the peak: chance at a frequency named beforehand
	FalseAlarm    float64   // 1 - (1-SingleP)^M with M the number of frequencies
	PeakPower     float64
	PeakFrequency float64 // cycles per unit of t
}

// maxWaves bounds values times frequencies: a few seconds of sines.
const maxWaves = 50_000_000

// LombScarglePeriodogram gives, at each frequency f > 0 in cycles per unit of t,
//
//	P = (1/2s²) [ (Σ d cos ω(t-τ))² / Σ cos² ω(t-τ) + (Σ d sin ω(t-τ))² / Σ sin² ω(t-τ) ]
//
// with d = y - mean, s² their variance over n-1, ω = 2πf and tan 2ωτ = Σ sin 2ωt / Σ cos 2ωt. A
// sum of squares that is only rounding error adds nothing. SingleP assumes Gaussian white noise;
// FalseAlarm also that the frequencies are independent, which close ones are not: it is then too
// careful. Source: Scargle JD (1982) ApJ 263:835-853; Horne JH and Baliunas SL (1986) ApJ 302:757
// for s². Fewer than 2 values or no spread gives NaN.
func LombScarglePeriodogram(t, y, frequencies []float64) (LombScargle, error) {
	if err := checkWaves(t, y, frequencies); err != nil {
		return LombScargle{}, err
	}
	centre := meanOf(y)
	d, squares := make([]float64, len(y)), 0.0
	for i, v := range y {
		d[i] = v - centre
		squares += d[i] * d[i]
	}
	free := float64(len(y) - 1)
	none := make([]float64, len(frequencies))
	for i := range none {
		none[i] = math.NaN()
	}
	out := LombScargle{
		Power: none, Fraction: slices.Clone(none), Peak: -1,
		SingleP: math.NaN(), FalseAlarm: math.NaN(), PeakPower: math.NaN(), PeakFrequency: math.NaN(),
	}
	if !(squares > 0) || math.IsInf(squares, 0) {
		return out, nil
	}
	for i, share := range explained(t, d, frequencies) {
		out.Fraction[i] = share / squares
		out.Power[i] = out.Fraction[i] * free / 2
		if p := out.Power[i]; !math.IsNaN(p) && (out.Peak < 0 || p > out.Power[out.Peak]) {
			out.Peak = i
		}
	}
	if out.Peak < 0 {
		return out, nil
	}
	out.PeakPower, out.PeakFrequency = out.Power[out.Peak], frequencies[out.Peak]
	out.SingleP = math.Exp(-out.PeakPower)
	out.FalseAlarm = -math.Expm1(float64(len(frequencies)) * math.Log1p(-out.SingleP))
	return out, nil
}

// anew is how many steps of a wave are turned from the last one before a sine is taken again: turns add up
// their rounding, and sines cost thirty times as much.
const anew = 64

// wave is one value's cos and sin of ω(t-t₀), turned on by even steps of ω.
type wave struct{ cos, sin, turnCos, turnSin float64 }

func (w *wave) turn() {
	w.cos, w.sin = w.cos*w.turnCos-w.sin*w.turnSin, w.sin*w.turnCos+w.cos*w.turnSin
}

// explained gives, for each frequency, the sum of squares that a wave of it explains of d.
func explained(t, d, frequencies []float64) []float64 {
	out, waves, even := make([]float64, len(frequencies)), make([]wave, len(t)), 0
	for at, f := range frequencies {
		if even > 0 {
			for i := range waves {
				waves[i].turn()
			}
			even--
		} else {
			even = evenSteps(frequencies[at:])
			for i, v := range t {
				w := &waves[i]
				w.sin, w.cos = math.Sincos(2 * math.Pi * f * (v - t[0]))
				if even > 0 {
					w.turnSin, w.turnCos = math.Sincos(2 * math.Pi * (frequencies[at+1] - f) * (v - t[0]))
				}
			}
		}
		out[at] = fitted(waves, d)
	}
	return out
}

// evenSteps is how many of the frequencies after the first follow in even steps, at most anew.
func evenSteps(frequencies []float64) int {
	n := 0
	for n < anew && n+1 < len(frequencies) {
		step := frequencies[1] - frequencies[0]
		if want := frequencies[0] + float64(n+1)*step; math.Abs(frequencies[n+1]-want) > 1e-14*math.Abs(want) {
			break
		}
		n++
	}
	return n
}

// fitted is the sum of squares that a wave explains of d: the phase is turned to where its cosines and sines
// are orthogonal, by tan 2θ = 2 Σ cos sin / (Σ cos² - Σ sin²).
func fitted(waves []wave, d []float64) float64 {
	var dc, ds, cc, ss, cs float64
	for i, v := range d {
		w := &waves[i]
		dc, ds = dc+v*w.cos, ds+v*w.sin
		cc, ss, cs = cc+w.cos*w.cos, ss+w.sin*w.sin, cs+w.cos*w.sin
	}
	s, c := math.Sincos(math.Atan2(2*cs, cc-ss) / 2)
	dc, ds = dc*c+ds*s, ds*c-dc*s
	cc, ss = cc*c*c+2*cs*c*s+ss*s*s, cc*s*s-2*cs*c*s+ss*c*c
	// At the Nyquist frequency of even times every sine is 0, up to the rounding of its square.
	negligible := 1e-14 * float64(len(d))
	sum := 0.0
	if !(cc <= negligible) { // NaN, of angles beyond floats, goes on into the sum
		sum += dc * dc / cc
	}
	if !(ss <= negligible) {
		sum += ds * ds / ss
	}
	return sum
}

func checkWaves(t, y, frequencies []float64) error {
	switch {
	case len(t) == 0 || len(frequencies) == 0:
		return errors.New("give at least one time and one frequency")
	case len(t) != len(y):
		return fmt.Errorf("%d times and %d values: give one value for each time", len(t), len(y))
	case len(t)*len(frequencies) > maxWaves:
		return fmt.Errorf("%d values at %d frequencies: give fewer than %d products", len(t), len(frequencies), maxWaves)
	}
	for i, f := range frequencies {
		if !(f > 0) {
			return fmt.Errorf("frequencies: value %d is %v: give cycles per unit of time above 0", i+1, f)
		}
	}
	return errors.Join(checkFinite("t", t...), checkFinite("y", y...), checkFinite("frequencies", frequencies...))
}
