package chart

import "strings"

// pt is a place in px.
type pt struct{ x, y float64 }

func text(x, y float64, anchor, class, words string) Shape {
	return Shape{Kind: Text, X: x, Y: y, Anchor: anchor, Class: class, Text: words}
}

// centred puts the middle of the text's x-height at y.
func centred(x, y float64, anchor, class, words string) Shape {
	return text(x, y+0.35*sizeOf(class), anchor, class, words)
}

func rect(x, y, w, h float64, class string) Shape {
	return Shape{Kind: Rect, X: x, Y: y, W: w, H: h, Class: class}
}

func circle(x, y, r float64, class string, stroke float64) Shape {
	return Shape{Kind: Circle, X: x, Y: y, W: r, Class: class, Stroke: stroke}
}

func line(x1, y1, x2, y2 float64, class string, stroke float64) Shape {
	return polyline(class, stroke, pt{x1, y1}, pt{x2, y2})
}

func polyline(class string, stroke float64, pts ...pt) Shape {
	return Shape{Kind: Path, D: outline(pts), Class: class, Stroke: stroke}
}

func polygon(class string, pts ...pt) Shape {
	return Shape{Kind: Path, D: outline(pts) + "Z", Class: class}
}

func dashed(s Shape, dash string) Shape {
	s.Dash = dash
	return s
}

func outline(pts []pt) string {
	var b strings.Builder
	for i, p := range pts {
		op := "L"
		if i == 0 {
			op = "M"
		}
		b.WriteString(op + coord(p.x) + " " + coord(p.y))
	}
	return b.String()
}
