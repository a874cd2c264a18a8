package stats

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

func series(t *rapid.T, least, most int) []float64 {
	n := rapid.IntRange(least, most).Draw(t, "n")
	return rapid.SliceOfN(rapid.Float64Range(-100, 100), n, n).Draw(t, "x")
}

// g does not change with level, scale or direction of time.
func TestFisherGInvariance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := series(t, 5, 60)
		a, b := rapid.Float64Range(-50, 50).Draw(t, "level"), rapid.Float64Range(0.5, 20).Draw(t, "scale")
		moved, turned := make([]float64, len(x)), make([]float64, len(x))
		for i, v := range x {
			moved[i], turned[len(x)-1-i] = a+b*v, v
		}
		g, err := FisherGTest(x)
		if err != nil {
			t.Fatal(err)
		}
		if math.IsNaN(g.G) {
			return
		}
		if !(g.P >= 0 && g.P <= 1 && g.G >= 1/float64(len(g.Periodogram))-1e-12 && g.G <= 1) {
			t.Fatalf("out of range: %+v", g)
		}
		spread := 0.0
		for _, v := range g.Periodogram {
			spread += v
		}
		if spread < 1e-6 { // rounding of the move is then as large as what is measured
			return
		}
		for name, y := range map[string][]float64{"moved": moved, "turned": turned} {
			h, err := FisherGTest(y)
			if err != nil || math.Abs(h.G-g.G) > 1e-6 {
				t.Fatalf("%s: %v, %v, want %v", name, h.G, err, g.G)
			}
		}
	})
}

// The ordinates are half the sum of squares, with that at the Nyquist frequency for even n (Parseval).
func TestPeriodogramParseval(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := series(t, 3, 80)
		n := float64(len(x))
		g, err := FisherGTest(x)
		if err != nil {
			t.Fatal(err)
		}
		sum := 0.0
		for _, v := range g.Periodogram {
			sum += 2 * v
		}
		if len(x)%2 == 0 {
			alternating := 0.0
			for i, v := range x {
				alternating += v * float64(1-i%2*2)
			}
			sum += square(alternating) / n
		}
		if want := sumOfSquaredDeviations(x); math.Abs(sum-want) > 1e-9*(1+want) {
			t.Fatalf("ordinates hold %v of %v", sum, want)
		}
	})
}

func TestFisherGSaysNothing(t *testing.T) {
	for name, x := range map[string][]float64{
		"one value": {4}, "two values": {4, 5}, "constant": {0.1, 0.1, 0.1, 0.1, 0.1, 0.1}, "Nyquist wave": {1, -1, 1, -1, 1, -1, 1, -1},
		"overflow": {1e300, -1e300, 1e300, 1e300},
	} {
		if g, err := FisherGTest(x); err != nil || !math.IsNaN(g.G) || !math.IsNaN(g.P) || g.Peak != 0 || !math.IsNaN(g.PeakFrequency(len(x))) {
			t.Errorf("%s: %+v, %v", name, g, err)
		}
	}
	for name, x := range map[string][]float64{"none": {}, "NaN": {1, math.NaN(), 2}, "too long": make([]float64, MaxSeries+1)} {
		if _, err := FisherGTest(x); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// White noise: P is uniform, so its mean is near a half and a tenth of it is below 0.1.
func TestFisherGTailOnWhiteNoise(t *testing.T) {
	const runs = 4000
	rng := rand.New(rand.NewPCG(1, 2))
	sum, small := 0.0, 0
	for range runs {
		x := make([]float64, 61)
		for i := range x {
			x[i] = rng.NormFloat64()
		}
		g, err := FisherGTest(x)
		if err != nil {
			t.Fatal(err)
		}
		sum += g.P
		if g.P < 0.1 {
			small++
		}
	}
	near(t, "mean P", sum/runs, 0.5, 4*math.Sqrt(1.0/12/runs))
	near(t, "share below 0.1", float64(small)/runs, 0.1, 4*math.Sqrt(0.09/runs))
}

// P falls with g also where the terms of the alternating sum are huge, and ends at 1 and 0.
func TestFisherGTailFalls(t *testing.T) {
	for _, m := range []int{1, 2, 3, 10, 100, 1000, 20_000} {
		before := 1.0
		for i := range 400 {
			g := math.Pow(float64(m), float64(i)/399-1)
			p := fisherGTail(g, m)
			if !(p >= 0 && p <= before+1e-15) {
				t.Fatalf("m %d: P(%g) = %v after %v", m, g, p, before)
			}
			before = p
		}
		near(t, "P(1/m)", fisherGTail(1/float64(m), m), 1, 1e-12)
	}
}

// For m = 2 and 3 the sum has a closed form worked by hand.
func TestFisherGTailByHand(t *testing.T) {
	near(t, "m 2", fisherGTail(0.75, 2), 2*0.25, 1e-15)
	near(t, "m 3", fisherGTail(0.4, 3), 3*0.36-3*0.04, 1e-15)
}

func TestFisherGCriticalIsTheRoot(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := rapid.IntRange(2, 5000).Draw(t, "m")
		level := rapid.Float64Range(1e-6, 0.5).Draw(t, "level")
		g, err := FisherGCritical(m, level)
		if err != nil || math.Abs(fisherGTail(g, m)-level) > 1e-8*level {
			t.Fatalf("m %d, level %g: g %v with P %v, %v", m, level, g, fisherGTail(g, m), err)
		}
	})
	if g, err := FisherGCritical(1, 0.05); err != nil || !math.IsNaN(g) {
		t.Errorf("one ordinate: %v, %v, want NaN", g, err)
	}
	for _, m := range []int{0, -3, MaxSeries + 1} {
		if _, err := FisherGCritical(m, 0.05); err == nil {
			t.Errorf("m %d: no error", m)
		}
	}
}

// At even times and Fourier frequencies, Lomb and Scargle's power is the classical periodogram over
// the variance (Scargle 1982, sect. II).
func TestLombScargleIsClassicalAtEvenTimes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := series(t, 5, 40)
		n := len(x)
		variance := sumOfSquaredDeviations(x) / float64(n-1)
		if variance < 1e-3 {
			return
		}
		g, err := FisherGTest(x)
		if err != nil {
			t.Fatal(err)
		}
		times, freqs := make([]float64, n), make([]float64, len(g.Periodogram))
		for i := range times {
			times[i] = float64(i) + 1900
		}
		for k := range freqs {
			freqs[k] = float64(k+1) / float64(n)
		}
		l, err := LombScarglePeriodogram(times, x, freqs)
		if err != nil {
			t.Fatal(err)
		}
		for k, want := range g.Periodogram {
			if math.Abs(l.Power[k]-want/variance) > 1e-9*(1+want/variance) {
				t.Fatalf("k %d: %v, want %v", k+1, l.Power[k], want/variance)
			}
		}
	})
}

// Order of the readings, the origin of time and the unit of the values do not matter.
func TestLombScargleInvariance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		y := series(t, 4, 30)
		n := len(y)
		times := rapid.SliceOfN(rapid.Float64Range(0, 50), n, n).Draw(t, "t")
		freqs := []float64{0.05, 0.11, 0.23, 0.4}
		if sumOfSquaredDeviations(y) < 1e-3 {
			return
		}
		a, err := LombScarglePeriodogram(times, y, freqs)
		if err != nil {
			t.Fatal(err)
		}
		turnedT, turnedY := make([]float64, n), make([]float64, n)
		for i := range n {
			turnedT[n-1-i], turnedY[n-1-i] = times[i]+7, 3-2*y[i]
		}
		b, err := LombScarglePeriodogram(turnedT, turnedY, freqs)
		if err != nil {
			t.Fatal(err)
		}
		for i := range freqs {
			if !(a.Fraction[i] >= 0 && a.Fraction[i] <= 1+1e-9) {
				t.Fatalf("fraction %v", a.Fraction[i])
			}
			if math.Abs(a.Power[i]-b.Power[i]) > 1e-6*(1+a.Power[i]) {
				t.Fatalf("power %v became %v", a.Power[i], b.Power[i])
			}
		}
	})
}

func TestLombScargleFindsAPureWave(t *testing.T) {
	var times, y []float64
	for i := range 50 {
		if i%7 != 3 {
			times, y = append(times, float64(i)), append(y, 5+2*math.Cos(2*math.Pi*0.13*float64(i)+1))
		}
	}
	l, err := LombScarglePeriodogram(times, y, []float64{0.07, 0.13, 0.21, 0.5})
	if err != nil || l.Peak != 1 || l.PeakFrequency != 0.13 {
		t.Fatalf("%+v, %v", l, err)
	}
	near(t, "explained", l.Fraction[1], 1, 0.01)
}

func TestLombScargleSaysNothing(t *testing.T) {
	for name, y := range map[string][]float64{"constant": {3, 3, 3}, "overflow": {1e308, -1e308, 1e308}} {
		l, err := LombScarglePeriodogram([]float64{1, 2, 3}, y, []float64{0.1})
		if err != nil || !math.IsNaN(l.PeakPower) || l.Peak != -1 {
			t.Errorf("%s: %+v, %v", name, l, err)
		}
	}
	l, err := LombScarglePeriodogram([]float64{0, 1e308, -1e308}, []float64{1, 2, 3}, []float64{1e308})
	if err != nil || !math.IsNaN(l.PeakPower) {
		t.Errorf("angles beyond floats: %+v, %v", l, err)
	}
	one := []float64{1}
	for name, err := range map[string]error{
		"unequal":            second(LombScarglePeriodogram(one, []float64{1, 2}, one)),
		"no times":           second(LombScarglePeriodogram(nil, nil, one)),
		"no frequencies":     second(LombScarglePeriodogram(one, one, nil)),
		"frequency 0":        second(LombScarglePeriodogram(one, one, []float64{0})),
		"frequency NaN":      second(LombScarglePeriodogram(one, one, []float64{math.NaN()})),
		"infinite time":      second(LombScarglePeriodogram([]float64{math.Inf(1)}, one, one)),
		"too many waves":     second(LombScarglePeriodogram(make([]float64, 10_000), make([]float64, 10_000), make([]float64, 10_000))),
		"negative frequency": second(LombScarglePeriodogram(one, one, []float64{-1})),
	} {
		if err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// Turning waves on by even steps gives what taking every sine anew gives.
func TestEvenStepsOfFrequency(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		y := series(t, 3, 60)
		times, even := make([]float64, len(y)), make([]float64, 150)
		at := rapid.Float64Range(-1e6, 1e6).Draw(t, "start")
		for i := range times {
			at += rapid.Float64Range(0.05, 3).Draw(t, "step")
			times[i] = at
		}
		step := rapid.Float64Range(0.001, 0.2).Draw(t, "frequency step")
		for i := range even {
			even[i] = float64(i+1) * step
		}
		all, err := LombScarglePeriodogram(times, y, even)
		if err != nil {
			t.Fatal(err)
		}
		for i, f := range even {
			one, err := LombScarglePeriodogram(times, y, []float64{f})
			if err != nil || math.Abs(one.Fraction[0]-all.Fraction[i]) > 1e-8 {
				t.Fatalf("frequency %v: %v in a series of frequencies, %v alone, %v", f, all.Fraction[i], one.Fraction[0], err)
			}
		}
	})
}
