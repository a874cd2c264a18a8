package chart

// How a figure stands against its limits. Any other word, also none, is drawn
// as not judged. Shape and colour both differ, so neither is needed alone.
const (
	InLine = "in_line" // filled circle
	Watch  = "watch"   // ochre dot in a ring: between the 95 % and the 99.8 % limit
	Act    = "act"     // rust diamond: outside the 99.8 % limit
	TooFew = "too_few" // open circle: not judged
)

// radius is about the reach of the largest standing mark.
const radius = 6.0

// standingMark draws one figure at x, y.
func standingMark(x, y float64, standing string) []Shape {
	switch standing {
	case InLine:
		return []Shape{circle(x, y, 4.5, "f-deep s-paper", 1.2)}
	case Watch:
		return []Shape{circle(x, y, 5.3, "f-paper s-ink", 1.3), circle(x, y, 3.2, "f-ochre", 0)}
	case Act:
		const r = radius
		s := polygon("f-rust s-paper", pt{x, y - r}, pt{x + r, y}, pt{x, y + r}, pt{x - r, y})
		s.Stroke = 1
		return []Shape{s}
	}
	return []Shape{circle(x, y, 4.5, "f-paper s-soft", 1.5)}
}

// standingWords says a standing for a title.
func standingWords(standing string) string {
	switch standing {
	case InLine:
		return "in line"
	case Watch:
		return "at the edge"
	case Act:
		return "outside the limits"
	}
	return "not judged"
}
