package chart

import (
	"cmp"
	"slices"
)

// box is a rectangle in px: left, top, right, bottom.
type box struct{ l, t, r, b float64 }

func (a box) meets(b box) bool { return a.l < b.r && b.l < a.r && a.t < b.b && b.t < a.b }

func (a box) within(b box) bool { return a.l >= b.l && a.r <= b.r && a.t >= b.t && a.b <= b.b }

func (a box) grown(by float64) box { return box{a.l - by, a.t - by, a.r + by, a.b + by} }

// textBox is the space a text takes, from its ascenders to its descenders.
func textBox(s Shape) box {
	size, w := sizeOf(s.Class), textWidth(s.Text, s.Class)
	left := s.X
	switch s.Anchor {
	case "middle":
		left -= w / 2
	case "end":
		left -= w
	}
	return box{left, s.Y - 0.78*size, left + w, s.Y + 0.22*size}
}

func around(x, y, r float64) box { return box{x - r, y - r, x + r, y + r} }

// placer puts labels beside marks, where they cover neither marks nor labels
// that stand already. It is greedy: the first label placed has the first choice.
type placer struct {
	area  box // labels stay inside
	taken []box
}

func (p *placer) reserve(b box) { p.taken = append(p.taken, b) }

// place tries right, left, above and below a mark of radius r, then above and
// below with the text to one side, for marks in a corner. It gives no shape
// where all are taken; the mark then has only its title.
func (p *placer) place(x, y, r float64, class, words string) []Shape {
	gap := r + 4
	above, below := y-gap, y+gap+0.78*sizeOf(class)
	for _, s := range []Shape{
		centred(x+gap, y, "start", class, words),
		centred(x-gap, y, "end", class, words),
		text(x, above, "middle", class, words),
		text(x, below, "middle", class, words),
		text(x, above, "start", class, words),
		text(x, above, "end", class, words),
		text(x, below, "start", class, words),
		text(x, below, "end", class, words),
	} {
		b := textBox(s).grown(1.5)
		if b.within(p.area) && !slices.ContainsFunc(p.taken, b.meets) {
			p.reserve(b)
			return []Shape{s}
		}
	}
	return nil
}

// placeFirst places the first of some wordings that finds room beside a standing
// mark.
func (p *placer) placeFirst(x, y float64, class string, wordings ...string) []Shape {
	for _, words := range wordings {
		if s := p.place(x, y, radius, class, words); s != nil {
			return s
		}
	}
	return nil
}

// spread moves the centres of stacked labels apart to at least gap and keeps
// their order and, as far as there is room, their place between top and bottom.
func spread(ys []float64, gap, top, bottom float64) []float64 {
	order := make([]int, len(ys))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Compare(ys[a], ys[b])
	})
	out := slices.Clone(ys)
	low := top
	for _, i := range order {
		out[i] = max(out[i], low)
		low = out[i] + gap
	}
	high := max(bottom, top+gap*float64(len(ys)-1))
	for _, i := range slices.Backward(order) {
		out[i] = min(out[i], high)
		high = out[i] - gap
	}
	return out
}
