package chart

import (
	"html/template"
	"math"

	"scanledger/queries/words"
)

// Ratios sets counts that were observed beside those expected, over the range
// that chance alone gives 95 times in 100.
type Ratios struct {
	Frame
	Rows       []RatioRow
	TextHeader string // over the right column; default "observed / expected"
}

// RatioRow is one observed and one expected count.
type RatioRow struct {
	Label                 string
	Observed, Expected    float64
	ChanceLow, ChanceHigh float64
	Standing              string // InLine, Watch, Act or TooFew
	Text                  string // right column; default observed / expected = ratio
	Href, Title           string
}

const (
	ratioRow   = 28.0
	ratioHead  = 26.0
	ratioRight = 570.0 // end of the axis
	mostCount  = 1e9   // larger counts are taken for mistakes
)

// SVG draws the figure.
func (r Ratios) SVG() template.HTML { return r.scene().SVG() }

func (r Ratios) scene() *Scene {
	if len(r.Rows) == 0 {
		return sentence(r.Frame, "Nothing to show: there are no rows.")
	}
	bottom := ratioHead + ratioRow*float64(len(r.Rows))
	s := &Scene{Frame: r.Frame, W: Width, H: bottom + 28}
	left := r.labelWidth()
	hi, step := countRange(r.most())
	x := scale{lo: 0, hi: hi, from: left, to: ratioRight}
	columnGrid(s, x, ratioHead-4, bottom, ticks(0, hi, step), tickCount)
	class := "t-axis t-soft"
	s.draw(text(Width, ratioHead-10, "end", class, fit(orElse(r.TextHeader, "observed / expected"), class, Width-ratioRight-20)))
	for i, row := range r.Rows {
		row.draw(s, x, ratioHead+ratioRow*(float64(i)+0.5))
	}
	return s
}

func (r Ratios) labelWidth() float64 {
	var labels []string
	for _, row := range r.Rows {
		labels = append(labels, row.Label)
	}
	return widest("t", 250, labels...) + 16
}

func (r Ratios) most() float64 {
	m := 0.0
	for _, row := range r.Rows {
		if row.usable() {
			m = max(m, row.Observed, row.Expected, row.ChanceHigh)
		}
	}
	return m
}

func (row RatioRow) usable() bool {
	for _, v := range []float64{row.Observed, row.Expected, row.ChanceLow, row.ChanceHigh} {
		if !(v >= 0 && v <= mostCount) {
			return false
		}
	}
	return row.ChanceLow <= row.ChanceHigh
}

// words gives the right column, and "too few" instead of a ratio not judged.
func (row RatioRow) words() string {
	said := amount(row.Observed) + " / " + amount(row.Expected)
	switch {
	case row.Text != "":
		return row.Text
	case urgency(row.Standing) < 0:
		return said + " " + "too few"
	case row.Expected == 0:
		return said
	}
	return said + " = " + words.Ratio(row.Observed/row.Expected) + "×"
}

// amount writes a count that may be an expected one: one decimal unless whole.
func amount(v float64) string {
	v = math.Round(10*v) / 10
	if v == math.Trunc(v) {
		return words.Count(int(v))
	}
	return tickNumber(v)
}

func (row RatioRow) draw(s *Scene, x scale, y float64) {
	label := centred(x.from-12, y, "end", "t", fit(row.Label, "t", x.from-12))
	words := noFigure
	if row.usable() {
		words = row.words()
	}
	right := centred(Width, y, "end", "t-axis", fit(words, "t-axis", Width-ratioRight-20))
	if !row.usable() {
		s.point(orElse(row.Title, row.Label+": "+words), row.Href, label, right)
		return
	}
	stem := map[string]string{Act: "s-rust", Watch: "s-ochre", InLine: "s-deep"}[row.Standing]
	low, expected, observed := x.at(row.ChanceLow), x.at(row.Expected), x.at(row.Observed)
	title := row.Label + ": " + words + "; chance alone gives " + amount(row.ChanceLow) + " to " +
		amount(row.ChanceHigh) + "; " + standingWords(row.Standing)
	shapes := []Shape{label, right,
		rect(low, y-6.5, x.at(row.ChanceHigh)-low, 13, "f-band1"),
		line(expected, y, observed, y, orElse(stem, "s-soft"), 2.5),
		line(expected, y-8, expected, y+8, "s-ink", 2)}
	s.point(orElse(row.Title, title), row.Href, append(shapes, standingMark(observed, y, row.Standing)...)...)
}
