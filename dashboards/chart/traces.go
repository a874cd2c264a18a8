package chart

import (
	"html/template"
	"math"
)

// Traces is what a unit logged: a row for each hold, the level over its seconds above the noise it lay in.
type Traces struct {
	Frame
	Holds []Trace
}

// Trace is one hold.
type Trace struct {
	Label   string    // where, and at which gain
	Call    string    // Shown, NotShown or anything else for unclear; empty where nobody wrote the hold down
	Seconds float64   // how long it was held
	Noise   float64   // upper edge of the noise, percent of full scale
	Levels  []float64 // the highest level in each of even parts of the hold, percent of full scale; NaN where none was logged
	Says    string    // what the movement looks like
	Strong  bool      // Says asks for a look; set stronger
	Title   string
}

const (
	traceRow    = 64.0
	traceLevels = 44.0 // height of the full scale
	mostSecond  = 1e4  // a longer hold is taken for a mistake
)

// SVG draws the figure.
func (f Traces) SVG() template.HTML { return f.scene().SVG() }

func (f Traces) scene() *Scene {
	longest, labels := 0.0, []string{}
	for _, h := range f.Holds {
		labels = append(labels, h.Label)
		if h.usable() {
			longest = max(longest, h.Seconds)
		}
	}
	if longest == 0 {
		return sentence(f.Frame, "Nothing to show: no hold was logged.")
	}
	bottom := stripTop + traceRow*float64(len(f.Holds))
	s := &Scene{Frame: f.Frame, W: Width, H: bottom + 66}
	hi, step := countRange(longest)
	x := scale{lo: 0, hi: hi, from: widest("t", 180, labels...) + 62, to: stripRight}
	for i, h := range f.Holds {
		top := stripTop + traceRow*float64(i)
		h.draw(s, x, scale{lo: 0, hi: 100, from: top + traceLevels + 10, to: top + 10})
	}
	countAxis(s, x, bottom, step, "Seconds since the hold began")
	f.key(s, bottom+58)
	return s
}

func (h Trace) usable() bool { return h.Seconds > 0 && h.Seconds <= mostSecond }

func (h Trace) draw(s *Scene, x, y scale) {
	middle, class := (y.from+y.to)/2, "t-axis t-soft"
	if h.Strong {
		class = "t-axis t-strong"
	}
	s.point(orElse(h.Title, orElse(h.Says, h.Label)), "",
		append(beside(0, middle, x.from-62, "t", h.Label), beside(stripRight+14, middle, Width-stripRight-14, class, h.Says)...)...)
	for _, level := range []float64{0, 100} {
		s.draw(line(x.from, y.at(level), x.to, y.at(level), "s-base", 0.4), centred(x.from-8, y.at(level), "end", "t-count t-soft", tickNumber(level)))
	}
	if !h.usable() {
		return
	}
	if h.Noise > 0 && h.Noise <= 100 {
		s.draw(rect(x.from, y.at(h.Noise), x.at(h.Seconds)-x.from, y.from-y.at(h.Noise), "f-band1"))
	}
	for _, run := range h.runs(x, y) {
		s.draw(polyline("s-deep", 1.3, run...))
	}
	if h.Call != "" {
		s.draw(callMark(x.from-46, middle, h.Call)...)
	}
}

// runs are the stretches of the level without a gap, each of two dots at least.
func (h Trace) runs(x, y scale) (out [][]pt) {
	var run []pt
	end := func() {
		if len(run) > 1 {
			out = append(out, run)
		}
		run = nil
	}
	for i, level := range h.Levels {
		if math.IsNaN(level) || level < 0 || level > 100 {
			end()
			continue
		}
		run = append(run, pt{x.at(h.Seconds * (float64(i) + 0.5) / float64(len(h.Levels))), y.at(level)})
	}
	end()
	return out
}

func (Traces) key(s *Scene, y float64) {
	x := callKey(s, y)
	s.draw(rect(x-6, y-9, 16, 10, "f-band1"), text(x+16, y, "start", "t-axis t-soft", "noise of the day at that gain"))
}
