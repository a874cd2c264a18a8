package chart

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/image/font"
	"golang.org/x/image/font/opentype"
	"pgregory.net/rapid"
)

// The width agrees with that of the font library's own layout, which also kerns.
func TestTextWidthAgainstFontLibrary(t *testing.T) {
	for _, class := range []string{"t", "t-axis t-soft", "t-count", "t t-strong"} {
		face, err := opentype.NewFace(fontOf(class), &opentype.FaceOptions{Size: sizeOf(class), DPI: 72, Hinting: font.HintingNone})
		if err != nil {
			t.Fatal(err)
		}
		for _, words := range []string{"", "n=12345", "Signal: Jun 2026, EWMA below its limit", "0.73 (0.55–0.98)"} {
			want := float64(font.MeasureString(face, words)) / 64
			if got := textWidth(words, class); math.Abs(got-want) > 0.02*want+0.1 {
				t.Errorf("textWidth(%q, %q) = %v, font library %v", words, class, got, want)
			}
		}
	}
}

func TestFitAndWrap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		words, width := labels.Draw(t, "words"), rapid.Float64Range(0, 300).Draw(t, "width")
		lines := wrap(words, "t", width, 2)
		if len(lines) > 2 {
			t.Fatalf("%d lines", len(lines))
		}
		for _, l := range lines {
			if textWidth(l, "t") > width {
				t.Errorf("%q is wider than %v", l, width)
			}
		}
		if textWidth(words, "t") <= width && fit(words, "t", width) != words {
			t.Errorf("%q was shortened although it fits %v", words, width)
		}
	})
}

func TestSpreadKeepsOrderAndGap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ys := rapid.SliceOfN(rapid.Float64Range(0, 300), 0, 8).Draw(t, "ys")
		out := spread(ys, 15, 0, 300)
		for i := range ys {
			if out[i] < 0 || out[i] > 300 {
				t.Errorf("%v lies outside", out[i])
			}
			for k := range ys {
				if ys[i] < ys[k] && out[k]-out[i] < 15-1e-9 {
					t.Errorf("%v became %v", ys, out)
				}
			}
		}
	})
}

func TestTicksAreFewAndRound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		hi, step := countRange(rapid.Float64Range(0, mostCount).Draw(t, "most"))
		if n := len(ticks(0, hi, step)); n < 2 || n > 9 {
			t.Errorf("%d ticks to %v by %v", n, hi, step)
		}
		lead := step / math.Pow(10, math.Floor(math.Log10(step)+1e-9))
		if r := math.Round(lead); math.Abs(lead-r) > 1e-9 || r != 1 && r != 2 && r != 5 {
			t.Errorf("step %v", step)
		}
		a, b := rapid.Float64Range(0, 1).Draw(t, "a"), rapid.Float64Range(0, 1).Draw(t, "b")
		lo, top, by := rateRange([]float64{a, b})
		if lo > min(a, b) || top < max(a, b) || lo < 0 || top > 1 || len(ticks(lo, top, by)) < 2 {
			t.Errorf("rates %v, %v: %v to %v by %v", a, b, lo, top, by)
		}
	})
}

func TestStandingMarksDifferInShape(t *testing.T) {
	seen := map[string]string{}
	for _, standing := range []string{InLine, Watch, Act, TooFew} {
		form := ""
		for _, s := range standingMark(0, 0, standing) {
			open := strings.Contains(s.Class, "f-paper")
			form += string(s.Kind) + strconv.FormatBool(open)
		}
		if other, ok := seen[form]; ok {
			t.Errorf("%s looks like %s without colour", standing, other)
		}
		seen[form] = standing
	}
}
