package chart

import (
	"cmp"
	"html/template"
	"math"
	"slices"
)

// Strip is one visit: a row for each point that was read, the readings over time
// at the height of their gain step, and what was found later.
type Strip struct {
	Frame
	Points []StripPoint
}

// StripPoint is one place in the building.
type StripPoint struct {
	Label       string
	Readings    []StripReading
	Finding     string // what was found later; empty if nothing is known
	Decisive    bool   // the finding settles the matter; set stronger
	Href, Title string
}

// StripReading is one reading.
type StripReading struct {
	Minute float64 // since the visit began
	Gain   int     // gain step
	Call   string  // Shown, NotShown or anything else for unclear
	Title  string
}

// The calls of a reading.
const (
	Shown    = "shown"     // movement shown: filled mark
	NotShown = "not_shown" // no movement shown: open mark
	Unclear  = "unclear"   // half-filled mark
)

const (
	stripRow   = 54.0
	stripTop   = 8.0
	stripRight = 580.0
	mostMinute = 1e5 // a longer visit is taken for a mistake
)

// SVG draws the figure.
func (v Strip) SVG() template.HTML { return v.scene().SVG() }

func (v Strip) scene() *Scene {
	last, low, high, found := v.span()
	if !found {
		return sentence(v.Frame, "Nothing to show: the visit has no readings.")
	}
	bottom := stripTop + stripRow*float64(len(v.Points))
	s := &Scene{Frame: v.Frame, W: Width, H: bottom + 66}
	left := v.labelWidth()
	hi, step := countRange(last)
	x := scale{lo: 0, hi: hi, from: left, to: stripRight}
	for i, p := range v.Points {
		top := stripTop + stripRow*float64(i)
		y := scale{lo: float64(low), hi: float64(max(high, low+1)), from: top + stripRow - 12, to: top + 10}
		p.draw(s, x, y)
	}
	countAxis(s, x, bottom, step, "Minutes since the visit began")
	callKey(s, bottom+58)
	return s
}

// span gives the last minute and the gain steps of all usable readings.
func (v Strip) span() (last float64, low, high int, found bool) {
	low, high = math.MaxInt, math.MinInt
	for _, p := range v.Points {
		for _, r := range p.usable() {
			last, low, high, found = max(last, r.Minute), min(low, r.Gain), max(high, r.Gain), true
		}
	}
	return last, low, high, found
}

func (r StripReading) usable() bool {
	return r.Minute >= 0 && r.Minute <= mostMinute && r.Gain >= 0 && r.Gain <= 99
}

func (v Strip) labelWidth() float64 {
	var labels []string
	for _, p := range v.Points {
		labels = append(labels, p.Label)
	}
	return widest("t", 180, labels...) + 62
}

func (p StripPoint) draw(s *Scene, x, y scale) {
	middle := (y.from + y.to) / 2
	class := "t-axis t-soft"
	if p.Decisive {
		class = "t-axis t-strong"
	}
	s.point(orElse(p.Title, orElse(p.Finding, p.Label)), p.Href,
		append(beside(0, middle, x.from-58, "t", p.Label),
			beside(stripRight+14, middle, Width-stripRight-14, class, p.Finding)...)...)
	for _, g := range []float64{y.lo, y.hi} {
		s.draw(line(x.from, y.at(g), x.to, y.at(g), "s-base", 0.4),
			centred(x.from-8, y.at(g), "end", "t-count t-soft", gainName(g, y.hi)))
	}
	readings := p.usable()
	var steps []pt
	for _, r := range readings {
		steps = stepTo(steps, pt{x.at(r.Minute), y.at(float64(r.Gain))})
	}
	if len(steps) > 1 {
		s.draw(polyline("s-deep", 1.3, steps...))
	}
	for _, r := range readings {
		r.draw(s, p.Label, x.at(r.Minute), y.at(float64(r.Gain)))
	}
}

// usable gives the readings that can be drawn, in the order of time.
func (p StripPoint) usable() []StripReading {
	kept := slices.DeleteFunc(slices.Clone(p.Readings), func(r StripReading) bool { return !r.usable() })
	slices.SortStableFunc(kept, func(a, b StripReading) int { return cmp.Compare(a.Minute, b.Minute) })
	return kept
}

func gainName(g, highest float64) string {
	if g == highest {
		return "gain " + tickNumber(g)
	}
	return tickNumber(g)
}

// stepTo goes on level until the next reading: the gain step stays set so long.
func stepTo(steps []pt, next pt) []pt {
	if n := len(steps); n > 0 {
		steps = append(steps, pt{next.x, steps[n-1].y})
	}
	return append(steps, next)
}

func (r StripReading) draw(s *Scene, place string, x, y float64) {
	title := place + ", minute " + tickNumber(math.Round(10*r.Minute)/10) + ", gain step " + tickNumber(float64(r.Gain)) + ": " + callWords(r.Call)
	s.point(orElse(r.Title, title), "", callMark(x, y, r.Call)...)
}

func callWords(call string) string {
	switch call {
	case Shown:
		return "movement shown"
	case NotShown:
		return "no movement shown"
	}
	return "unclear"
}

func callMark(x, y float64, call string) []Shape {
	const r = 4.5
	open := circle(x, y, r, "f-paper s-deep", 1.4)
	switch call {
	case Shown:
		return []Shape{circle(x, y, r, "f-deep s-deep", 1.4)}
	case NotShown:
		return []Shape{open}
	}
	half := "M" + coord(x) + " " + coord(y-r) + "A4.5 4.5 0 0 0 " + coord(x) + " " + coord(y+r) + "Z"
	return []Shape{open, {Kind: Path, Class: "f-deep", D: half}}
}

// callKey explains the marks of calls, and gives where it ends.
func callKey(s *Scene, y float64) float64 {
	x := 6.0
	for _, call := range []string{Shown, Unclear, NotShown} {
		words := text(x+12, y, "start", "t-axis t-soft", callWords(call))
		s.draw(append(callMark(x, y-4, call), words)...)
		x = textBox(words).r + 24
	}
	return x
}
