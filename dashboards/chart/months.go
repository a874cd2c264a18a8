package chart

import (
	"html/template"
	"slices"
	"time"

	"scanledger/queries/words"
)

// Months is a rate over time, with optional limits that step from month to
// month, a centre line and a smoothed line: a p-chart with an exponentially
// weighted moving average (Montgomery 2019, Introduction to Statistical Quality
// Control, chapters 7 and 9).
type Months struct {
	Frame
	Points        []MonthPoint // one a month in order, also for months without a rate
	Limits        bool         // the points carry LCL and UCL
	Centred       bool         // whether to draw a line at Centre
	Centre        float64
	CentreLabel   string // default "All: " and the centre
	Smoothed      bool   // the points carry Smooth
	SmoothedLabel string // names the smoothed line
	Signal        string // the month of a signal, as in its point; none if empty
	SignalLabel   string
}

// MonthPoint is the rate of one month. A month with N 0 is left open.
type MonthPoint struct {
	Label            string // "2026-08"
	Value, Low, High float64
	N                int
	Enough           bool
	Standing         string // InLine, Watch, Act or TooFew
	LCL, UCL, Smooth float64
	Href, Title      string
}

const (
	monthTop  = 32.0 // leaves room for the label of a signal
	monthBase = 268.0
)

// SVG draws the figure.
func (m Months) SVG() template.HTML { return m.scene().SVG() }

func (m Months) scene() *Scene {
	rates := m.rates()
	if len(rates) == 0 {
		return sentence(m.Frame, "Nothing to show: no month has a rate.")
	}
	s := &Scene{Frame: m.Frame, W: Width, H: monthBase + 30}
	lo, hi, step := rateRange(rates)
	y := scale{lo: lo, hi: hi, from: monthBase, to: monthTop}
	m.limits(s, y)
	rateGrid(s, y, step, plotLeft, plotRight)
	s.draw(line(plotLeft, monthBase, plotRight, monthBase, "s-base", 1))
	m.ticks(s)
	m.lines(s, y)
	m.signal(s)
	for i, p := range m.Points {
		if p.drawn() {
			m.point(s, p, m.x(i), y)
		}
	}
	return s
}

func (p MonthPoint) drawn() bool { return p.N > 0 && isRate(p.Value, p.Low, p.High) && p.Low <= p.High }

func (p MonthPoint) limited() bool { return isRate(p.LCL, p.UCL) && p.LCL <= p.UCL }

// rates gives all that the axis must hold; none without a single month drawn.
// The interval of a month with too few may run out of the plot.
func (m Months) rates() []float64 {
	var rates []float64
	for _, p := range m.Points {
		if p.drawn() {
			rates = append(rates, p.Value)
		}
		if p.drawn() && p.Enough {
			rates = append(rates, p.Low, p.High)
		}
	}
	if len(rates) == 0 {
		return nil
	}
	for _, p := range m.Points {
		if m.Limits && p.limited() {
			rates = append(rates, p.LCL, p.UCL)
		}
		if m.Smoothed && isRate(p.Smooth) {
			rates = append(rates, p.Smooth)
		}
	}
	if m.Centred && isRate(m.Centre) {
		rates = append(rates, m.Centre)
	}
	return rates
}

func (m Months) slot() float64 { return (plotRight - plotLeft) / float64(len(m.Points)) }

func (m Months) x(i int) float64 { return plotLeft + (float64(i)+0.5)*m.slot() }

// limits draws a band with stepped edges over each run of months that has them.
func (m Months) limits(s *Scene, y scale) {
	if !m.Limits {
		return
	}
	var upper, lower []pt
	flush := func() {
		if len(upper) > 0 {
			low := slices.Clone(lower)
			slices.Reverse(low)
			s.point("limits", "", polygon("f-band2", append(slices.Clone(upper), low...)...),
				polyline("s-base", 1, upper...), polyline("s-base", 1, lower...))
		}
		upper, lower = nil, nil
	}
	for i, p := range m.Points {
		if !p.limited() {
			flush()
			continue
		}
		l, r := m.x(i)-m.slot()/2, m.x(i)+m.slot()/2
		upper = append(upper, pt{l, y.at(p.UCL)}, pt{r, y.at(p.UCL)})
		lower = append(lower, pt{l, y.at(p.LCL)}, pt{r, y.at(p.LCL)})
	}
	flush()
}

// lines draws centre and smoothed line and names all lines at the right.
func (m Months) lines(s *Scene, y scale) {
	var names []edgeName
	if last := m.Points[len(m.Points)-1]; m.Limits && last.limited() {
		names = append(names, edgeName{last.UCL, "t-axis t-soft", "upper limit"},
			edgeName{last.LCL, "t-axis t-soft", "lower limit"})
	}
	if m.Centred && isRate(m.Centre) {
		at := y.at(m.Centre)
		s.draw(dashed(line(plotLeft, at, plotRight, at, "s-ink", 1.3), "2 3"))
		names = append(names, edgeName{m.Centre, "t-axis t-strong", orElse(m.CentreLabel, "All: "+words.Percent(m.Centre))})
	}
	if pts, end := m.smooth(y); len(pts) > 1 {
		s.point(m.SmoothedLabel, "", polyline("s-violet", 2.5, pts...))
		names = append(names, edgeName{end, "t-axis t-violet", m.SmoothedLabel})
	}
	nameEdges(s, y, names)
}

// smooth gives the smoothed line and the rate it ends at.
func (m Months) smooth(y scale) (pts []pt, end float64) {
	if !m.Smoothed {
		return nil, 0
	}
	for i, p := range m.Points {
		if isRate(p.Smooth) {
			pts, end = append(pts, pt{m.x(i), y.at(p.Smooth)}), p.Smooth
		}
	}
	return pts, end
}

func (m Months) signal(s *Scene) {
	i := slices.IndexFunc(m.Points, func(p MonthPoint) bool { return p.Label == m.Signal })
	if i < 0 || m.Signal == "" {
		return
	}
	class, x := "t-axis t-rust", m.x(i)
	label := text(x-6, monthTop-16, "end", class, fit(m.SignalLabel, class, x-6))
	if x < (plotLeft+plotRight)/2 {
		label = text(x+6, monthTop-16, "start", class, fit(m.SignalLabel, class, Width-x-6))
	}
	s.point(m.SignalLabel, "", dashed(line(x, monthTop-26, x, monthBase, "s-rust", 1.3), "5 3"), label)
}

func (m Months) point(s *Scene, p MonthPoint, x float64, y scale) {
	standing := p.Standing
	if !p.Enough {
		standing = TooFew
	}
	title := monthName(p.Label) + ": " + rateTitle(p.Value, p.Low, p.High, p.N, p.Enough)
	interval := line(x, y.at(p.Low), x, y.at(p.High), "s-soft", 0.8)
	s.point(orElse(p.Title, title), p.Href, append([]Shape{interval}, standingMark(x, y.at(p.Value), standing)...)...)
}

// monthName turns "2026-08" into "Aug 2026" and leaves anything else alone.
func monthName(label string) string {
	t, err := time.Parse("2006-01", label)
	if err != nil {
		return label
	}
	return t.Format("Jan 2006")
}

// ticks names every month, quarter, half year or year, whichever leaves room;
// where a label still meets the one before it, it is left out.
func (m Months) ticks(s *Scene) {
	const class = "t-axis t-soft"
	stride := m.stride(textWidth("Sep 0000", class) + 12)
	end := 0.0
	for i, p := range m.Points {
		if !onTick(p.Label, i, stride) {
			continue
		}
		s.draw(line(m.x(i), monthBase, m.x(i), monthBase+4, "s-base", 1))
		t := text(m.x(i), monthBase+18, "middle", class, fit(monthName(p.Label), class, 90))
		if b := textBox(t); b.l >= end && b.r <= Width {
			s.draw(t)
			end = b.r + 8
		}
	}
}

func (m Months) stride(room float64) int {
	for _, stride := range []int{1, 3, 6} {
		if float64(stride)*m.slot() >= room {
			return stride
		}
	}
	return 12
}

// onTick says whether a month opens a stretch of stride months of the calendar.
// A label that is no month counts by its place.
func onTick(label string, i, stride int) bool {
	if t, err := time.Parse("2006-01", label); err == nil {
		i = int(t.Month()) - 1
	}
	return i%stride == 0
}
