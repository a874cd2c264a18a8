package chart

import (
	"html/template"
	"slices"
	"strings"
)

// Flow is a study flow: boxes on levels, joined by lines, with the counts lost
// on the way beside the lines (after the flow diagram of STARD 2015, Bossuyt
// and others, BMJ 351:h5527).
type Flow struct {
	Frame
	Levels [][]FlowBox
}

// FlowBox is one box. Its counts are part of its lines.
type FlowBox struct {
	Lines []string // the first is set stronger
	From  []int    // boxes of the level above that lead here
	Lost  string   // what was lost on the way here
}

const (
	flowGap  = 20.0  // between boxes side by side
	flowWide = 260.0 // widest box
	flowLine = 17.0
	flowPad  = 9.0
	flowRise = 14.0 // height over which lines run sideways
	flowNote = 15.0 // height of a line of a note
	flowLane = 6.0  // between the sideways lines of two boxes
)

// SVG draws the figure.
func (f Flow) SVG() template.HTML { return f.scene().SVG() }

// placed is a box with its place.
type placed struct {
	box
	x     float64 // middle
	lines []string
	notes []string
}

func (f Flow) scene() *Scene {
	levels := slices.DeleteFunc(slices.Clone(f.Levels), func(l []FlowBox) bool { return len(l) == 0 })
	if len(levels) == 0 {
		return sentence(f.Frame, "Nothing to show: the study has no steps.")
	}
	s := &Scene{Frame: f.Frame, W: Width}
	var above []placed
	bottom := 1.0
	for _, level := range levels {
		here := layLevel(level, bottom, len(above))
		for k, b := range here {
			joinBoxes(s, above, b, level[k])
			drawBox(s, b)
			bottom = max(bottom, b.b)
		}
		above = here
	}
	s.H = bottom + 2
	return s
}

// layLevel sets boxes side by side. Those of one level are equally high, and
// below the sideways lines from the boxes above and the longest note of their
// level.
func layLevel(level []FlowBox, top float64, above int) []placed {
	column := Width / float64(len(level))
	w := min(flowWide, column-flowGap)
	notes, lines := 0, 1
	out := make([]placed, len(level))
	for i, b := range level {
		p := placed{x: column * (float64(i) + 0.5)}
		for k, l := range b.Lines {
			p.lines = append(p.lines, wrap(l, flowClass(k), w-2*flowPad, 2)...)
		}
		if above > 0 {
			p.notes = wrap(b.Lost, "t-axis t-soft", column/2-14, 4)
		}
		notes, lines = max(notes, len(p.notes)), max(lines, len(p.lines))
		out[i] = p
	}
	if above > 0 {
		top += flowRise + flowLane*float64(above-1) + 18 + flowNote*float64(notes)
	}
	for i := range out {
		p := &out[i]
		p.box = box{p.x - w/2, top, p.x + w/2, top + flowLine*float64(lines) + 2*flowPad}
	}
	return out
}

func flowClass(line int) string {
	if line == 0 {
		return "t t-strong"
	}
	return "t"
}

// joinBoxes draws the lines from the boxes above, the arrow head, and the note
// beside the last stretch.
func joinBoxes(s *Scene, above []placed, b placed, in FlowBox) {
	joined := false
	for _, i := range in.From {
		if i < 0 || i >= len(above) {
			continue
		}
		joined = true
		from := above[i]
		// A height of its own for each box above keeps apart lines that cross.
		bend := from.b + flowRise + flowLane*float64(i)
		s.draw(polyline("s-soft", 1.2, pt{from.x, from.b}, pt{from.x, bend}, pt{b.x, bend}, pt{b.x, b.t - 1}))
	}
	if joined {
		s.draw(polygon("f-soft", pt{b.x - 4, b.t - 7}, pt{b.x + 4, b.t - 7}, pt{b.x, b.t}))
	}
	if len(b.notes) > 0 {
		first := b.t - 14 - flowNote*float64(len(b.notes)-1)
		var shapes []Shape
		for i, n := range b.notes {
			shapes = append(shapes, text(b.x+10, first+flowNote*float64(i), "start", "t-axis t-soft", n))
		}
		s.point(in.Lost, "", shapes...)
	}
}

func drawBox(s *Scene, b placed) {
	frame := rect(b.l, b.t, b.r-b.l, b.b-b.t, "f-paper s-soft")
	frame.Stroke = 1
	shapes := []Shape{frame}
	for i, l := range b.lines {
		shapes = append(shapes, text(b.x, b.t+flowPad+flowLine*(float64(i)+0.75), "middle", flowClass(i), l))
	}
	s.point(strings.Join(b.lines, ", "), "", shapes...)
}
