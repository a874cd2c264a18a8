package demo

import (
	"fmt"
	"math/rand/v2"
	"strconv"
	"time"
)

// The cells of a row stand in the contract's order of columns; an empty cell is missing.

// offsetTime and localTime are how a file writes its timestamps.
const (
	offsetTime = time.RFC3339
	localTime  = "2006-01-02T15:04:05"
)

// Shares of optional cells left empty.
const (
	noThickness = 0.03
	noHold      = 0.005
	noBattery   = 0.01
	noWeather   = 0.02
)

func number(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// unless gives the text, or with the given chance an empty cell.
func unless(r *rand.Rand, share float64, text string) string {
	if chance(r, share) {
		return ""
	}
	return text
}

func (g *region) cells() []string {
	return []string{g.id, g.label, g.scheme, g.zone, number(g.latitude), g.hazard}
}

func (t *technician) cells() []string { return []string{t.id, t.name, t.started, t.accredited} }

func (u *unit) cells() []string {
	return []string{u.id, u.model, strconv.Itoa(u.gainMin), strconv.Itoa(u.gainMax), strconv.Itoa(u.gainStart), u.inService, u.serviceDue}
}

func (m *material) cells() []string {
	return []string{m.id, m.label, m.density, strconv.Itoa(m.gainLow), strconv.Itoa(m.gainHigh), number(m.thickness)}
}

func (v *visit) cells(s *scenario, layout string) []string {
	r := stream(s.opt.Seed, "blanks "+v.id)
	repeats := ""
	if v.repeats != nil {
		repeats = v.repeats.id
	}
	return []string{
		v.id, v.site.id, s.regions[v.site.region].id, v.tech.id,
		v.start.Format(layout), v.end.Format(layout), v.purpose, repeats,
		unless(r, noWeather, number(v.weather.air)), unless(r, noWeather, number(v.weather.wind)),
		unless(r, noWeather, v.weather.rain), v.missed, v.outcome,
	}
}

// readingCells gives the rows of one visit's readings in the order of their making.
func (v *visit) readingCells(s *scenario, layout string) [][]string {
	r := stream(s.opt.Seed, "reading blanks "+v.id)
	var rows [][]string
	add := func(rd reading, point, material, thickness, control string) {
		id := fmt.Sprintf("R%s%03d", v.id[1:], len(rows)+1)
		rows = append(rows, []string{
			id, v.id, v.unit.id, point, rd.at.Format(layout), material, thickness, strconv.Itoa(rd.gain),
			unless(r, noHold, number(rd.hold)), number(rd.level), rd.call, unless(r, noBattery, number(rd.battery)), control,
		})
	}
	for _, rd := range v.controls {
		add(rd, "C01", v.site.points[0].material.id, "", "true")
	}
	for i := range v.points {
		pv := &v.points[i]
		thickness := unless(r, noThickness, number(pv.point.thickness))
		for _, rd := range pv.readings {
			add(rd, pv.point.id, pv.point.material.id, thickness, "false")
		}
	}
	return rows
}

func (f *finding) cells() []string {
	visit := ""
	if f.visit != nil {
		visit = f.visit.id
	}
	return []string{f.id, f.site.id, f.site.points[f.place].id, visit, f.on.Format(time.DateOnly), f.method, f.result, f.cause}
}
