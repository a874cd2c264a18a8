package chart

import (
	"html/template"
	"math"
	"slices"
	"strconv"

	"scanledger/queries/words"
)

// HeatTable is a table of rates whose cells are shaded in up to seven steps.
// Each cell shows rate, n and its interval on a track from 0 to 1.
type HeatTable struct {
	Frame
	Corner     string   // names the rows, above their labels
	Columns    []string // column headings
	Rows       []HeatRow
	Steps      []float64 // ascending rates at which the next shade begins, at most six
	EmptyWords string    // shown in an empty cell, such as "no readings"
}

// HeatRow is one row; cells past the last column are not drawn.
type HeatRow struct {
	Label string
	Cells []HeatCell
}

// HeatCell is one rate (0 to 1) with its interval and the number it rests on.
type HeatCell struct {
	Rate, Low, High float64
	N               int
	Enough          bool // false: too few to say; hatched and without shade
	Empty           bool // nothing at all: words only
	Href, Title     string
}

const (
	heatRow    = 52.0 // height of a cell
	heatGap    = 3.0
	heatHead   = 38.0
	heatNarrow = 66.0 // width under which the figure grows instead
	heatWide   = 124.0
	rampSteps  = 7
	tooFew     = "too few to say"
)

// SVG draws the figure.
func (h HeatTable) SVG() template.HTML { return h.scene().SVG() }

func (h HeatTable) scene() *Scene {
	if len(h.Columns) == 0 || len(h.Rows) == 0 {
		return sentence(h.Frame, "Nothing to show: the table has no cells.")
	}
	labelW := h.labelWidth()
	cols := float64(len(h.Columns))
	cellW := max(h.narrowest(), min(heatWide, math.Floor((Width-labelW)/cols)))
	s := &Scene{Frame: h.Frame, W: max(Width, labelW+cols*cellW)}
	h.Steps = usableSteps(h.Steps)
	h.head(s, labelW, cellW)
	for i, row := range h.Rows {
		h.row(s, row, labelW, cellW, heatHead+float64(i)*heatRow)
	}
	s.H = h.legend(s, heatHead+float64(len(h.Rows))*heatRow+20) + 14
	return s
}

func (h HeatTable) labelWidth() float64 {
	labels := []string{h.Corner}
	for _, r := range h.Rows {
		labels = append(labels, r.Label)
	}
	return widest("t", 190, labels...) + 14
}

// narrowest gives the width that a cell needs for its n.
func (h HeatTable) narrowest() float64 {
	w := heatNarrow
	for _, r := range h.Rows {
		for _, c := range r.Cells {
			w = max(w, 10+textWidth("n="+words.Count(c.N), "t-count"))
		}
	}
	return math.Ceil(w)
}

func (h HeatTable) head(s *Scene, labelW, cellW float64) {
	s.draw(text(0, heatHead-10, "start", "t-axis t-soft", fit(h.Corner, "t-axis t-soft", labelW-10)))
	for i, c := range h.Columns {
		lines := wrap(c, "t-axis t-soft", cellW-8, 2)
		x := labelW + (float64(i)+0.5)*cellW
		s.point(c, "", column(x, heatHead-10-float64(len(lines)-1)*14, "middle", "t-axis t-soft", lines)...)
	}
}

// column sets lines of text under each other, the first baseline at y.
func column(x, y float64, anchor, class string, lines []string) []Shape {
	var out []Shape
	for i, l := range lines {
		out = append(out, text(x, y+float64(i)*14, anchor, class, l))
	}
	return out
}

// beside sets a label of up to two lines around the height y.
func beside(x, y, width float64, class, label string) []Shape {
	lines := wrap(label, class, width, 2)
	return column(x, y+4.5-7*float64(len(lines)-1), "start", class, lines)
}

func (h HeatTable) row(s *Scene, row HeatRow, labelW, cellW, y float64) {
	s.point(row.Label, "", beside(0, y+(heatRow-heatGap)/2, labelW-12, "t", row.Label)...)
	for i := range h.Columns {
		cell := HeatCell{Empty: true}
		if i < len(row.Cells) {
			cell = row.Cells[i]
		}
		what := row.Label + ", " + h.Columns[i]
		h.cell(s, cell, what, labelW+float64(i)*cellW, y, cellW-heatGap)
	}
}

func (h HeatTable) cell(s *Scene, c HeatCell, what string, x, y, w float64) {
	if c.Empty || !isRate(c.Rate, c.Low, c.High) || c.Low > c.High {
		words := noFigure
		if c.Empty {
			words = orElse(h.EmptyWords, "nothing recorded")
		}
		lines := wrap(words, "t-count t-soft", w-6, 2)
		s.point(orElse(c.Title, what+": "+words), c.Href, column(x+w/2, y+22, "middle", "t-count t-soft", lines)...)
		return
	}
	look := lookOf(c, h.Steps)
	shapes := look.ground(x, y, w, heatRow-heatGap)
	shapes = append(shapes, look.words(x+w/2, y, words.Percent(c.Rate), "n="+words.Count(c.N))...)
	shapes = append(shapes, look.track(c, x+8, y+41, w-16)...)
	title := what + ": " + rateTitle(c.Rate, c.Low, c.High, c.N, c.Enough)
	s.point(orElse(c.Title, title), c.Href, shapes...)
}

// cellLook holds the classes of a cell's parts.
type cellLook struct{ fill, mod, stroke, base string }

func lookOf(c HeatCell, steps []float64) cellLook {
	if !c.Enough {
		return cellLook{"f-hatch s-base", "t-soft", "s-soft", "s-base"}
	}
	step := rampOf(c.Rate, steps)
	look := cellLook{"f-ramp" + strconv.Itoa(step), "", "s-ink", "s-ink"}
	if step >= 5 {
		look.mod, look.stroke, look.base = "t-on-dark", "s-paper", "s-paper"
	}
	return look
}

// usableSteps keeps the rates among the steps, in order, as many as there are
// shades for.
func usableSteps(steps []float64) []float64 {
	var kept []float64
	for _, s := range steps {
		if isRate(s) {
			kept = append(kept, s)
		}
	}
	slices.Sort(kept)
	kept = slices.Compact(kept)
	return kept[:min(len(kept), rampSteps-1)]
}

// rampOf gives the shade of a rate: how many steps it has reached.
func rampOf(rate float64, steps []float64) int {
	n := 0
	for _, s := range steps {
		if rate >= s {
			n++
		}
	}
	return n
}

func (l cellLook) ground(x, y, w, h float64) []Shape {
	if hasClass(l.fill, "f-hatch") {
		r := dashed(rect(x+0.5, y+0.5, w-1, h-1, l.fill), "4 3")
		r.Stroke = 1
		return []Shape{r}
	}
	return []Shape{rect(x, y, w, h, l.fill)}
}

// words sets rate and n. Over hatching they stand on a plate of paper.
func (l cellLook) words(x, y float64, rate, n string) []Shape {
	class, count := "t "+orElse(l.mod, "t-strong"), "t-count"
	if l.mod != "" {
		count += " " + l.mod
	}
	shapes := []Shape{text(x, y+18, "middle", class, rate), text(x, y+32, "middle", count, n)}
	if !hasClass(l.fill, "f-hatch") {
		return shapes
	}
	w := max(textWidth(rate, class), textWidth(n, count)) + 6
	return append([]Shape{rect(x-w/2, y+6, w, 29, "f-paper")}, shapes...)
}

// track draws the interval as a thick piece of a thin line from 0 to 1.
func (l cellLook) track(c HeatCell, x, y, w float64) []Shape {
	at := func(rate float64) float64 { return x + rate*w }
	return []Shape{
		line(x, y, x+w, y, l.base, 0.5),
		line(at(c.Low), y, max(at(c.High), at(c.Low)+1), y, l.stroke, 3),
		line(at(c.Rate), y-4, at(c.Rate), y+4, l.stroke, 1.5),
	}
}

// legend names the shades, breaking lines at the width of the page column, and
// gives the y it ends at.
func (h HeatTable) legend(s *Scene, y float64) float64 {
	x := 0.0
	entry := func(class, words string) {
		w := 28 + textWidth(words, "t-axis t-soft")
		if x > 0 && x+w > Width {
			x, y = 0, y+20
		}
		s.draw(append(cellLook{fill: class}.ground(x, y-10, 20, 11),
			text(x+26, y, "start", "t-axis t-soft", words))...)
		x += w + 14
	}
	for i, words := range stepNames(h.Steps) {
		entry("f-ramp"+strconv.Itoa(i), words)
	}
	entry("f-hatch s-base", tooFew)
	return y
}

func stepNames(steps []float64) []string {
	if len(steps) == 0 {
		return []string{"any rate"}
	}
	names := []string{"under " + tickPercent(steps[0])}
	for i := 1; i < len(steps); i++ {
		names = append(names, tickNumber(100*steps[i-1])+"–"+tickPercent(steps[i]))
	}
	return append(names, tickPercent(steps[len(steps)-1])+" and up")
}

// rateTitle says a rate in words, always with interval and n.
func rateTitle(rate, low, high float64, n int, enough bool) string {
	t := words.Percent(rate) + " (95% interval " + words.Range(low, high) + "), n=" + words.Count(n)
	if !enough {
		t += ", " + tooFew
	}
	return t
}

func orElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}
