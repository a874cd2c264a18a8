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
)

// plantLogFaults makes some holds differ from what was written down. Each is of a reading of its own.
func plantLogFaults(r *rand.Rand, visits []*visit, holds [][]held) {
	var all []*held
	var in []*visit
	for i := range holds {
		for k := range holds[i] {
			all, in = append(all, &holds[i][k]), append(in, visits[i])
		}
	}
	order, taken := r.Perm(len(all)), map[int]bool{}
	plant := func(times int, fits func(h *held) bool, spoil func(h *held, v *visit)) {
		for _, i := range order {
			if times > 0 && !taken[i] && fits(all[i]) {
				taken[i] = true
				times--
				spoil(all[i], in[i])
			}
		}
	}
	plant(shortenedHolds, func(h *held) bool { return h.call == "clear" && h.seconds >= 25 }, func(h *held, _ *visit) {
		h.start = h.start.Add(time.Duration(h.seconds * 0.6 * float64(time.Second)))
		h.seconds *= 0.4
	})
	plant(otherGains, func(h *held) bool { return h.call == "clear" }, func(h *held, v *visit) {
		if h.gain++; h.gain > v.unit.gainMax {
			h.gain -= 2
		}
	})
	plant(otherLevels, func(h *held) bool { return h.call == "active" && h.level > 60 && h.looks != lookPeriodic }, func(h *held, _ *visit) { h.level -= 25 })
	plant(stillActives, func(h *held) bool { return h.call == "active" && !h.active && h.looks != lookPeriodic }, func(h *held, _ *visit) { h.looks, h.level = lookStill, 6 })
	plant(movingClears, func(h *held) bool { return h.call == "clear" && h.seconds > 15 }, func(h *held, _ *visit) { h.looks, h.level = lookGusts, 70 })
	for range unrecordedHolds {
		insertUnrecorded(r, holds)
	}
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
