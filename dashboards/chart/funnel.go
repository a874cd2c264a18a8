package chart

import (
	"html/template"
	"slices"

	"scanledger/queries/words"
)

// Funnel is a funnel plot of rates against the numbers they rest on, with
// limits around a centre (Spiegelhalter 2005, Statistics in Medicine 24:1185).
type Funnel struct {
	Frame
	Points []FunnelPoint
	Centre float64 // overall rate, 0 to 1; no line if it is not a rate
	Bands  []FunnelBand
	XLabel string // what n counts
}

// FunnelPoint is one unit: a rate of 0 to 1 out of N.
type FunnelPoint struct {
	Label, Href, Title string
	N                  int
	Value              float64
	Standing           string // InLine, Watch, Act or TooFew
}

// FunnelBand holds the limits (rates) at one N.
type FunnelBand struct {
	N                              int
	Low998, Low95, High95, High998 float64
}

const (
	plotLeft   = 46.0  // room for percentages
	plotRight  = 650.0 // labels of lines stand right of it
	plotTop    = 14.0
	funnelBase = 330.0
)

// SVG draws the figure.
func (f Funnel) SVG() template.HTML { return f.scene().SVG() }

func (f Funnel) scene() *Scene {
	all := len(f.Points)
	f.Points = slices.DeleteFunc(slices.Clone(f.Points), func(p FunnelPoint) bool { return !isRate(p.Value) || p.N <= 0 })
	f.Bands = slices.DeleteFunc(slices.Clone(f.Bands), func(b FunnelBand) bool {
		return !isRate(b.Low998, b.Low95, b.High95, b.High998) || b.N <= 0
	})
	slices.SortStableFunc(f.Bands, func(a, b FunnelBand) int { return a.N - b.N })
	left := all - len(f.Points)
	if len(f.Points) == 0 {
		return sentence(f.Frame, "Nothing to show: no unit has a rate.")
	}
	s := &Scene{Frame: f.Frame, W: Width, H: funnelBase + 62}
	x, xStep, y, yStep := f.scales()
	f.bands(s, x, y)
	rateGrid(s, y, yStep, plotLeft, plotRight)
	countAxis(s, x, funnelBase, xStep, f.XLabel)
	f.edge(s, y)
	f.points(s, x, y)
	if left > 0 {
		s.draw(text(plotLeft, funnelBase+56, "start", "t-axis t-soft", "Not drawn, since without a rate: "+words.Count(left)))
	}
	return s
}

// scales span all points, the centre and the limits at the largest N. Limits at
// small N run out of the plot: they would leave no room for the points.
func (f Funnel) scales() (x scale, xStep float64, y scale, yStep float64) {
	most, rates := 0, []float64{}
	for _, p := range f.Points {
		most, rates = max(most, p.N), append(rates, p.Value)
	}
	if isRate(f.Centre) {
		rates = append(rates, f.Centre)
	}
	if n := len(f.Bands); n > 0 {
		rates = append(rates, f.Bands[n-1].Low998, f.Bands[n-1].High998)
	}
	hi, xStep := countRange(float64(most))
	lo, top, yStep := rateRange(rates)
	return scale{lo: 0, hi: hi, from: plotLeft, to: plotRight}, xStep,
		scale{lo: lo, hi: top, from: funnelBase, to: plotTop}, yStep
}

func (f Funnel) bands(s *Scene, x, y scale) {
	var outer, inner, outerLow, innerLow []pt
	for _, b := range f.Bands {
		if !x.holds(float64(b.N)) {
			continue
		}
		at := x.at(float64(b.N))
		outer, outerLow = append(outer, pt{at, y.at(b.High998)}), append(outerLow, pt{at, y.at(b.Low998)})
		inner, innerLow = append(inner, pt{at, y.at(b.High95)}), append(innerLow, pt{at, y.at(b.Low95)})
	}
	if len(outer) < 2 {
		return
	}
	slices.Reverse(outerLow)
	slices.Reverse(innerLow)
	s.point("99.8% limits", "", polygon("f-band2", append(outer, outerLow...)...))
	s.point("95% limits", "", polygon("f-band1", append(inner, innerLow...)...))
}

// edge draws the centre line and names the lines at the right.
func (f Funnel) edge(s *Scene, y scale) {
	var names []edgeName
	if n := len(f.Bands); n > 1 {
		names = append(names,
			edgeName{f.Bands[n-1].High998, "t-axis t-soft", "99.8% limit"},
			edgeName{f.Bands[n-1].High95, "t-axis t-soft", "95% limit"})
	}
	if isRate(f.Centre) {
		at := y.at(f.Centre)
		s.draw(dashed(line(plotLeft, at, plotRight, at, "s-ink", 1.3), "2 3"))
		names = append(names, edgeName{f.Centre, "t-axis t-strong", "All: " + words.Percent(f.Centre)})
	}
	nameEdges(s, y, names)
}

// edgeName names a line that ends at the right of a plot, at the height value.
type edgeName struct {
	value        float64
	class, words string
}

func nameEdges(s *Scene, y scale, names []edgeName) {
	var heights []float64
	for _, n := range names {
		heights = append(heights, y.at(n.value))
	}
	for i, at := range spread(heights, 15, y.to, y.from) {
		n := names[i]
		s.point(n.words, "", centred(plotRight+8, at, "start", n.class, fit(n.words, n.class, Width-plotRight-8)))
	}
}

// points draws those that stand out last, so that no other mark hides them, but
// places their labels first.
func (f Funnel) points(s *Scene, x, y scale) {
	p := &placer{area: box{plotLeft, 0, plotRight, funnelBase}}
	at := func(pt FunnelPoint) (float64, float64) { return x.at(float64(pt.N)), y.at(pt.Value) }
	for _, pt := range f.Points {
		px, py := at(pt)
		p.reserve(around(px, py, radius-1))
	}
	slices.SortStableFunc(f.Points, func(a, b FunnelPoint) int { return urgency(b.Standing) - urgency(a.Standing) })
	marks := make([]Mark, len(f.Points))
	for i, pt := range f.Points {
		px, py := at(pt)
		marks[len(marks)-1-i] = pt.mark(p, px, py)
	}
	s.Marks = append(s.Marks, marks...)
}

// urgency orders standings; a word that is none counts as not judged.
func urgency(standing string) int {
	return slices.Index([]string{InLine, Watch, Act}, standing)
}

func (pt FunnelPoint) mark(p *placer, x, y float64) Mark {
	of := words.Percent(pt.Value) + " of " + words.Count(pt.N)
	shapes := standingMark(x, y, pt.Standing)
	switch pt.Standing {
	case Act:
		short := fit(pt.Label, "t-axis t-rust", 160)
		shapes = append(shapes, p.placeFirst(x, y, "t-axis t-rust", short+" "+of, short)...)
	case Watch:
		shapes = append(shapes, p.placeFirst(x, y, "t-axis", fit(pt.Label, "t-axis", 160))...)
	}
	title := orElse(pt.Title, pt.Label+": "+of+", "+standingWords(pt.Standing))
	return Mark{Title: title, Href: pt.Href, Shapes: shapes}
}
