package chart

import "scanledger/queries/words"

import "math"

// scale maps numbers to px, evenly or by their logarithm.
type scale struct {
	lo, hi   float64 // ends of the data
	from, to float64 // ends in px
	log      bool
}

// at gives the px of v, kept between the ends.
func (s scale) at(v float64) float64 {
	f := (v - s.lo) / (s.hi - s.lo)
	if s.log {
		f = math.Log(v/s.lo) / math.Log(s.hi/s.lo)
	}
	return s.from + min(1, max(0, f))*(s.to-s.from)
}

func (s scale) holds(v float64) bool { return v >= s.lo && v <= s.hi }

// niceStep gives 1, 2 or 5 times a power of ten that cuts a span into at most
// about n pieces.
func niceStep(span float64, n int) float64 {
	raw := span / float64(n)
	power := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, m := range []float64{1, 2, 5} {
		if m*power >= raw*(1-1e-9) {
			return m * power
		}
	}
	return 10 * power
}

// ticks gives the multiples of a step from lo to hi.
func ticks(lo, hi, step float64) []float64 {
	var out []float64
	first := math.Ceil(lo/step - 1e-9)
	last := math.Floor(hi/step + 1e-9)
	for k := first; k <= last; k++ {
		out = append(out, k*step+0) // + 0 turns -0 into 0
	}
	return out
}

// rateRange gives the ends of an axis that shows all rates, at least ten points
// apart and rounded outwards to a step.
func rateRange(rates []float64) (lo, hi, step float64) {
	lo, hi = 1, 0
	for _, r := range rates {
		lo, hi = min(lo, r), max(hi, r)
	}
	mid := (lo + hi) / 2
	lo, hi = max(0, min(lo, mid-0.05)), min(1, max(hi, mid+0.05))
	step = niceStep(hi-lo, 6)
	lo = max(0, step*math.Floor(lo/step+1e-9))
	hi = min(1, step*math.Ceil(hi/step-1e-9))
	return lo, hi, step
}

// countRange gives the end of an axis of counts from 0.
func countRange(most float64) (hi, step float64) {
	step = max(1, niceStep(max(1, most), 7))
	return step * math.Ceil(max(1, most)/step-1e-9), step
}

// rateGrid draws level lines with percentages at their left.
func rateGrid(s *Scene, y scale, step, left, right float64) {
	for _, v := range ticks(y.lo, y.hi, step) {
		s.draw(line(left, y.at(v), right, y.at(v), "s-base", 0.4),
			centred(left-8, y.at(v), "end", "t-axis t-soft", tickPercent(v)))
	}
}

// columnGrid draws upright lines from top to bottom with their numbers below.
func columnGrid(s *Scene, x scale, top, bottom float64, marks []float64, name func(float64) string) {
	for _, v := range marks {
		s.draw(line(x.at(v), top, x.at(v), bottom, "s-base", 0.4))
	}
	tickLabels(s, x, bottom+18, marks, name)
}

// tickLabels sets numbers under an axis, without those that would meet the one
// to their left.
func tickLabels(s *Scene, x scale, y float64, marks []float64, name func(float64) string) {
	end := 0.0
	for _, v := range marks {
		label := text(x.at(v), y, "middle", "t-axis t-soft", name(v))
		if b := textBox(label); b.l >= end {
			s.draw(label)
			end = b.r + 6
		}
	}
}

func tickCount(v float64) string { return words.Count(int(math.Round(v))) }

// countAxis draws a level axis with ticks and a name under it.
func countAxis(s *Scene, x scale, y, step float64, name string) {
	s.draw(line(x.from, y, x.to, y, "s-base", 1))
	marks := ticks(x.lo, x.hi, step)
	for _, v := range marks {
		s.draw(line(x.at(v), y, x.at(v), y+4, "s-base", 1))
	}
	tickLabels(s, x, y+18, marks, tickCount)
	class := "t-axis t-soft"
	s.draw(text((x.from+x.to)/2, y+38, "middle", class, fit(name, class, x.to-x.from)))
}
