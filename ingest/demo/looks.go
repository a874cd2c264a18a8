package demo

import (
	"math"
	"math/rand/v2"
)

// look is how the level moves in a hold. What is alive keeps no time here: it moves in bursts.
type look int

const (
	lookStill    look = iota
	lookBursts        // moves and rests for random times
	lookPeriodic      // keeps time, as a fan, a pump or footsteps do
	lookGusts         // swells and fades, as in wind
	lookHandled       // moves as the hold begins and comes to rest
	lookFull          // bursts to the end of the scale
)

// lookOf says how a reading's level moved, from what made it move.
func lookOf(rd reading, pv *pointVisit) look {
	switch {
	case rd.call != "active":
		return lookStill
	case pv == nil || pv.active:
		return lookBursts
	}
	switch pv.cause {
	case "fan_or_motor", "water_pipe", "person":
		return lookPeriodic
	case "wind_or_loose_sheet", "vegetation", "animal":
		return lookGusts
	case "unsteady_hold":
		return lookHandled
	}
	return lookBursts
}

// How movement looks in a log.
const (
	quietLevel  = 2.0 // % of full scale, of a head held still: so low that no hold's noise is another's movement
	meanBurst   = 1.2 // s
	meanRest    = 2.5
	gustKept    = 0.9 // of the swell, from one sample to the next
	shortPeriod = 1.2 // s
	longPeriod  = 3.2
	settling    = 0.9 // s in which handling fades
)

// levels are the levels of a hold, one a sample; the highest is the hold's own.
func levels(r *rand.Rand, h held) []float64 {
	n := max(2, int(h.seconds*float64(1e9)/float64(sampleEvery))+1)
	out := make([]float64, n)
	rest := min(quietLevel, 0.6*h.level)
	shape := shapeOf(r, h.looks, h.period, n)
	top := 0
	for i := range out {
		noise := rest * (1 + 0.25*r.NormFloat64())
		out[i] = tenths(min(h.level, max(0, noise+shape[i]*(h.level-rest))))
		if out[i] > out[top] {
			top = i
		}
	}
	out[top] = tenths(h.level)
	return out
}

// shapeOf is how far the level is from rest (0) to its highest (1), sample by sample.
func shapeOf(r *rand.Rand, l look, period float64, n int) []float64 {
	out := make([]float64, n)
	step := sampleEvery.Seconds()
	switch l {
	case lookPeriodic:
		phase := r.Float64()
		for i := range out {
			out[i] = max(0, 0.5+0.42*math.Sin(2*math.Pi*(float64(i)*step/period+phase))+0.06*r.NormFloat64())
		}
	case lookGusts:
		swell := 0.0
		for i := range out {
			swell = gustKept*swell + math.Sqrt(1-gustKept*gustKept)*r.NormFloat64()
			out[i] = max(0, 0.35+0.3*swell)
		}
	case lookHandled:
		for i := range out {
			out[i] = math.Exp(-float64(i) * step / settling)
		}
	case lookBursts, lookFull:
		bursts(r, out, step, l == lookFull)
	}
	return out
}

// bursts move and rest for random times, the first within the hold's first seconds.
func bursts(r *rand.Rand, out []float64, step float64, full bool) {
	at := meanRest * r.Float64()
	for at < float64(len(out))*step {
		long, height := meanBurst*r.ExpFloat64()+step, 0.4+0.6*r.Float64()
		if full {
			height = 1
		}
		for i := int(at / step); i < len(out) && float64(i)*step < at+long; i++ {
			out[i] = height * (0.85 + 0.15*r.Float64())
			if full {
				out[i] = 1
			}
		}
		at += long + meanRest*r.ExpFloat64()
	}
}
