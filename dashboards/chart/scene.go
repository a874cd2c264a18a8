package chart

import (
	"html/template"
	"strconv"
	"strings"
	"unicode"
)

// Width is the width in px of every figure, except a [HeatTable] with many
// columns.
const Width = 760.0

// Frame names a figure. Every figure embeds one.
type Frame struct {
	ID    string // unique on its page: letters, digits and hyphens
	Title string // for screen readers
	Desc  string // for screen readers: what is drawn, in a sentence or two
}

// Kind says which SVG element a [Shape] becomes.
type Kind string

// The four kinds of shape.
const (
	Rect   Kind = "rect"
	Circle Kind = "circle"
	Path   Kind = "path"
	Text   Kind = "text"
)

// Shape is one SVG element. Lengths are in px from the upper left corner.
type Shape struct {
	Kind   Kind
	Class  string
	X, Y   float64 // Rect: upper left. Circle: centre. Text: anchor on the baseline.
	W, H   float64 // Rect: size. Circle: W is the radius.
	D      string  // Path: data
	Text   string
	Anchor string // Text: "start", "middle" or "end"
	Stroke float64
	Dash   string
}

func (s Shape) hatched() bool { return hasClass(s.Class, "f-hatch") }

// HatchOf names the pattern of a figure if it fills the shape.
func (s Shape) HatchOf(id string) string {
	if s.hatched() {
		return id + "-hatch"
	}
	return ""
}

// Unfilled says whether no class fills the shape; SVG would fill it black.
func (s Shape) Unfilled() bool {
	return s.Kind != Text && !strings.Contains(" "+s.Class, " f-")
}

// Mark is one thing a reader can point at: some shapes that share a title and,
// where Href is set, a link.
type Mark struct {
	Title, Href string
	Shapes      []Shape
}

// Scene is a figure as a list of marks, drawn in order.
type Scene struct {
	Frame
	W, H  float64
	Marks []Mark
}

// Role is "img", or "group" where marks have links: what is inside an img is
// hidden from a screen reader, and a link there could be reached but not named
// (WAI-ARIA 1.2, "children presentational").
func (s *Scene) Role() string {
	for _, m := range s.Marks {
		if m.Href != "" {
			return "group"
		}
	}
	return "img"
}

// HasHatch says whether any shape needs the hatch pattern.
func (s *Scene) HasHatch() bool {
	for _, m := range s.Marks {
		for _, sh := range m.Shapes {
			if sh.hatched() {
				return true
			}
		}
	}
	return false
}

// SVG writes the scene as one <svg> element.
func (s *Scene) SVG() template.HTML {
	var b strings.Builder
	// A strings.Builder does not fail and the template is fixed, so an error
	// here is a mistake in this package.
	if err := svgTemplate.Execute(&b, s); err != nil {
		panic("chart: write figure " + s.ID + ": " + err.Error() + "; mend the svg template")
	}
	return template.HTML(b.String())
}

// draw adds shapes without title or link.
func (s *Scene) draw(shapes ...Shape) { s.Marks = append(s.Marks, Mark{Shapes: shapes}) }

// point adds shapes under a title and an optional link.
func (s *Scene) point(title, href string, shapes ...Shape) {
	s.Marks = append(s.Marks, Mark{Title: title, Href: href, Shapes: shapes})
}

// sentence is the scene of a figure that has nothing to draw.
func sentence(f Frame, words string) *Scene {
	s := &Scene{Frame: f, W: Width, H: 32}
	s.draw(text(0, 20, "start", "t t-soft", fit(words, "t t-soft", Width)))
	return s
}

func hasClass(list, class string) bool {
	for c := range strings.FieldsSeq(list) {
		if c == class {
			return true
		}
	}
	return false
}

// coord writes a coordinate with one decimal, so that bytes repeat.
func coord(v float64) string {
	s := strconv.FormatFloat(v, 'f', 1, 64)
	if s == "-0.0" {
		return "0.0"
	}
	return s
}

// printable replaces what neither HTML nor XML allows in a text.
func printable(words string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r) && unicode.IsControl(r):
			return ' '
		case unicode.IsControl(r) || r >= 0xfdd0 && r <= 0xfdef || r&0xfffe == 0xfffe:
			return unicode.ReplacementChar
		}
		return r
	}, words)
}

var svgTemplate = template.Must(template.New("svg").Funcs(template.FuncMap{"c": coord, "w": printable}).Parse(
	`<svg class="chart" xmlns="http://www.w3.org/2000/svg" role="{{.Role}}" aria-labelledby="{{.ID}}-title {{.ID}}-desc" viewBox="0 0 {{c .W}} {{c .H}}" width="{{c .W}}" height="{{c .H}}">
<title id="{{.ID}}-title">{{w .Title}}</title><desc id="{{.ID}}-desc">{{w .Desc}}</desc>
{{- if .HasHatch}}
<defs><pattern id="{{.ID}}-hatch" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><path class="s-base" fill="none" stroke-width="0.8" d="M0 0V7"/></pattern></defs>
{{- end}}
{{- $id := .ID}}
{{- range .Marks}}
{{if .Href}}<a href="{{.Href}}" aria-label="{{w .Title}}">{{else}}<g>{{end}}
{{- if .Title}}<title>{{w .Title}}</title>{{end}}
{{- range .Shapes}}
{{- if eq .Kind "text"}}<text class="{{.Class}}" x="{{c .X}}" y="{{c .Y}}" text-anchor="{{.Anchor}}">{{w .Text}}</text>
{{- else if eq .Kind "rect"}}<rect x="{{c .X}}" y="{{c .Y}}" width="{{c .W}}" height="{{c .H}}"{{template "paint" .}}{{template "hatch" (.HatchOf $id)}}/>
{{- else if eq .Kind "circle"}}<circle cx="{{c .X}}" cy="{{c .Y}}" r="{{c .W}}"{{template "paint" .}}/>
{{- else}}<path d="{{.D}}"{{template "paint" .}}{{template "hatch" (.HatchOf $id)}}/>{{end}}
{{- end}}
{{- if .Href}}</a>{{else}}</g>{{end}}
{{- end}}
</svg>
{{- define "paint"}} class="{{.Class}}"{{if .Unfilled}} fill="none"{{end}}
{{- if .Stroke}} stroke-width="{{c .Stroke}}"{{end}}
{{- if .Dash}} stroke-dasharray="{{.Dash}}"{{end}}{{end}}
{{- define "hatch"}}{{if .}} fill="url(#{{.}})"{{end}}{{end}}`))
