package demo

import (
	"math/rand/v2"
	"slices"
	"time"
)

// What is planted in the logs, in each unit's unless a unit is named.
const (
	slowUnit         = "U05"
	slowBy           = 7 * time.Minute
	slowFrom, slowTo = 10, 16 // days of the month

	leftUnit = "U09"

	unrecordedHolds = 8
	shortenedHolds  = 6
	otherGains      = 4
	otherLevels     = 5
	stillActives    = 3 // called active, nothing moved
	movingClears    = 4 // called clear, much moved
	fullHolds       = 1 // bursts to the end of the scale, where the level written came near it
	nearFull        = 90.0
	handledHolds    = 3 // called clear, moved only as the hold began
	steppedHolds    = 2 // the same, the head live while the gain was stepped
	onsetLevel      = 15.0
)

// spot is a hold with that before it in its visit, if any.
type spot struct {
	*held
	before *held
	in     *visit
}

func spots(visits []*visit, holds [][]held) []spot {
	var out []spot
	for i, own := range holds {
		for k := range own {
			s := spot{held: &own[k], in: visits[i]}
			if k > 0 {
				s.before = &own[k-1]
			}
			out = append(out, s)
		}
	}
	return out
}

// onset tells whether movement as the hold begins can have made the level written.
func (s spot) onset() bool { return s.call == "clear" && s.level >= onsetLevel && s.seconds > 15 }

// plantLogFaults makes some holds differ from what was written down. Each is of a reading of its own.
func plantLogFaults(r *rand.Rand, visits []*visit, holds [][]held) {
	all := spots(visits, holds)
	order, taken := r.Perm(len(all)), map[int]bool{}
	plant := func(times int, fits func(s spot) bool, spoil func(s spot)) {
		for _, i := range order {
			if times > 0 && !taken[i] && fits(all[i]) {
				taken[i] = true
				times--
				spoil(all[i])
			}
		}
	}
	plant(fullHolds, func(s spot) bool { return s.call == "active" && s.active && s.level >= nearFull }, func(s spot) { s.looks, s.level = lookFull, 100 })
	plant(shortenedHolds, func(s spot) bool { return s.call == "clear" && s.seconds >= 25 }, func(s spot) {
		s.start = s.start.Add(time.Duration(s.seconds * 0.6 * float64(time.Second)))
		s.seconds *= 0.4
	})
	plant(otherGains, func(s spot) bool { return s.call == "clear" }, func(s spot) {
		if s.gain++; s.gain > s.in.unit.gainMax {
			s.gain -= 2
		}
	})
	plant(otherLevels, func(s spot) bool { return s.call == "active" && s.level > 60 && s.looks != lookPeriodic }, func(s spot) { s.level -= 25 })
	plant(stillActives, func(s spot) bool { return s.call == "active" && !s.active && s.looks != lookPeriodic }, func(s spot) { s.looks, s.level = lookStill, 6 })
	plant(movingClears, func(s spot) bool { return s.call == "clear" && s.seconds > 15 }, func(s spot) { s.looks, s.level = lookGusts, 70 })
	plant(steppedHolds, func(s spot) bool {
		return s.onset() && s.before != nil && s.before.gain != s.gain && s.end().Sub(s.before.end()) < longestStep
	}, stepLive)
	plant(handledHolds, spot.onset, func(s spot) { s.looks = lookHandled })
	for range unrecordedHolds {
		insertUnrecorded(r, holds)
	}
}

const longestStep = time.Minute // from the end of one hold to that of the next, so that the onset is more than a trace of it

// stepLive begins a hold as the gain is stepped after the hold before it.
func stepLive(s spot) {
	begin := s.before.end().Add(time.Second)
	s.seconds += s.start.Sub(begin).Seconds()
	s.start, s.looks = begin, lookHandled
}

// insertUnrecorded puts a short hold that nobody wrote down where a visit has time for it.
func insertUnrecorded(r *rand.Rand, holds [][]held) {
	const seconds, room = 9.0, 24 * time.Second
	for range 200 {
		if len(holds) == 0 {
			return
		}
		visit := r.IntN(len(holds))
		own := holds[visit]
		if len(own) < 2 {
			continue
		}
		k := r.IntN(len(own) - 1)
		if own[k+1].start.Sub(own[k].end()) < room || !own[k].written || !own[k+1].written {
			continue
		}
		h := held{start: own[k].end().Add(7 * time.Second), seconds: seconds, gain: own[k].gain, level: 6, battery: own[k].battery}
		holds[visit] = slices.Insert(own, k+1, h)
		return
	}
}

// slow puts the samples of a visit back where the unit's clock was slow.
func slow(unit string, v *visit, samples []sample) []sample {
	if day := v.day.Day(); unit == slowUnit && day >= slowFrom && day <= slowTo {
		for i := range samples {
			samples[i].at = samples[i].at.Add(-slowBy)
		}
	}
	return samples
}

// leftOn is a unit put down with its head live in the evening of a visit's day, until after midnight there.
func leftOn(r *rand.Rand, v *visit) []sample {
	local := v.start.Location()
	from := time.Date(v.day.Year(), v.day.Month(), v.day.Day(), 22, 40, 0, 0, local)
	to := from.Add(105 * time.Minute)
	var out []sample
	for at := from; at.Before(to); at = at.Add(leftEvery) {
		gone := at.Sub(from).Hours()
		out = append(out, sample{at, true, v.unit.gainStart, tenths(quietLevel * (1 + 0.25*r.NormFloat64())), tenths(70 - 11*gone)})
	}
	return out
}
