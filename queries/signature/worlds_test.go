package signature

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"
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

// steps are pulses that follow each other with a tenth of unevenness.
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

func TestExplore(t *testing.T) {
	worlds := []struct {
		name string
		w    world
	}{
		{"white", white}, {"ar .5", forgetful(0.5)}, {"ar .9", forgetful(0.9)}, {"ar .97", forgetful(0.97)}, {"tel 1/2", telegraph(1, 2)}, {"tel .5/.5", telegraph(0.5, 0.5)}, {"tel 3/6", telegraph(3, 6)}, {"tel .4/8", telegraph(0.4, 8)},
		{"handled", handled}, {"stepped", stepped}, {"sine 2", swung(1)}, {"sine 4", swung(2)}, {"sine 10", swung(10)}, {"steps", steps},
	}
	for _, gaps := range []bool{false, true} {
		for _, n := range []int{100, 200} {
			for wi, w := range worlds {
				const runs = 2000
				var p05, p01, p001, both float64
				var steady []float64
				began := time.Now()
				for i := range runs {
					r := rand.New(rand.NewPCG(uint64(i), uint64(wi)))
					times := sampled(r, n, gaps)
					p, err := FindPeriod(times, w.w(r, times), 5)
					if err != nil {
						t.Fatal(err)
					}
					if p.P < 0.05 {
						p05++
					}
					if p.P < 0.01 {
						p01++
					}
					if p.P < 0.001 {
						p001++
						steady = append(steady, p.Steadiness)
						if p.Steadiness > 0.6 {
							both++
						}
					}
				}
				m := 0.0
				for _, s := range steady {
					m += s / float64(len(steady))
				}
				fmt.Printf("gaps %v n %d %-10s p<.05 %.3f p<.01 %.3f p<.001 %.4f  with steady %.4f mean %.2f  %v a hold\n", gaps, n, w.name, p05/runs, p01/runs, p001/runs, both/runs, m, time.Since(began)/runs)
			}
		}
	}
}
