package demo

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"
)

// site is one building with the points tested on it.
type site struct {
	id        string
	number    int
	region    int
	points    []point
	infested  float64 // site effect on activity
	restless  float64 // site effect on false movement
	lastVisit time.Time
	visits    []*visit
}

// point is one place on a building.
type point struct {
	id        string
	material  *material
	thickness float64 // mm
	pipe      bool    // a water pipe behind it
	active    bool
	treated   time.Time // day a finding showed the activity
	opened    time.Time // day of the latest decisive finding
}

// How sites differ.
const (
	fewestPoints   = 8
	mostPoints     = 12
	infestedSpread = 0.5
	restlessSpread = 0.35
	newActivity    = 0.6 // of a first visit's chance, for each further year
)

// newSite builds the next site, in the given region.
func newSite(s *scenario, region int) *site {
	n := len(s.sites) + 1
	r := stream(s.opt.Seed, "site", n)
	where := &s.regions[region]
	out := &site{
		id: fmt.Sprintf("S%05d", n), number: n, region: region,
		infested: effect(r, infestedSpread), restless: effect(r, restlessSpread),
	}
	weights := make([]float64, len(materials))
	masonry := chance(r, where.masonry)
	for i := range materials {
		weights[i] = materials[i].timber
		if masonry {
			weights[i] = materials[i].masonry
		}
	}
	piped := where.id == pipeRegion && chance(r, pipeSiteShare)
	for i := range fewestPoints + r.IntN(mostPoints-fewestPoints+1) {
		m := &materials[weighted(r, weights)]
		out.points = append(out.points, point{
			id:        fmt.Sprintf("P%02d", i+1),
			material:  m,
			thickness: math.Round(2*m.thickness*between(r, 0.85, 1.3)) / 2,
			pipe:      piped && m.id == pipeMaterial,
		})
	}
	return out
}

// live carries out the visits to one site in turn, with what happens to its points in between.
func (s *scenario) live(at *site) {
	onset := stream(s.opt.Seed, "onset", at.number)
	opening := stream(s.opt.Seed, "findings", at.number)
	for i, v := range at.visits {
		for p := range at.points {
			if at.points[p].active && !at.points[p].treated.IsZero() && at.points[p].treated.Before(v.day) {
				at.points[p].active = false
			}
		}
		if p := s.onsetChance(at, i); chance(onset, p) {
			at.infest(onset)
		}
		s.carryOut(v, i)
		s.find(opening, v, i)
	}
}

// onsetChance is the chance that the site became active before its i-th visit. Follow-up visits
// see the site as the visit before them did.
func (s *scenario) onsetChance(at *site, i int) float64 {
	v := at.visits[i]
	region := &s.regions[at.region]
	p := region.prevalence * region.seasonFactor(v.day.Month()) * at.infested
	if i > 0 {
		years := v.day.Sub(at.visits[i-1].day).Hours() / (24 * 365)
		p *= newActivity * min(1, years)
	}
	still := slices.ContainsFunc(at.points, func(p point) bool { return p.active })
	if still || v.purpose == "recheck" || v.purpose == "call_back" {
		return 0
	}
	return min(p, 0.7)
}

// infest starts activity at one to three neighbouring points.
func (at *site) infest(r *rand.Rand) {
	n := 1 + weighted(r, []float64{0.55, 0.3, 0.15})
	first := r.IntN(len(at.points) - n + 1)
	for i := first; i < first+n; i++ {
		at.points[i].active, at.points[i].treated = true, time.Time{}
	}
}
