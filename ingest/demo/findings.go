package demo

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"
)

// finding is what was later learned about a point.
type finding struct {
	id     string
	site   *site
	place  int
	visit  *visit // the visit that led to it; nil: not known
	on     time.Time
	method string
	result string
	cause  string
}

// How calls are followed up.
const (
	openActive      = 0.74  // of active calls
	openClear       = 0.045 // of clear calls, drawn at random
	openClearBeside = 0.045 // the same where the visit showed activity elsewhere: openings stay a random draw
	reportMissed    = 0.15  // of missed points, by the occupant
	reportStill     = 0.001 // of clear points without activity
	linkKnown       = 0.95
	soonestOpening  = 2 // days
	usualOpening    = 12
	latestOpening   = 42
	daysAfterLast   = 6 // of the next month, after which nothing has come in yet
	movementShare   = 0.35
	movementPlanted = 0.8
	movementClear   = 0.05
	oldDamageShare  = 0.2
)

// find decides what is learned about the points after a visit, and plans it.
func (s *scenario) find(r *rand.Rand, v *visit, nth int) {
	beside := v.outcome == "active"
	for i := range v.points {
		pv := &v.points[i]
		if pv.point.opened.Before(v.day) && s.opens(r, pv, beside) {
			s.open(r, v, pv)
		}
		s.hear(r, v, pv, nth)
	}
}

func (s *scenario) opens(r *rand.Rand, pv *pointVisit, beside bool) bool {
	switch {
	case pv.call == "active":
		return chance(r, openActive)
	case pv.call == "clear" && beside:
		return chance(r, openClearBeside)
	default:
		return pv.call == "clear" && chance(r, openClear)
	}
}

// open looks behind the point. Old sheet may hold asbestos, so fibre cement is never drilled here.
func (s *scenario) open(r *rand.Rand, v *visit, pv *pointVisit) {
	delay := min(soonestOpening+int(usualOpening*r.ExpFloat64()), latestOpening)
	if v.rechecked {
		delay = max(delay, recheckLatest+1)
	}
	f := &finding{site: v.site, place: pv.place, visit: v, on: v.day.AddDate(0, 0, delay)}
	f.method = pick(r, []string{"opened", "drilled", "borescope"})
	if f.method == "drilled" && pv.point.material.density == "medium" {
		f.method = "borescope"
	}
	f.result, f.cause = behind(r, pv)
	if !chance(r, linkKnown) {
		f.visit = nil
	}
	pv.point.opened = f.on
	s.note(f)
	if pv.active {
		pv.point.treated = f.on
	}
}

// behind is what an opening shows.
func behind(r *rand.Rand, pv *pointVisit) (result, cause string) {
	if pv.active {
		return "active", ""
	}
	movement := movementClear
	switch {
	case pv.call == "active" && pv.planted:
		movement = movementPlanted
	case pv.call == "active":
		movement = movementShare
	}
	switch {
	case chance(r, movement):
		return "other_movement", pv.cause
	case chance(r, oldDamageShare):
		return "old_damage", ""
	}
	return "nothing", ""
}

// hear adds what comes in by itself: occupants' reports, and what a call-back sees again. Neither is
// decisive, and neither gets the point treated.
func (s *scenario) hear(r *rand.Rand, v *visit, pv *pointVisit, nth int) {
	reported := pv.call == "clear" && (pv.active && chance(r, reportMissed) || !pv.active && chance(r, reportStill))
	if reported && !v.rechecked {
		result := "nothing"
		if pv.active {
			result = "active"
		}
		s.note(&finding{site: v.site, place: pv.place, visit: v, on: v.day.AddDate(0, 0, 5+r.IntN(45)), method: "occupant_report", result: result})
	}
	if v.purpose == "call_back" && nth > 0 && pv.call == "active" && pv.active {
		s.note(&finding{site: v.site, place: pv.place, visit: v.site.visits[nth-1], on: v.day, method: "return_visit", result: "active"})
	}
}

// note keeps a finding that has come in by the end of the records.
func (s *scenario) note(f *finding) {
	if end := firstMonth.AddDate(0, len(s.months), daysAfterLast); f.on.Before(end) {
		s.found = append(s.found, f)
	}
}

// nameFindings numbers the findings in order of their day.
func (s *scenario) nameFindings() {
	slices.SortStableFunc(s.found, func(a, b *finding) int {
		return cmp.Or(a.on.Compare(b.on), a.site.number-b.site.number, a.place-b.place)
	})
	for i, f := range s.found {
		f.id = fmt.Sprintf("F%06d", i+1)
	}
}
