package stats

import (
	"errors"
	"fmt"
	"math"
)

// WeightedTrials are N independent trials that each succeed with probability P and then count for
// Weight.
type WeightedTrials struct{ N, P, Weight float64 }

// WeightedSum is a sum of weighted trials, less its mean, plus a normal part of mean 0 and variance
// Rest (many small terms). Clump (at least 1, 1 for independence) says that trials come in clumps
// of so many that succeed together, which multiplies the variance.
type WeightedSum struct {
	Trials []WeightedTrials
	Rest   float64
	Clump  float64
}

// Upper is the chance that the sum exceeds u by the saddlepoint approximation of Lugannani and Rice
// (1980, Adv Appl Prob 12:475-490) in the form of Barndorff-Nielsen (1986, Biometrika 73:307-322), which
// keeps its digits far out; Dey et al. (2017, Am J Hum Genet 101:37-49) use it to test rare binary events.
// Without a normal part it lies near the mid-p of the exact distribution. It returns an error for
// probabilities outside 0 to 1, negative counts or variance, and a clump below 1.
func (s WeightedSum) Upper(u float64) (float64, error) {
	if err := s.check(u); err != nil {
		return 0, err
	}
	sd := math.Sqrt(s.slopeAt(0) * s.Clump)
	if sd == 0 {
		return 0.5, nil
	}
	if math.Abs(u) < 0.1*sd { // the formula loses its digits at the mean, where the sum is near normal
		return NormalUpper(u / sd), nil
	}
	t, ok := s.saddlepoint(u)
	if !ok {
		return s.beyond(u), nil
	}
	k, _, k2 := s.cumulant(t)
	w := math.Copysign(math.Sqrt(max(0, 2*(t*u-k)/s.Clump)), t)
	v := t * math.Sqrt(k2/s.Clump)
	return NormalUpper(w + math.Log(v/w)/w), nil
}

func (s WeightedSum) check(u float64) error {
	if !allFinite([]float64{u, s.Rest, s.Clump}) || s.Rest < 0 || s.Clump < 1 {
		return fmt.Errorf("tail of a weighted sum: at %g, rest %g, clump %g; give finite numbers, a rest of 0 or more and a clump of 1 or more", u, s.Rest, s.Clump)
	}
	for _, t := range s.Trials {
		if !allFinite([]float64{t.N, t.P, t.Weight}) || t.N < 0 || t.P < 0 || t.P > 1 {
			return fmt.Errorf("tail of a weighted sum: %g trials of probability %g and weight %g; give 0 or more of a probability from 0 to 1", t.N, t.P, t.Weight)
		}
	}
	if len(s.Trials) == 0 && s.Rest == 0 {
		return errors.New("tail of a weighted sum: nothing varies; give at least one trial")
	}
	return nil
}

// cumulant is the cumulant generating function of the sum of independent trials at t, with its first
// two derivatives. Clumps of c turn K(t) into K(c t)/c: the saddlepoint moves, its value does not.
func (s WeightedSum) cumulant(t float64) (k, k1, k2 float64) {
	k, k1, k2 = s.Rest*t*t/2, s.Rest*t, s.Rest
	for _, g := range s.Trials {
		if g.P == 0 || g.P == 1 {
			continue // nothing varies
		}
		shift := t * g.Weight
		success := g.P / (g.P + (1-g.P)*math.Exp(-shift)) // tilted probability
		k += g.N * (logSumTilted(g.P, shift) - shift*g.P)
		k1 += g.N * g.Weight * (success - g.P)
		k2 += g.N * g.Weight * g.Weight * success * (1 - success)
	}
	return k, k1, k2
}

// logSumTilted is log(1 - p + p e^x) without overflow.
func logSumTilted(p, x float64) float64 {
	if x > 0 {
		return x + math.Log(p+(1-p)*math.Exp(-x))
	}
	return math.Log1p(p * math.Expm1(x))
}

func (s WeightedSum) slopeAt(t float64) float64 {
	_, _, k2 := s.cumulant(t)
	return k2
}

// saddlepoint solves K'(t) = u by Newton steps held within a bracket; false where u lies at or beyond
// all the sum can reach.
func (s WeightedSum) saddlepoint(u float64) (float64, bool) {
	side := math.Copysign(1/math.Sqrt(s.slopeAt(0)), u)
	inner, outer := 0.0, side
	for range 60 {
		if _, k1, _ := s.cumulant(outer); (u > 0) == (k1 > u) {
			break
		}
		inner, outer = outer, 2*outer
		if s.slopeAt(outer) < 1e-9*s.slopeAt(0) {
			return 0, false // hardly anything is left that could still go the way of u
		}
	}
	t := (inner + outer) / 2
	for range 200 {
		_, k1, k2 := s.cumulant(t)
		if (u > 0) == (k1 > u) {
			outer = t
		} else {
			inner = t
		}
		next := t - (k1-u)/k2
		if lo, hi := min(inner, outer), max(inner, outer); !(next > lo && next < hi) {
			next = (inner + outer) / 2
		}
		if math.Abs(next-t) <= 1e-12*math.Abs(t) {
			return next, true
		}
		t = next
	}
	return t, true
}

// beyond is the chance at the end of the range: half that of every trial going the way of u.
func (s WeightedSum) beyond(u float64) float64 {
	var log float64
	for _, g := range s.Trials {
		p := g.P
		if (g.Weight > 0) != (u > 0) {
			p = 1 - p
		}
		if g.N > 0 && g.Weight != 0 {
			log += g.N * math.Log(p) / s.Clump
		}
	}
	tail := math.Exp(log) / 2
	if u < 0 {
		return 1 - tail
	}
	return tail
}
