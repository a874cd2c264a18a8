package chart

import (
	"html/template"
	"math"
	"slices"
	"strconv"

	"scanledger/queries/words"
)

// Dots is a list of figures with their 95 % intervals on one axis: rates, or
// ratios on a logarithmic axis. An interval is a spindle that thins out to its
// ends, since values near the middle fit the data better than those at the ends.
type Dots struct {
	Frame
	Rows           []DotRow
	Ratio          bool // ratios on a logarithmic axis; else rates of 0 to 1
	Reference      bool // whether to draw a line at ReferenceAt
	ReferenceAt    float64
	ReferenceLabel string
	NLabel         string // what n counts, over the right column; default "n"
}

// DotRow is one figure with its interval and the number it rests on.
type DotRow struct {
	Label            string
	Value, Low, High float64
	N                int
	Enough           bool
	Standing         string // InLine, Watch, Act or TooFew
	Href, Title      string
}

const (
	dotRow  = 26.0
	dotHead = 34.0
	dotPlot = 490.0 // right end of the axis; figures in words stand right of it
)

// SVG draws the figure.
func (d Dots) SVG() template.HTML { return d.scene().SVG() }

func (d Dots) scene() *Scene {
	if len(d.Rows) == 0 {
		return sentence(d.Frame, "Nothing to show: there are no rows.")
	}
	bottom := dotHead + dotRow*float64(len(d.Rows))
	s := &Scene{Frame: d.Frame, W: Width, H: bottom + 28}
	left := d.labelWidth()
	x, marks := d.axis(left)
	columnGrid(s, x, dotHead-4, bottom, marks, d.tick)
	d.reference(s, x, left, bottom)
	edge := Width - d.countWidth()
	s.draw(text(edge, dotHead-14, "end", "t-axis t-soft", d.words()),
		text(Width, dotHead-14, "end", "t-axis t-soft", fit(d.nLabel(), "t-axis t-soft", Width-edge-10)))
	for i, r := range d.Rows {
		d.row(s, r, x, edge, dotHead+dotRow*(float64(i)+0.5))
	}
	return s
}

func (d Dots) labelWidth() float64 {
	var labels []string
	for _, r := range d.Rows {
		labels = append(labels, r.Label)
	}
	return widest("t", 210, labels...) + 24
}

func (d Dots) nLabel() string { return orElse(d.NLabel, "n") }

func (d Dots) countWidth() float64 {
	w := widest("t-axis", 100, d.nLabel())
	for _, r := range d.Rows {
		w = max(w, textWidth(words.Count(r.N), "t-count"))
	}
	return w + 16
}

func (d Dots) words() string {
	if d.Ratio {
		return "ratio (95% interval)"
	}
	return "rate (95% interval)"
}

func (d Dots) tick(v float64) string {
	if d.Ratio {
		return ratioTick(v)
	}
	return tickPercent(v)
}

// ratioTick writes a power of two; small ones with two digits.
func ratioTick(v float64) string {
	if v >= 1 {
		return tickCount(v)
	}
	return strconv.FormatFloat(v, 'g', 2, 64)
}

func (d Dots) usable(r DotRow) bool {
	if r.Low > r.High {
		return false
	}
	if d.Ratio {
		return isRatio(r.Value, r.Low, r.High)
	}
	return isRate(r.Value, r.Low, r.High)
}

// isRatio says whether all are ratios that a logarithmic axis can hold.
func isRatio(vs ...float64) bool {
	for _, v := range vs {
		if !(v >= 1e-4 && v <= 1e4) {
			return false
		}
	}
	return true
}

// axis spans the values and intervals of all usable rows and the reference.
func (d Dots) axis(left float64) (scale, []float64) {
	var vs []float64
	for _, r := range d.Rows {
		if d.usable(r) {
			vs = append(vs, r.Value, r.Low, r.High)
		}
	}
	if d.hasReference() {
		vs = append(vs, d.ReferenceAt)
	}
	if !d.Ratio {
		lo, hi, step := rateRange(vs)
		return scale{lo: lo, hi: hi, from: left, to: dotPlot - 14}, ticks(lo, hi, step)
	}
	lo, hi := 0.5, 2.0
	if len(vs) > 0 {
		lo, hi = min(lo, slices.Min(vs)), max(hi, slices.Max(vs))
	}
	return logAxis(lo, hi, left, dotPlot-14)
}

// logAxis has ticks at powers of two, of four, and so on, at most nine or so.
func logAxis(lo, hi, from, to float64) (scale, []float64) {
	first, last := math.Floor(math.Log2(lo)+1e-9), math.Ceil(math.Log2(hi)-1e-9)
	stride := math.Ceil((last - first) / 8)
	first, last = stride*math.Floor(first/stride), stride*math.Ceil(last/stride)
	var marks []float64
	for k := first; k <= last; k += stride {
		marks = append(marks, math.Exp2(k))
	}
	return scale{lo: math.Exp2(first), hi: math.Exp2(last), from: from, to: to, log: true}, marks
}

func (d Dots) hasReference() bool {
	return d.Reference && (d.Ratio && isRatio(d.ReferenceAt) || !d.Ratio && isRate(d.ReferenceAt))
}

func (d Dots) reference(s *Scene, x scale, left, bottom float64) {
	if !d.hasReference() {
		return
	}
	at, class := x.at(d.ReferenceAt), "t-axis t-strong"
	words := fit(d.ReferenceLabel, class, dotPlot-left)
	half := textWidth(words, class) / 2
	middle := min(max(at, left+half), dotPlot-half)
	s.point(d.ReferenceLabel, "", dashed(line(at, dotHead-8, at, bottom, "s-ink", 1.3), "2 3"),
		text(middle, dotHead-14, "middle", class, words))
}

func (d Dots) row(s *Scene, r DotRow, x scale, edge, y float64) {
	label := centred(0, y, "start", "t", fit(r.Label, "t", x.from-20))
	n := centred(Width, y, "end", "t-count t-soft", words.Count(r.N))
	if !d.usable(r) {
		words := noFigure
		s.point(orElse(r.Title, r.Label+": "+words), r.Href, label,
			centred(edge, y, "end", "t-axis t-soft", words), n)
		return
	}
	said := d.figure(r)
	shapes := append([]Shape{label}, spindle(x.at(r.Low), x.at(r.Value), x.at(r.High), y, r)...)
	shapes = append(shapes, centred(edge, y, "end", "t-axis", fit(said, "t-axis", edge-dotPlot)), n)
	verdict := standingWords(r.Standing)
	if !r.Enough {
		verdict = tooFew
	}
	title := r.Label + ": " + said + ", n=" + words.Count(r.N) + ", " + verdict
	s.point(orElse(r.Title, title), r.Href, shapes...)
}

func (d Dots) figure(r DotRow) string {
	if d.Ratio {
		return words.Ratio(r.Value) + " (" + words.Ratio(r.Low) + "–" + words.Ratio(r.High) + ")"
	}
	return words.Percent(r.Value) + " (" + words.Percent(r.Low) + "–" + words.Percent(r.High) + ")"
}

// spindle draws an interval that is thickest at its value.
func spindle(low, mid, high, y float64, r DotRow) []Shape {
	if !r.Enough {
		s := dashed(spindlePath(low, mid, high, y, "f-hatch s-base"), "3 2")
		s.Stroke = 1
		return append([]Shape{s}, standingMark(mid, y, TooFew)...)
	}
	fill := map[string]string{InLine: "f-deep", Watch: "f-ochre", Act: "f-rust"}[r.Standing]
	body := spindlePath(low, mid, high, y, orElse(fill, "f-soft"))
	return append([]Shape{body}, standingMark(mid, y, r.Standing)...)
}

func spindlePath(low, mid, high, y float64, class string) Shape {
	const thick, thin = 6.5, 0.7
	mid = min(max(mid, low), high)
	d := "M" + coord(low) + " " + coord(y-thin) +
		ease(pt{low, y - thin}, pt{mid, y - thick}) + ease(pt{mid, y - thick}, pt{high, y - thin}) +
		"L" + coord(high) + " " + coord(y+thin) +
		ease(pt{high, y + thin}, pt{mid, y + thick}) + ease(pt{mid, y + thick}, pt{low, y + thin}) + "Z"
	return Shape{Kind: Path, Class: class, D: d}
}

// ease draws a curve that is level at both ends.
func ease(a, b pt) string {
	mid := coord((a.x + b.x) / 2)
	return "C" + mid + " " + coord(a.y) + " " + mid + " " + coord(b.y) + " " + coord(b.x) + " " + coord(b.y)
}
