package stats

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func drawMonths(t *rapid.T) (counts MonthCounts, exposure [12]float64) {
	for m := range counts {
		counts[m] = rapid.IntRange(5, 300).Draw(t, "count")
		exposure[m] = rapid.Float64Range(50, 500).Draw(t, "exposure")
	}
	return counts, exposure
}

func rotate[T any](values [12]T, by int) (out [12]T) {
	for m, v := range values {
		out[(m+by)%12] = v
	}
	return out
}

func midMonths() []float64 {
	out := make([]float64, 12)
	for m := range out {
		out[m] = MonthAngle(m+1, 0.5)
	}
	return out
}

// turned tells whether the peak moved by the months turned, round the circle.
func turned(before, after float64, months int) bool {
	off := math.Mod(after-before-float64(30*months)+720+180, 360) - 180
	return math.Abs(off) < 1e-4
}

func TestRotatingMonthsRotatesThePeak(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		counts, exposure := drawMonths(t)
		by := rapid.IntRange(1, 11).Draw(t, "months")
		moved, movedExposure := rotate(counts, by), rotate(exposure, by)

		e0, _ := EdwardsTest(counts)
		e1, err := EdwardsTest(moved)
		if err != nil || !within(e0.Test.Statistic, e1.Test.Statistic, 1e-9) || e0.Amplitude > 1e-3 && !turned(e0.PeakDegrees, e1.PeakDegrees, by) {
			t.Fatalf("Edwards %v and %v (%v)", e0, e1, err)
		}
		r0, _ := RogerTest(counts)
		r1, err := RogerTest(moved)
		if err != nil || !within(r0.Test.Statistic, r1.Test.Statistic, 1e-9) || r0.Amplitude > 1e-3 && !turned(r0.PeakDegrees, r1.PeakDegrees, by) {
			t.Fatalf("Roger %v and %v (%v)", r0, r1, err)
		}
		w0, _ := WalterElwoodTest(counts, exposure)
		w1, err := WalterElwoodTest(moved, movedExposure)
		if err != nil || !within(w0.Statistic, w1.Statistic, 1e-9) {
			t.Fatalf("Walter-Elwood %v and %v (%v)", w0, w1, err)
		}
		c0, _ := PoissonCosinor(counts[:], exposure[:], midMonths())
		c1, err := PoissonCosinor(moved[:], movedExposure[:], midMonths())
		if err != nil || !within(c0.Amplitude, c1.Amplitude, 1e-7) || c0.Amplitude > 1e-3 && !turned(c0.PeakDegrees(), c1.PeakDegrees(), by) {
			t.Fatalf("cosinor %v and %v (%v)", c0.PeakDegrees(), c1.PeakDegrees(), err)
		}
	})
}

// The scale of the exposure is free; even exposure makes Walter-Elwood into Edwards.
func TestWalterElwoodExposure(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		counts, exposure := drawMonths(t)
		factor := rapid.Float64Range(0.01, 100).Draw(t, "factor")
		scaled, even := exposure, exposure
		for m := range scaled {
			scaled[m] *= factor
			even[m] = factor
		}
		a, _ := WalterElwoodTest(counts, exposure)
		b, err := WalterElwoodTest(counts, scaled)
		if err != nil || !within(a.Statistic, b.Statistic, 1e-8) {
			t.Fatalf("scaled exposure: %v and %v (%v)", a, b, err)
		}
		e, _ := EdwardsTest(counts)
		w, err := WalterElwoodTest(counts, even)
		if err != nil || !within(e.Test.Statistic, w.Statistic, 1e-9) {
			t.Fatalf("even exposure: %v and %v (%v)", e.Test, w, err)
		}
	})
}

// Counts made from a known wave give it back.
func TestHarmonicsFindAKnownWave(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		amplitude := rapid.Float64Range(0.1, 1).Draw(t, "amplitude")
		peak := rapid.Float64Range(0.1, 2*math.Pi-0.1).Draw(t, "peak")
		counts, events, trials := make([]int, 12), make([]int, 12), make([]int, 12)
		for m, angle := range midMonths() {
			wave := amplitude * math.Cos(angle-peak)
			counts[m] = int(math.Round(1e6 * math.Exp(wave)))
			trials[m] = 1e7
			events[m] = int(math.Round(1e7 * expit(wave-1)))
		}
		p, err := PoissonCosinor(counts, nil, midMonths())
		if err != nil || !within(p.Amplitude, amplitude, 1e-5) || !within(p.PeakRadians, peak, 1e-4) {
			t.Fatalf("Poisson: %v at %v (%v), want %v at %v", p.Amplitude, p.PeakRadians, err, amplitude, peak)
		}
		l, err := LogisticHarmonic(events, trials, midMonths())
		if err != nil || !within(l.Amplitude, amplitude, 1e-5) || !within(l.PeakRadians, peak, 1e-4) {
			t.Fatalf("logistic: %v at %v (%v), want %v at %v", l.Amplitude, l.PeakRadians, err, amplitude, peak)
		}
		if ratio := p.PeakToLow(); !within(math.Log(ratio), 2*amplitude, 1e-4) {
			t.Fatalf("peak to low %v", ratio)
		}
	})
}

func TestSeasonWithoutEventsOrWave(t *testing.T) {
	var even [12]float64
	var flat MonthCounts
	trials := make([]int, 12)
	for m := range even {
		even[m], flat[m], trials[m] = 30, 7, 70
	}
	for _, c := range []struct {
		name   string
		counts MonthCounts
		chi    float64
	}{{"no events", MonthCounts{}, math.NaN()}, {"no wave", flat, 0}} {
		e, err := EdwardsTest(c.counts)
		if err != nil || !within(e.Test.Statistic, c.chi, 1e-9) || !math.IsNaN(e.PeakDegrees) {
			t.Errorf("%s: Edwards %v (%v)", c.name, e, err)
		}
		r, err := RogerTest(c.counts)
		if err != nil || !within(r.Test.Statistic, c.chi, 1e-9) || !math.IsNaN(r.PeakDegrees) {
			t.Errorf("%s: Roger %v (%v)", c.name, r, err)
		}
		w, err := WalterElwoodTest(c.counts, even)
		if err != nil || !within(w.Statistic, c.chi, 1e-9) {
			t.Errorf("%s: Walter-Elwood %v (%v)", c.name, w, err)
		}
		h, err := MonthHomogeneity(c.counts, even)
		if err != nil || !within(h.Statistic, c.chi, 1e-9) {
			t.Errorf("%s: homogeneity %v (%v)", c.name, h, err)
		}
		p, err := PoissonCosinor(c.counts[:], even[:], midMonths())
		if err != nil || !within(p.LikelihoodRatio.Statistic, c.chi, 1e-9) || !math.IsNaN(p.PeakDegrees()) {
			t.Errorf("%s: cosinor %v (%v)", c.name, p, err)
		}
		l, err := LogisticHarmonic(c.counts[:], trials, midMonths())
		if err != nil || !within(l.LikelihoodRatio.Statistic, c.chi, 1e-9) || !math.IsNaN(l.PeakMonth()) || math.IsNaN(c.chi) != (len(l.Warnings) > 0) {
			t.Errorf("%s: logistic %v (%v)", c.name, l, err)
		}
	}
}

func TestSeasonRefuses(t *testing.T) {
	var even [12]float64
	for m := range even {
		even[m] = 1
	}
	twelve := make([]int, 12)
	nan := math.NaN()
	for name, call := range map[string]func() error{
		"negative count":      func() error { _, err := EdwardsTest(MonthCounts{-1}); return err },
		"negative, Roger":     func() error { _, err := RogerTest(MonthCounts{-1}); return err },
		"negative, Walter":    func() error { _, err := WalterElwoodTest(MonthCounts{-1}, even); return err },
		"no exposure":         func() error { _, err := WalterElwoodTest(MonthCounts{1}, [12]float64{}); return err },
		"no exposure, months": func() error { _, err := MonthHomogeneity(MonthCounts{1}, [12]float64{}); return err },
		"NaN exposure": func() error {
			_, err := PoissonCosinor([]int{1, 2, 3}, []float64{1, nan, 1}, []float64{0, 1, 2})
			return err
		},
		"NaN angle":      func() error { _, err := PoissonCosinor([]int{1, 2, 3}, nil, []float64{0, nan, 2}); return err },
		"missing angle":  func() error { _, err := PoissonCosinor([]int{1, 2, 3}, nil, []float64{0, 2}); return err },
		"two angles":     func() error { _, err := PoissonCosinor([]int{1, 2, 3}, nil, []float64{0, 2, 2}); return err },
		"short exposure": func() error { _, err := PoissonCosinor([]int{1, 2, 3}, []float64{1}, []float64{0, 1, 2}); return err },
		"x above n": func() error {
			_, err := LogisticHarmonic([]int{3, 1, 1}, []int{2, 2, 2}, []float64{0, 1, 2})
			return err
		},
		"no trials":       func() error { _, err := LogisticHarmonic(twelve, twelve, midMonths()); return err },
		"unequal lengths": func() error { _, err := LogisticHarmonic(twelve, twelve[:3], midMonths()); return err },
	} {
		if call() == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// Millions of counts that follow the wave to the unit: the deviance is next to nothing beside them.
func TestPoissonCosinorOfLargeCounts(t *testing.T) {
	counts := []int{2685334, 2176280, 1431993, 855820, 533264, 393249, 372393, 459500, 698327, 1168469, 1875243, 2542917}
	f, err := PoissonCosinor(counts, nil, midMonths())
	if err != nil || len(f.Warnings) > 0 || !within(f.Amplitude, 1, 1e-6) {
		t.Errorf("amplitude %v, warnings %v (%v), want 1", f.Amplitude, f.Warnings, err)
	}
}
