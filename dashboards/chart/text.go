package chart

import (
	"fmt"
	"strings"
	"unicode"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gomedium"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// TextSizes gives the font size in px of each class that sets one. The style
// sheet must use the same sizes, or measured labels would not fit.
func TextSizes() map[string]float64 {
	return map[string]float64{"t": 13, "t-axis": 12, "t-count": 11}
}

var (
	sizes   = TextSizes()
	regular = mustParse(goregular.TTF)
	medium  = mustParse(gomedium.TTF)
)

// mustParse reads a font that is compiled in, so a failure is a broken build.
func mustParse(ttf []byte) *sfnt.Font {
	f, err := opentype.Parse(ttf)
	if err != nil {
		panic(fmt.Sprintf("chart: parse built-in Go font: %v; check golang.org/x/image", err))
	}
	return f
}

// sizeOf gives the font size that a class list sets.
func sizeOf(class string) float64 {
	base, _, _ := strings.Cut(class, " ")
	return sizes[base]
}

func fontOf(class string) *sfnt.Font {
	for _, heavy := range []string{"t-strong", "t-rust", "t-violet"} {
		if strings.Contains(class, heavy) {
			return medium
		}
	}
	return regular
}

// textWidth measures text in px. Kerning is left out: it only makes text
// narrower. A rune the font lacks counts as one em, the widest common fallback.
func textWidth(text, class string) float64 {
	f, size := fontOf(class), sizeOf(class)
	var buf sfnt.Buffer
	width := 0.0
	for _, r := range text {
		width += runeWidth(f, &buf, r, size)
	}
	return width
}

func runeWidth(f *sfnt.Font, buf *sfnt.Buffer, r rune, size float64) float64 {
	glyph, err := f.GlyphIndex(buf, r)
	if err != nil || glyph == 0 {
		if unicode.IsSpace(r) {
			return size / 4
		}
		return size
	}
	advance, err := f.GlyphAdvance(buf, glyph, fixed.Int26_6(size*64), font.HintingNone)
	if err != nil {
		return size
	}
	return float64(advance) / 64
}

// fit shortens text to a width with an ellipsis; the caller keeps the whole
// text in a <title>.
func fit(text, class string, width float64) string {
	if textWidth(text, class) <= width {
		return text
	}
	runes := []rune(text)
	for n := len(runes) - 1; n > 0; n-- {
		short := strings.TrimRight(string(runes[:n]), " ") + "…"
		if textWidth(short, class) <= width {
			return short
		}
	}
	return ""
}

// wrap breaks text at spaces into at most lines pieces that fit a width. What
// does not fit ends in an ellipsis.
func wrap(text, class string, width float64, lines int) []string {
	var out []string
	words := strings.Fields(text)
	for len(words) > 0 {
		if len(out) == lines-1 {
			return append(out, fit(strings.Join(words, " "), class, width))
		}
		n := 1
		for n < len(words) && textWidth(strings.Join(words[:n+1], " "), class) <= width {
			n++
		}
		out = append(out, fit(strings.Join(words[:n], " "), class, width))
		words = words[n:]
	}
	return out
}

// widest gives the width of the widest of some texts, at most limit.
func widest(class string, limit float64, texts ...string) float64 {
	w := 0.0
	for _, t := range texts {
		w = max(w, textWidth(t, class))
	}
	return min(w, limit)
}
