package chart

import (
	"flag"
	"fmt"
	"html/template"
	"math"
	"os"
	"path/filepath"
	"testing"
)

var update = flag.Bool("update", false, "write the golden files anew")

type figure interface {
	SVG() template.HTML
	scene() *Scene
}

// interval is an invented interval that narrows with n; only its shape matters.
func interval(rate float64, n int) (low, high float64) {
	half := 1 / math.Sqrt(float64(n)+1)
	return max(0, rate-half), min(1, rate+half)
}

func sampleHeat() HeatTable {
	h := HeatTable{Frame: Frame{"heat", "Share called", "Share of finds called, by material and gain."},
		Corner: "Material", Steps: []float64{0.4, 0.5, 0.6, 0.7, 0.8, 0.9}, EmptyWords: "no finds"}
	for g := range 7 {
		h.Columns = append(h.Columns, fmt.Sprintf("gain %d", g))
	}
	for r, label := range []string{"Timber frame", "Brick veneer", "Concrete slab under a long hall", "Rammed earth"} {
		row := HeatRow{Label: label}
		for g := range 7 {
			n := 10 + 1900*g*(4-r)/(2+r)
			rate := 0.36 + 0.09*float64(g) - 0.08*float64(r)
			low, high := interval(rate, n)
			row.Cells = append(row.Cells, HeatCell{Rate: rate, Low: low, High: high, N: n, Enough: n > 15,
				Empty: r == 3 && g == 6, Href: fmt.Sprintf("cell-%d-%d.html", r, g)})
		}
		h.Rows = append(h.Rows, row)
	}
	return h
}

func sampleFunnel() Funnel {
	f := Funnel{Frame: Frame{"funnel", "Calls that were right", "Share of verified calls that were right."},
		Centre: 0.8, XLabel: "Verified calls in the period"}
	for n := 5; n <= 400; n += 5 {
		w := 0.8 / math.Sqrt(float64(n))
		f.Bands = append(f.Bands, FunnelBand{n, max(0, 0.8-1.6*w), max(0, 0.8-w), min(1, 0.8+w), min(1, 0.8+1.6*w)})
	}
	for i := range 34 {
		n, v := 12+(i*67)%380, 0.8+0.9*math.Sin(float64(i)*2.3)/math.Sqrt(float64(12+(i*67)%380))
		standing := InLine
		switch off := math.Abs(v-0.8) * math.Sqrt(float64(n)) / 0.8; {
		case n < 20:
			standing = TooFew
		case off > 1.05:
			standing = Act
		case off > 0.9:
			standing = Watch
		}
		f.Points = append(f.Points, FunnelPoint{Label: fmt.Sprintf("T-%02d", i), Href: "unit.html", N: n, Value: min(1, v), Standing: standing})
	}
	return f
}

func sampleDots(ratio bool) Dots {
	d := Dots{Frame: Frame{"dots", "Odds of a call", "Odds ratios with their intervals."}, Ratio: ratio,
		Reference: true, ReferenceAt: 0.5, ReferenceLabel: "all visits: 50%", NLabel: "visits"}
	if ratio {
		d.ID, d.ReferenceAt, d.ReferenceLabel = "ratios-log", 1, "no difference"
	}
	for i, label := range []string{"Brick veneer", "Double brick", "Rain in last 24 h", "Rammed earth", "Ambient noise high"} {
		v := 0.4 + 0.12*float64(i)
		standing := []string{Act, Watch, InLine, TooFew, InLine}[i]
		d.Rows = append(d.Rows, DotRow{Label: label, Value: v, Low: v * 0.7, High: v * 1.2, N: 12340 / (i*i + 1),
			Enough: i != 3, Standing: standing, Href: "row.html"})
	}
	d.Rows = append(d.Rows, DotRow{Label: "Never seen", Value: math.NaN()})
	return d
}

func sampleMonths() Months {
	m := Months{Frame: Frame{"months", "Detection by month", "Monthly rate with limits."}, Limits: true, Centred: true, Centre: 0.81,
		Smoothed: true, SmoothedLabel: "EWMA", Signal: "2026-06", SignalLabel: "Signal: Jun 2026, EWMA below its limit"}
	smooth := 0.81
	for i := range 30 {
		v := 0.81 + 0.04*math.Sin(float64(i)*1.7)
		standing := InLine
		if i > 22 {
			v, standing = v-0.14, Act
		}
		smooth = 0.75*smooth + 0.25*v
		n := 80 + (i*37)%60
		low, high := interval(v, 4*n)
		w := 1.1 / math.Sqrt(float64(n))
		m.Points = append(m.Points, MonthPoint{Label: fmt.Sprintf("%d-%02d", 2024+(i+6)/12, (i+6)%12+1), Value: v, Low: low, High: high,
			N: n, Enough: i != 4, Standing: standing, LCL: 0.81 - w, UCL: min(1, 0.81+w), Smooth: smooth})
	}
	m.Points[9] = MonthPoint{Label: m.Points[9].Label}
	m.Points[9].Smooth, m.Points[9].LCL, m.Points[9].UCL = m.Points[8].Smooth, 0.7, 0.93
	return m
}

func sampleFlow() Flow {
	return Flow{Frame{"flow", "Flow of readings", "How many readings reach the analysis."}, [][]FlowBox{
		{{Lines: []string{"Readings taken in", "n = 12 400"}}},
		{{Lines: []string{"Readings at points that were opened", "n = 3 100"}, From: []int{0}, Lost: "9 300 at points never opened, among them 120 at houses sold in between"}},
		{{Lines: []string{"Movement shown", "n = 900"}, From: []int{0}, Lost: "14 withdrawn"},
			{Lines: []string{"Unclear", "n = 200"}, From: []int{0}},
			{Lines: []string{"No movement shown", "n = 2 000"}, From: []int{0}, Lost: "40 without a date of opening"}},
		{{Lines: []string{"Verified", "termites: 700", "none: 186"}, From: []int{0}},
			{Lines: []string{"Verified", "termites: 80", "none: 120"}, From: []int{1}},
			{Lines: []string{"Verified", "termites: 90", "none: 1 870"}, From: []int{2}}},
	}}
}

func sampleRatios() Ratios {
	r := Ratios{Frame: Frame{"ratios", "False alarms", "Observed and expected false alarms."}}
	for i, label := range []string{"Gain 5–6 on double brick, after rain", "Hot-water pipe run behind wall", "Battery below 20 per cent", "Ant trail recorded on site"} {
		o, e := []float64{61, 38, 12, 3}[i], []float64{24.8, 27.3, 11.8, 2.2}[i]
		r.Rows = append(r.Rows, RatioRow{Label: label, Observed: o, Expected: e, ChanceLow: max(0, e-2*math.Sqrt(e)),
			ChanceHigh: e + 2*math.Sqrt(e), Standing: []string{Act, Watch, InLine, TooFew}[i], Href: "row.html"})
	}
	return r
}

func sampleStrip() Strip {
	v := Strip{Frame: Frame{"strip", "Visit V-1042", "Readings of one visit by point."}}
	for i, label := range []string{"Kitchen, north wall", "Bathroom door frame", "Subfloor bearer under the long hall"} {
		p := StripPoint{Label: label, Finding: []string{"verified: live termites behind the skirting", "opened, nothing found", ""}[i], Decisive: i < 2}
		for k := range 6 {
			p.Readings = append(p.Readings, StripReading{Minute: float64(12*i) + 2.2*float64(k), Gain: (k*k + i) % 6, Call: []string{Shown, NotShown, Unclear}[(k+i)%3]})
		}
		v.Points = append(v.Points, p)
	}
	return v
}

func sampleTraces() Traces {
	f := Traces{Frame: Frame{"traces", "Log of visit V-1042", "Levels of each hold."}}
	for i, says := range []string{"movement keeps time, 2.0 s, q 0.002", "no movement above the noise", "moved 40% of the hold, written down by nobody"} {
		h := Trace{Label: []string{"Kitchen, north wall, gain 3", "Bathroom, gain 4", "gain 2"}[i], Call: []string{Shown, NotShown, ""}[i], Seconds: 20 + 10*float64(i), Noise: 12, Says: says, Strong: i == 0}
		for k := range 80 {
			level := 30 + 25*math.Sin(float64(k))
			if k == 30 && i == 2 {
				level = math.NaN()
			}
			h.Levels = append(h.Levels, level)
		}
		if i == 1 {
			h.Levels = nil
		}
		f.Holds = append(f.Holds, h)
	}
	return f
}

func samples() map[string]figure {
	return map[string]figure{
		"heat": sampleHeat(), "funnel": sampleFunnel(), "dots": sampleDots(false), "dots-ratio": sampleDots(true),
		"months": sampleMonths(), "flow": sampleFlow(), "ratios": sampleRatios(), "strip": sampleStrip(), "traces": sampleTraces(),
	}
}

func TestGolden(t *testing.T) {
	for name, f := range samples() {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join("testdata", name+".svg")
			got := string(f.SVG())
			if *update {
				if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if got != string(want) {
				t.Errorf("figure differs from %s; look at both and run with -update if the change is meant", path)
			}
		})
	}
}
