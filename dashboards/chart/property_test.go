package chart

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

var labels = rapid.OneOf(
	rapid.StringMatching(`[A-Z]-[0-9]{2}`),
	rapid.StringMatching(`([A-Z][a-z]{1,14} ){1,6}`),
	rapid.String(),
)

var standings = rapid.SampledFrom([]string{InLine, Watch, Act, TooFew, "", "unheard of"})

// numbers are mostly rates, sometimes anything, so that bad input is common.
var numbers = rapid.OneOf(rapid.Float64Range(0, 1), rapid.Float64Range(0.6, 0.8), rapid.Float64Range(0, 1),
	rapid.Float64Range(0, 200), rapid.Float64(), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, 1, -1}))

var counts = rapid.OneOf(rapid.IntRange(0, 400), rapid.IntRange(300, 320), rapid.IntRange(-5, 1e9))

func frames(t *rapid.T) Frame { return Frame{"f", labels.Draw(t, "title"), labels.Draw(t, "desc")} }

func listOf[T any](t *rapid.T, most int, draw func() T) []T {
	out := make([]T, rapid.IntRange(0, most).Draw(t, "length"))
	for i := range out {
		out[i] = draw()
	}
	return out
}

func drawFigure(t *rapid.T) figure {
	num := func() float64 { return numbers.Draw(t, "number") }
	word := func() string { return labels.Draw(t, "label") }
	count := func() int { return counts.Draw(t, "n") }
	stand := func() string { return standings.Draw(t, "standing") }
	yes := func() bool { return rapid.Bool().Draw(t, "yes") }
	switch rapid.IntRange(0, 6).Draw(t, "figure") {
	case 0:
		return HeatTable{Frame: frames(t), Corner: word(), Columns: listOf(t, 14, word), Steps: listOf(t, 8, num), EmptyWords: word(),
			Rows: listOf(t, 6, func() HeatRow {
				return HeatRow{word(), listOf(t, 15, func() HeatCell {
					return HeatCell{Rate: num(), Low: num(), High: num(), N: count(), Enough: yes(), Empty: yes(), Href: word(), Title: word()}
				})}
			})}
	case 1:
		return Funnel{Frame: frames(t), Centre: num(), XLabel: word(),
			Points: listOf(t, 60, func() FunnelPoint { return FunnelPoint{word(), word(), word(), count(), num(), stand()} }),
			Bands:  listOf(t, 20, func() FunnelBand { return FunnelBand{count(), num(), num(), num(), num()} })}
	case 2:
		return Dots{Frame: frames(t), Ratio: yes(), Reference: yes(), ReferenceAt: num(), ReferenceLabel: word(), NLabel: word(),
			Rows: listOf(t, 12, func() DotRow {
				return DotRow{word(), num(), num(), num(), count(), yes(), stand(), word(), word()}
			})}
	case 3:
		start := rapid.IntRange(0, 30).Draw(t, "start")
		i := start
		m := Months{Frame: frames(t), Limits: yes(), Centred: yes(), Centre: num(), CentreLabel: word(), Smoothed: yes(), SmoothedLabel: word(), SignalLabel: word(),
			Points: listOf(t, 80, func() MonthPoint {
				i++
				label := fmt.Sprintf("%d-%02d", 2020+i/12, i%12+1)
				if i%17 == 0 {
					label = word()
				}
				return MonthPoint{label, num(), num(), num(), count(), yes(), stand(), num(), num(), num(), word(), word()}
			})}
		if len(m.Points) > 0 {
			m.Signal = m.Points[rapid.IntRange(0, len(m.Points)-1).Draw(t, "signal")].Label
		}
		return m
	case 4:
		return Flow{frames(t), listOf(t, 5, func() []FlowBox {
			return listOf(t, 9, func() FlowBox {
				return FlowBox{listOf(t, 5, word), listOf(t, 3, func() int { return rapid.IntRange(-1, 9).Draw(t, "from") }), word()}
			})
		})}
	case 5:
		return Ratios{Frame: frames(t), TextHeader: word(), Rows: listOf(t, 12, func() RatioRow {
			return RatioRow{word(), num(), num(), num(), num(), stand(), word(), word(), word()}
		})}
	}
	if rapid.Bool().Draw(t, "traces") {
		return Traces{frames(t), listOf(t, 6, func() Trace { return Trace{word(), stand(), num(), num(), listOf(t, 12, num), word(), yes(), word()} })}
	}
	return Strip{frames(t), listOf(t, 6, func() StripPoint {
		return StripPoint{word(), listOf(t, 12, func() StripReading { return StripReading{num(), count(), stand(), word()} }), word(), yes(), word(), word()}
	})}
}

func TestTextsNeverMeet(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawFigure(t).scene()
		var texts []Shape
		for _, m := range s.Marks {
			for _, sh := range m.Shapes {
				if sh.Kind == Text && strings.TrimSpace(sh.Text) != "" {
					texts = append(texts, sh)
				}
			}
		}
		page := box{-0.5, -0.5, s.W + 0.5, s.H + 0.5}
		for i, a := range texts {
			if !textBox(a).within(page) {
				t.Errorf("%q at %v leaves the figure of %v x %v", a.Text, textBox(a), s.W, s.H)
			}
			for _, b := range texts[:i] {
				if textBox(a).meets(textBox(b)) {
					t.Errorf("%q at %v meets %q at %v", a.Text, textBox(a), b.Text, textBox(b))
				}
			}
		}
	})
}

// elements reads SVG as XML and counts its elements, so that a broken tag or a
// label that became markup shows.
func elements(svg string) (map[string]int, error) {
	found := map[string]int{}
	d := xml.NewDecoder(strings.NewReader(svg))
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return found, nil
		}
		if err != nil {
			return nil, err
		}
		start, ok := tok.(xml.StartElement)
		if !ok {
			continue
		}
		found[start.Name.Local]++
		for _, a := range start.Attr {
			if strings.HasPrefix(a.Name.Local, "on") || a.Name.Local == "style" {
				return nil, fmt.Errorf("attribute %s in <%s>", a.Name.Local, start.Name.Local)
			}
		}
	}
}

// geometry gives all coordinates and sizes of an SVG, in order.
func geometry(svg string) []string {
	var out []string
	d := xml.NewDecoder(strings.NewReader(svg))
	for tok, err := d.Token(); err == nil; tok, err = d.Token() {
		start, ok := tok.(xml.StartElement)
		if !ok {
			continue
		}
		for _, a := range start.Attr {
			switch a.Name.Local {
			case "x", "y", "cx", "cy", "r", "d", "width", "height", "viewBox", "stroke-width":
				out = append(out, a.Value)
			}
		}
	}
	return out
}

func TestAnyInputGivesSoundSVG(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := drawFigure(t)
		s := f.scene()
		svg := string(s.SVG())
		want := map[string]int{}
		for _, m := range s.Marks {
			for _, sh := range m.Shapes {
				want[string(sh.Kind)]++
			}
		}
		if s.HasHatch() {
			want["path"]++
		}
		got, err := elements(svg)
		if err != nil {
			t.Fatalf("read %s: %v", svg, err)
		}
		for _, kind := range []string{"rect", "circle", "path", "text", "script"} {
			if got[kind] != want[kind] {
				t.Errorf("%d <%s>, want %d", got[kind], kind, want[kind])
			}
		}
		for _, v := range geometry(svg) {
			if strings.ContainsAny(v, "NnIifae") || strings.Contains(v, "--") {
				t.Errorf("no number: %s", v)
			}
		}
		if again := string(f.SVG()); again != svg {
			t.Error("the same figure gave other bytes")
		}
	})
}

func TestHostileTextIsEscaped(t *testing.T) {
	const hostile = `</title></svg><script>alert(1)</script>" onload="x" '&`
	s := &Scene{Frame: Frame{"f", hostile, hostile}, W: 100, H: 20}
	s.point(hostile, "javascript:alert(1)", text(0, 10, "start", "t", hostile))
	svg := string(s.SVG())
	got, err := elements(svg)
	if err != nil {
		t.Fatal(err)
	}
	if got["script"] != 0 || got["svg"] != 1 || got["title"] != 2 {
		t.Errorf("elements %v in %s", got, svg)
	}
	if strings.Contains(svg, "javascript:") {
		t.Errorf("a script link stands in %s", svg)
	}
}

func TestEmptyFiguresSaySo(t *testing.T) {
	for _, f := range []figure{HeatTable{}, Funnel{}, Dots{}, Months{}, Flow{}, Ratios{}, Strip{}, Traces{},
		HeatTable{Columns: []string{"a"}}, Months{Points: make([]MonthPoint, 3)}, Strip{Points: make([]StripPoint, 2)},
		Funnel{Points: make([]FunnelPoint, 2)}, Flow{Levels: make([][]FlowBox, 2)}} {
		if svg := string(f.SVG()); !strings.Contains(svg, ">Nothing to show: ") {
			t.Errorf("%T: %s", f, svg)
		}
	}
}

func TestRoleFollowsLinks(t *testing.T) {
	d := sampleDots(false)
	if got := d.scene().Role(); got != "group" {
		t.Errorf("role %q with links, want group", got)
	}
	for i := range d.Rows {
		d.Rows[i].Href = ""
	}
	if got := d.scene().Role(); got != "img" {
		t.Errorf("role %q without links, want img", got)
	}
}

func TestPlacedLabelsCoverNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := &placer{area: box{0, 0, 300, 200}}
		var marks, placed []box
		at := func() (float64, float64) {
			return rapid.Float64Range(0, 300).Draw(t, "x"), rapid.Float64Range(0, 200).Draw(t, "y")
		}
		for range rapid.IntRange(1, 25).Draw(t, "marks") {
			x, y := at()
			marks = append(marks, around(x, y, radius))
			p.reserve(around(x, y, radius))
		}
		for _, m := range marks {
			for _, s := range p.place((m.l+m.r)/2, (m.t+m.b)/2, radius, "t-axis", labels.Draw(t, "words")) {
				b := textBox(s)
				if !b.within(p.area) || slices.ContainsFunc(append(placed, marks...), b.meets) {
					t.Errorf("%q at %v covers something", s.Text, b)
				}
				placed = append(placed, b)
			}
		}
	})
}

func TestLoneMarkGetsItsLabel(t *testing.T) {
	area := box{0, 0, 300, 200}
	for _, at := range []pt{{150, 100}, {295, 100}, {5, 5}, {295, 195}} {
		if got := (&placer{area: area}).place(at.x, at.y, radius, "t-axis", "T-01"); got == nil {
			t.Errorf("no room for a label at %v of an empty plot", at)
		}
	}
}
