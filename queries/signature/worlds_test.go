package signature

import (
	"math"
	"math/rand/v2"
	"testing"
)

// A world makes the level of a hold; times are in seconds.
type world func(r *rand.Rand, times []float64) []float64

func white(r *rand.Rand, times []float64) []float64 {
	y := make([]float64, len(times))
	for i := range y {
		y[i] = 5 + 2*r.NormFloat64()
	}
	return y
}

// telegraph moves and rests for random times: what crawls behind a wall does not keep time.
func telegraph(moves, rests float64) world {
	return func(r *rand.Rand, times []float64) []float64 {
		y, up, next := white(r, times), r.Float64() < 0.5, 0.0
		height := 0.0
		for i, t := range times {
			for t >= next {
				up = !up
				mean := rests
				if up {
					mean = moves
				}
				next += mean * r.ExpFloat64()
				height = 30 + 40*r.Float64()
			}
			if up {
				y[i] += height
			}
		}
		return y
	}
}

// forgetful is a process of the first order: it keeps rate of what it was a sample ago.
func forgetful(rate float64) world {
	return func(r *rand.Rand, times []float64) []float64 {
		y, at := make([]float64, len(times)), 0.0
		for i := range y {
			at = rate*at + r.NormFloat64()
			y[i] = 20 + 5*at
		}
		return y
	}
}

// handled moves at the start and settles.
func handled(r *rand.Rand, times []float64) []float64 {
	y := white(r, times)
	for i, t := range times {
		y[i] += 60 * math.Exp(-t/2)
	}
	return y
}

// stepped begins to move somewhere and goes on.
func stepped(r *rand.Rand, times []float64) []float64 {
	y, from := white(r, times), times[len(times)-1]*r.Float64()
	for i, t := range times {
		if t > from {
			y[i] += 40
		}
	}
	return y
}

func swung(amplitude float64) world {
	return func(r *rand.Rand, times []float64) []float64 {
		y, period, phase := white(r, times), 0.8+3*r.Float64(), r.Float64()
		for i, t := range times {
			y[i] += amplitude * (1 + math.Sin(2*math.Pi*(t/period+phase)))
		}
		return y
	}
}

// steps are pulses that follow each other with a few hundredths of unevenness.
func steps(r *rand.Rand, times []float64) []float64 {
	y, next, period := white(r, times), 0.0, 1+r.Float64()
	for i, t := range times {
		for t > next+0.3 {
			next += period * (1 + 0.03*r.NormFloat64())
		}
		if math.Abs(t-next) < 0.3 {
			y[i] += 40
		}
	}
	return y
}

func sampled(r *rand.Rand, n int, gaps bool) []float64 {
	var out []float64
	t := 0.0
	for len(out) < n {
		out = append(out, math.Round(1000*(t+0.01*r.NormFloat64()))/1000)
		t += 0.2
		if gaps && r.Float64() < 0.05 {
			t += 1.5 * r.Float64()
		}
	}
	return out
}

// TestNoPeriodInWhatKeepsNoTime: noise, bursts, drifts and handling pass for a period no oftener than p says,
// whether read evenly or with gaps.
func TestNoPeriodInWhatKeepsNoTime(t *testing.T) {
	for name, w := range map[string]world{"white": white, "first order 0.5": forgetful(0.5), "first order 0.9": forgetful(0.9), "first order 0.97": forgetful(0.97),
		"bursts of 1 s": telegraph(1, 2), "bursts of half a second": telegraph(0.5, 0.5), "bursts of 3 s": telegraph(3, 6), "rare bursts": telegraph(0.4, 8), "handled": handled, "stepped": stepped} {
		for _, gaps := range []bool{false, true} {
			small, tiny := seen(t, w, 150, 1000, gaps)
			// Three standard errors of a share of 5 % in 1,000 are 2.1 points.
			if small > 71 || tiny > 5 {
				t.Errorf("%s, gaps %v: p below 0.05 in %d of 1000 holds, below 0.001 in %d", name, gaps, small, tiny)
			}
		}
	}
}

// TestPeriodsAreFound: a swing of twice the noise's standard deviation, and steps with some unevenness, are found in holds of 30 s.
func TestPeriodsAreFound(t *testing.T) {
	for name, w := range map[string]world{"swing": swung(4), "steps": steps} {
		for _, gaps := range []bool{false, true} {
			if _, tiny := seen(t, w, 150, 200, gaps); tiny < 190 {
				t.Errorf("%s, gaps %v: p below 0.001 in %d of 200 holds", name, gaps, tiny)
			}
		}
	}
}

// seen counts holds of n samples with p below 0.05 and 0.001, the latter only where the phase is steady.
func seen(t *testing.T, w world, n, holds int, gaps bool) (small, tiny int) {
	t.Helper()
	for i := range holds {
		r := rand.New(rand.NewPCG(uint64(i), uint64(n)))
		times := sampled(r, n, gaps)
		p, err := FindPeriod(times, w(r, times), 5)
		if err != nil {
			t.Fatal(err)
		}
		if p.P < 0.05 {
			small++
		}
		if p.P < 0.001 && p.Steadiness >= 0.6 {
			tiny++
		}
	}
	return small, tiny
}
