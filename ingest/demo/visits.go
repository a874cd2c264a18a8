package demo

import (
	"math/rand/v2"
	"slices"
	"time"
)

// reading is one hold of the sensor.
type reading struct {
	at      time.Time
	gain    int
	hold    float64 // s; 0: not noted
	level   float64 // % of full scale
	battery float64 // %
	call    string
}

// pointVisit is one point in one inspection: its truth, why it may have seemed to move, its readings.
type pointVisit struct {
	point    *point
	place    int // position among the site's points
	active   bool
	cause    string // of false movement, had it moved
	planted  bool   // the cause is a planted one
	call     string // the last that is not unsure; empty: none
	readings []reading
}

// How readings are made.
const (
	unsureShare   = 0.07
	giveUp        = 0.12 // of unsure holds left at that
	edge          = 3.0  // a level this close to the threshold is called unsure
	retestShare   = 0.93 // of active calls held again one step lower
	sureAgain     = 0.97 // of real activity seen again on the re-test
	falseAgain    = 0.55 // of false movement seen again
	mostHolds     = 9
	controlShare  = 0.6 // of visits
	aboveGuidance = 0.2 // of points taken a step above the guidance
	notSteppedUp  = 0.04
	cutShort      = 0.02 // of holds, by anyone
)

// areas are the reasons given for what was not inspected. One holds a comma, one quotation marks
// and one a line break, as records do.
var areas = []string{
	"roof void: no safe access", "subfloor: under 400 mm clearance", "garage wall: stored goods, not moved",
	`room marked "store": locked`, "bathroom: tiled over\nlaundry: behind fixed cupboards", "",
}

// hand holds a visit together while its readings are made.
type hand struct {
	r       *rand.Rand
	visit   *visit
	now     time.Time
	battery float64
}

// carryOut makes the readings of a visit and settles its outcome.
func (s *scenario) carryOut(v *visit, nth int) {
	r := stream(s.opt.Seed, "sensing", v.site.number, nth)
	h := &hand{r: r, visit: v, now: v.start.Add(time.Duration(3+r.IntN(8)) * time.Minute), battery: between(r, 60, 100)}
	if chance(r, 0.4) {
		v.missed = pick(r, areas)
	}
	if chance(r, controlShare) {
		v.controls = h.control()
	}
	for i := range v.site.points {
		v.points = append(v.points, h.test(i))
	}
	if v.tech.id == copyTech && chance(stream(s.opt.Seed, "copying", v.site.number, nth), copyShare) {
		copyClear(v.points)
	}
	v.end = h.now.Add(time.Duration(4+r.IntN(12)) * time.Minute)
	v.outcome = outcome(v.points)
}

func outcome(points []pointVisit) string {
	result := "clear"
	for i := range points {
		switch points[i].call {
		case "active":
			return "active"
		case "":
			result = "inconclusive"
		}
	}
	return result
}

// test reads one point through its gain steps.
func (h *hand) test(place int) pointVisit {
	p := &h.visit.site.points[place]
	pv := pointVisit{point: p, place: place, active: p.active}
	luck := h.r.Float64()
	again := falseAgain
	if pv.active {
		again = sureAgain
	} else {
		pv.cause, pv.planted = h.falseCause(p)
	}
	shown := func(gain int) bool { return luck < h.showing(p, gain) }
	pv.readings = h.steps(h.visit.unit.gainStart, h.target(p.material), shown, again)
	for _, rd := range pv.readings {
		if rd.call != "unsure" {
			pv.call = rd.call
		}
	}
	return pv
}

// target is the gain at which the technician stops where nothing shows.
func (h *hand) target(m *material) int {
	if chance(h.r, notSteppedUp) {
		return h.visit.unit.gainStart
	}
	gain := m.gainLow + h.r.IntN(m.gainHigh-m.gainLow+1)
	if chance(h.r, aboveGuidance) {
		gain++
	}
	return max(h.visit.unit.gainStart, min(gain, h.visit.unit.gainMax))
}

// steps holds the sensor until there is a call to stay with. shown tells whether the point shows
// movement at a gain, again the chance that a re-test repeats it.
func (h *hand) steps(gain, target int, shown func(int) bool, again float64) []reading {
	var out []reading
	retest, moving := false, shown(gain)
	for range mostHolds {
		rd := h.hold(gain, moving)
		out = append(out, rd)
		switch {
		case rd.call == "unsure":
			if chance(h.r, giveUp) {
				return out
			}
		case retest:
			return out
		case rd.call == "active":
			if gain == h.visit.unit.gainMin || !chance(h.r, retestShare) {
				return out
			}
			retest, moving = true, chance(h.r, again)
			gain--
		case gain >= target:
			return out
		default:
			gain++
			moving = shown(gain)
		}
	}
	return out
}

// showing is the chance that a point shows movement at a gain on this visit.
func (h *hand) showing(p *point, gain int) float64 {
	tech, m := h.visit.tech, p.material
	if p.active {
		return m.sees(gain, p.thickness) * tech.sensitivity
	}
	still := m.moves(gain) * h.visit.site.restless * h.techFactor()
	if h.windy(p) && gain >= windGain {
		still *= windFactor
	}
	if h.visit.unit.overdue(h.visit.day) {
		still *= overdueFactor
	}
	if p.pipe {
		still = max(still, pipeMovement)
	}
	return min(still, falseMostPlanted)
}

func (h *hand) techFactor() float64 {
	if h.visit.month >= driftFrom {
		return h.visit.tech.falseAlarmsLater
	}
	return h.visit.tech.falseAlarms
}

func (h *hand) windy(p *point) bool {
	return p.material.id == windMaterial && h.visit.weather.wind >= windKmh
}

// causes are the everyday causes of false movement, with their weights.
var (
	causes       = []string{"water_pipe", "fan_or_motor", "person", "animal", "wind_or_loose_sheet", "vegetation", "unsteady_hold", "reflection", "unknown"}
	causeWeights = []float64{1, 2, 2, 2, 1.5, 1, 2.5, 1, 2}
)

// falseCause is what would make a still point seem to move, and whether that was planted.
func (h *hand) falseCause(p *point) (string, bool) {
	everyday := causes[weighted(h.r, causeWeights)]
	switch {
	case p.pipe:
		return "water_pipe", true
	case h.windy(p):
		return "wind_or_loose_sheet", true
	case h.visit.unit.overdue(h.visit.day):
		return "unknown", true
	case h.techFactor() > 1:
		return "unsteady_hold", true
	}
	return everyday, false
}

// hold makes one reading: the level lies low on a still point, high on a moving one and, where it
// is hard to tell, at the technician's threshold.
func (h *hand) hold(gain int, moving bool) reading {
	level := 1 + 23*h.r.Float64()*h.r.Float64()
	if moving {
		level = between(h.r, 40, 98)
	}
	if chance(h.r, unsureShare) {
		level = h.visit.tech.threshold + between(h.r, -edge, edge)*0.95
	}
	held := h.holdTime()
	h.now = h.now.Add(time.Duration(25+int(held)+h.r.IntN(40)) * time.Second)
	h.battery -= between(h.r, 0.1, 0.4)
	level = tenths(level)
	return reading{h.now, gain, held, level, tenths(h.battery), call(level, h.visit.tech.threshold)}
}

// call is what a technician makes of a level.
func call(level, threshold float64) string {
	switch {
	case level >= threshold+edge:
		return "active"
	case level <= threshold-edge:
		return "clear"
	}
	return "unsure"
}

func (h *hand) holdTime() float64 {
	held := between(h.r, 20, 60)
	short := chance(h.r, cutShort)
	if h.visit.tech.id == shortHoldTech {
		short = chance(h.r, shortHoldShare)
	}
	if short {
		held = between(h.r, shortHoldLow, shortHoldHigh)
	}
	return tenths(held)
}

// control reads a place known to be clear, at the step a reading starts at.
func (h *hand) control() []reading {
	still := point{material: h.visit.site.points[0].material}
	luck := h.r.Float64()
	gain := h.visit.unit.gainStart
	return []reading{h.hold(gain, luck < h.showing(&still, gain))}
}

// copyClear gives points that were clear throughout the holds and levels of the first such point
// with as many steps. Gains and calls are the point's own, so nothing changes but the evidence.
func copyClear(points []pointVisit) {
	var models [mostHolds + 1][]reading
	for i := range points {
		own := points[i].readings
		model := &models[len(own)]
		switch {
		case slices.ContainsFunc(own, func(rd reading) bool { return rd.call != "clear" }):
		case *model == nil:
			*model = own
		default:
			for j := range own {
				own[j].hold, own[j].level = (*model)[j].hold, (*model)[j].level
			}
		}
	}
}
