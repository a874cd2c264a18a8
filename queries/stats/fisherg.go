package stats

import (
	"fmt"
	"math"
	"math/big"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"
)

// MaxSeries bounds an evenly spaced series: half a century of days is below it, and a transform of
// a prime length, which takes the square of it, is still quick.
const MaxSeries = 20_000

// FisherG is Fisher's test for one hidden period in an evenly spaced series.
type FisherG struct {
	Periodogram []float64 // ordinates at k/n cycles per sample, k = 1 to floor((n-1)/2)
	G           float64   // largest ordinate as a share of their sum
	P           float64   // chance of a G as large from white noise
	Peak        int       // k of the largest ordinate, counted from 1; 0 when G cannot be said
}

// PeakFrequency is in cycles per sample of a series of n; NaN without a peak.
func (g FisherG) PeakFrequency(n int) float64 {
	if g.Peak == 0 {
		return math.NaN()
	}
	return float64(g.Peak) / float64(n)
}

// FisherGTest removes the mean and gives the periodogram |DFT|²/n without zero and Nyquist
// frequency, and tests its peak. Assumes Gaussian white noise when there is no period; a trend or
// several periods make the test dull. Source: Fisher RA (1929) Proc R Soc A 125:54-59. With fewer
// than 3 values, or nothing but a constant or Nyquist wave, G and P are NaN.
func FisherGTest(x []float64) (FisherG, error) {
	if len(x) == 0 || len(x) > MaxSeries {
		return FisherG{}, fmt.Errorf("series: %d values: give from 1 to %d", len(x), MaxSeries)
	}
	if err := checkFinite("series", x...); err != nil {
		return FisherG{}, err
	}
	ordinates, power, total := periodogram(x), 0.0, 0.0
	for _, v := range ordinates {
		total += v
	}
	for _, v := range x {
		power += v * v
	}
	// Ordinates that are only the rounding errors of the transform hold no peak.
	if !(total > 1e-26*power) {
		return FisherG{Periodogram: ordinates, G: math.NaN(), P: math.NaN()}, nil
	}
	return LargestShare(ordinates)
}

// LargestShare tests the largest of ordinates that are, without a period, independent and exponential with one mean,
// as those of white noise are. Source: Fisher (1929). When all are 0, G and P are NaN.
func LargestShare(ordinates []float64) (FisherG, error) {
	if len(ordinates) > MaxSeries {
		return FisherG{}, fmt.Errorf("ordinates: %d values: give at most %d", len(ordinates), MaxSeries)
	}
	if err := checkFinite("ordinates", ordinates...); err != nil {
		return FisherG{}, err
	}
	out, total := FisherG{Periodogram: ordinates, G: math.NaN(), P: math.NaN()}, 0.0
	for i, v := range ordinates {
		if v < 0 {
			return FisherG{}, fmt.Errorf("ordinates: value %d is %v: give none below 0", i+1, v)
		}
		total += v
	}
	if !(total > 0) || math.IsInf(total, 0) {
		return out, nil
	}
	peak := slices.Max(ordinates)
	out.Peak = slices.Index(ordinates, peak) + 1
	out.G = peak / total
	out.P = fisherGTail(out.G, len(ordinates))
	return out, nil
}

func periodogram(x []float64) []float64 {
	n := len(x)
	centre := meanOf(x)
	centred := make([]float64, n)
	for i, v := range x {
		centred[i] = v - centre
	}
	out := make([]float64, (n-1)/2)
	for k, c := range fourier.NewFFT(n).Coefficients(nil, centred) {
		if k > 0 && k <= len(out) {
			out[k-1] = (real(c)*real(c) + imag(c)*imag(c)) / float64(n)
		}
	}
	return out
}

// meanOf is the mean, exact for a constant.
func meanOf(xs []float64) float64 {
	sum := 0.0
	for _, x := range xs {
		sum += x - xs[0]
	}
	return xs[0] + sum/float64(len(xs))
}

// fisherGTail is P(G >= g) for m ordinates of white noise:
//
//	Σ (-1)^(j-1) C(m,j) (1-jg)^(m-1),  j = 1 to floor(1/g)
//
// Term j is at most λ^j/j! with λ = m(1-g)^(m-1), so 256 bits cancel without loss while λ is below
// 40. Above, P(G < g) is below exp(-λ), as uniform spacings are negatively associated (Joag-Dev and
// Proschan 1983), and P is 1 to every digit.
func fisherGTail(g float64, m int) float64 {
	const bits = 256
	lambda := float64(m) * math.Exp(float64(m-1)*math.Log1p(-g))
	switch {
	case m == 1:
		return 1
	case lambda > 40:
		return 1
	}
	number := func(f float64) *big.Float { return new(big.Float).SetPrec(bits).SetFloat64(f) }
	sum, choose := number(0), number(1)
	for j, bound := 1, 1.0; j <= m && float64(j)*g < 1; j++ {
		choose.Mul(choose, number(float64(m-j+1)))
		choose.Quo(choose, number(float64(j)))
		base := number(g)
		base.Mul(base, number(float64(j)))
		term := powBig(base.Sub(number(1), base), m-1)
		term.Mul(term, choose)
		if j%2 == 0 {
			term.Neg(term)
		}
		sum.Add(sum, term)
		// Past λ the terms fall, and what is left is less than the next one.
		bound *= lambda / float64(j)
		if float64(j) > lambda && bound < 1e-20*lambda {
			break
		}
	}
	p, _ := sum.Float64()
	return min(1, max(0, p))
}

func powBig(base *big.Float, exponent int) *big.Float {
	out := new(big.Float).SetPrec(base.Prec()).SetInt64(1)
	for ; exponent > 0; exponent /= 2 {
		if exponent%2 == 1 {
			out.Mul(out, base)
		}
		base.Mul(base, base)
	}
	return out
}

// FisherGCritical is the g that white noise of m ordinates reaches with chance level. With one
// ordinate g is always 1, and the critical value is NaN. Source: Fisher (1929).
func FisherGCritical(m int, level float64) (float64, error) {
	if m < 1 || m > MaxSeries {
		return 0, fmt.Errorf("m is %d ordinates: give from 1 to %d", m, MaxSeries)
	}
	if !(level > 0 && level <= 0.5) {
		return 0, fmt.Errorf("level %g is not above 0 and at most 0.5; give 0.05 for 5 %%", level)
	}
	if m == 1 {
		return math.NaN(), nil
	}
	// P lies between λ - λ²/2 and λ (Bonferroni), so the root has λ between half and twice level.
	root := func(lambda float64) float64 {
		return -math.Expm1(math.Log(lambda/float64(m)) / float64(m-1))
	}
	above := func(g float64) float64 { return fisherGTail(g, m) - level }
	return brentRoot(above, max(root(2*level), 1/float64(m)), root(level/2), 0), nil
}
