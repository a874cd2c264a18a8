package demo

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"
)

// region is a part of the invented country. The zones are real so that offsets and the change to
// summer time are those a loader meets; the places are not.
type region struct {
	id, label, scheme, zone, hazard string
	latitude                        float64
	prevalence                      float64 // chance that a site at its first visit has an active point
	masonry                         float64 // share of masonry sites
	warm, cool                      float64 // mean air temperature, °C, of the two halves of the year
	loc                             *time.Location
}

// worldRegions returns the regions; their positions are the region numbers used elsewhere.
func worldRegions() ([]region, error) {
	regions := []region{
		{id: "ferry_coast", label: "Ferry Coast", scheme: "south_four", zone: "Australia/Melbourne", hazard: "moderate_to_heavy",
			latitude: -37.6, prevalence: 0.26, masonry: 0.45, warm: 22, cool: 12},
		{id: "pine_flats", label: "Pine Flats", scheme: "north_four", zone: "America/Chicago", hazard: "very_heavy",
			latitude: 31.2, prevalence: 0.34, masonry: 0.3, warm: 29, cool: 15},
		{id: "lantern_reach", label: "Lantern Reach", scheme: "south_wet_dry", zone: "Australia/Darwin", hazard: "very_heavy",
			latitude: -13.4, prevalence: 0.34, masonry: 0.5, warm: 31, cool: 28},
		{id: "harrow_bay", label: "Harrow Bay", scheme: "north_wet_dry", zone: "Asia/Manila", hazard: "moderate_to_heavy",
			latitude: 14.8, prevalence: 0.26, masonry: 0.65, warm: 30, cool: 27},
		{id: "upper_marl", label: "Upper Marl", scheme: "south_four", zone: "Africa/Johannesburg", hazard: "slight_to_moderate",
			latitude: -29.7, prevalence: 0.16, masonry: 0.55, warm: 24, cool: 14},
	}
	for i := range regions {
		loc, err := time.LoadLocation(regions[i].zone)
		if err != nil {
			return nil, fmt.Errorf("demo: time zone of region %s: %w; install the time zone database", regions[i].id, err)
		}
		regions[i].loc = loc
	}
	return regions, nil
}

// warmOrWet tells whether a month is in the half of the year with more activity.
func (g *region) warmOrWet(m time.Month) bool {
	octToMar := m >= time.October || m <= time.March
	return octToMar == (g.latitude < 0)
}

// seasonFactor is how much likelier new activity is in this month than over the year.
func (g *region) seasonFactor(m time.Month) float64 {
	if g.warmOrWet(m) {
		return 1.25
	}
	return 0.75
}

// weather is one day's weather in one region.
type weather struct {
	air, wind float64 // °C, km/h
	rain      string
}

// windScale sets how windy a day is: about one in eight reaches windKmh.
const windScale = 24.5

func (g *region) weather(r *rand.Rand, m time.Month) weather {
	mean := g.cool
	if g.warmOrWet(m) {
		mean = g.warm
	}
	wind := windScale * math.Sqrt(r.ExpFloat64()) // Weibull with shape 2
	return weather{
		air:  tenths(mean + 4*r.NormFloat64()),
		wind: math.Round(min(wind, 95)),
		rain: pick(r, []string{"none", "none", "none", "none", "none", "light", "light", "heavy"}),
	}
}

// material is what the sensor is held against.
type material struct {
	id, label, density string
	gainLow, gainHigh  int     // the house's own guidance range
	thickness          float64 // typical, mm
	sensitivity        float64 // at typical thickness and sufficient gain
	falseBase          float64 // chance of false movement at gain 2
	falseStep          float64 // … and for each step more
	timber, masonry    float64 // weight among the points of a timber or masonry site
}

var materials = []material{
	{"plasterboard", "Plasterboard lining", "light", 2, 4, 13, 0.95, 0.01, 0.012, 3, 3},
	{"weatherboard", "Timber weatherboard", "light", 3, 5, 19.5, 0.9, 0.01, 0.012, 3.5, 0.6},
	{"plywood_lining", "Plywood lining", "light", 2, 4, 9.5, 0.95, 0.01, 0.012, 1.5, 0.5},
	{"fibre_cement", "Fibre cement sheet", "medium", 3, 5, 7.5, 0.85, 0.01, 0.006, 2, 1},
	{"hardwood_panel", "Hardwood panel", "medium", 3, 5, 32, 0.8, 0.01, 0.006, 1.5, 0.5},
	{"brick_veneer", "Brick veneer", "dense", 4, 6, 110, 0.65, 0.01, 0.003, 0.5, 2.5},
	{"concrete_block", "Hollow concrete block", "dense", 4, 6, 140, 0.55, 0.01, 0.003, 0.2, 1.8},
	{"double_brick", "Double brick", "dense", 4, 6, 230, 0.5, 0.01, 0.003, 0, 2.2},
}

// The ceiling of false movement: on light boards without, and with a planted fault.
const (
	falseMost        = 0.12
	falseMostPlanted = 0.6
)

// sees is the chance that activity behind the material shows at a gain.
func (m *material) sees(gain int, thickness float64) float64 {
	s := m.sensitivity - 0.1*(thickness/m.thickness-1)
	switch over := gain - m.gainLow; {
	case over < 0:
		s *= max(0.2, 0.9+0.2*float64(over))
	case over < 2:
		s *= 0.9 + 0.05*float64(over)
	}
	return min(s, 0.97)
}

// moves is the chance that a still point seems to move at a gain.
func (m *material) moves(gain int) float64 {
	return min(falseMost, max(0.005, m.falseBase+m.falseStep*float64(gain-2)))
}
