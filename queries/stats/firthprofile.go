package stats

import (
	"fmt"
	"math"
	"slices"
)

// firthProfiles fills in the tests and limits of fit.
func (m *glm) firthProfiles(fit *FirthFit, conf float64) {
	z := normalCritical(conf)
	for j := range fit.Coef {
		low, high := m.firthLimit(fit, j, -z), m.firthLimit(fit, j, z)
		fit.ChiSquared = append(fit.ChiSquared, m.firthDrop(fit, j, 0, fit.Coef))
		fit.P = append(fit.P, chiSquaredP(fit.ChiSquared[j], 1))
		fit.Low, fit.High = append(fit.Low, low), append(fit.High, high)
		switch {
		case math.IsNaN(low) || math.IsNaN(high):
			fit.Warnings = append(fit.Warnings, fmt.Sprintf("a profile limit of coefficient %d was not found", j))
		case m.severalPeaks(fit, j, low, z) || m.severalPeaks(fit, j, high, z):
			fit.Warnings = append(fit.Warnings, fmt.Sprintf("too little data: the profile of coefficient %d has several peaks and its limits may be too narrow", j))
		}
	}
}

// firthDrop is twice the fall of the penalised log-likelihood when coefficient j is held at v and
// the others are searched from start.
func (m *glm) firthDrop(fit *FirthFit, j int, v float64, start []float64) float64 {
	at, err := m.firthHeld(j, v, firthPoint{coef: start, information: fit.information})
	if err != nil || !at.converged {
		return math.NaN()
	}
	return max(0, 2*(fit.PenalisedLogLik-at.value))
}

// firthHeld searches with coefficient j held at v, starting with the others where from has them.
func (m *glm) firthHeld(j int, v float64, from firthPoint) (firthPoint, error) {
	start := slices.Clone(from.coef)
	start[j] = v
	return m.firthSearch(j, start, from.information)
}

const (
	firthLimitSteps  = 150
	firthNewtonSteps = 60 // then halving
)

// firthLimit finds where the profile of coefficient j has dropped by z squared, on the side of the
// sign of z, to a billionth of the Wald distance. The root of the drop is nearly straight, and the
// score of the held coefficient is its slope, so that Newton's method needs few searches. Each
// starts from the farthest point inside the limit, to stay on the peak that is reached from the
// estimate; where the profile jumps the limit is the jump. NaN when there is none.
func (m *glm) firthLimit(fit *FirthFit, j int, z float64) float64 {
	inside := firthPoint{coef: fit.Coef, information: fit.information}
	outside := math.Copysign(math.Inf(1), z)
	step := z * fit.StdErr[j]
	v := fit.Coef[j] + step
	for k := range firthLimitSteps {
		at, err := m.firthHeld(j, v, inside)
		if err != nil || !at.converged {
			return math.NaN()
		}
		drop := 2 * (fit.PenalisedLogLik - at.value)
		root := math.Sqrt(max(0, drop))
		move := (root - math.Abs(z)) * root / m.firthScore(&at)[j]
		if drop > z*z {
			outside = v
		} else {
			inside = at
		}
		if math.Abs(move) <= 1e-9*math.Abs(step) || math.Abs(outside-inside.coef[j]) <= 1e-9*math.Abs(step) {
			return v
		}
		v = firthNext(inside.coef[j], outside, v, move, v-fit.Coef[j], k >= firthNewtonSteps)
	}
	return math.NaN()
}

// firthNext is the next place to look for a limit between inside and outside: Newton's, v+move, or
// half way where that leaves the bracket or halve is set. Before there is an outside (infinite) it
// goes out from v by at most twice far, and by far where Newton would go back.
func firthNext(inside, outside, v, move, far float64, halve bool) float64 {
	if math.IsInf(outside, 0) {
		if !(move/far > 0) {
			return v + far
		}
		return v + min(move/far, 2)*far
	}
	next := v + move
	if halve || !((next-inside)*(outside-next) > 0) {
		return inside + (outside-inside)/2
	}
	return next
}

// severalPeaks tells whether the profile jumps at a limit, or is higher there when the search comes
// back from farther out than when it comes from the estimate.
func (m *glm) severalPeaks(fit *FirthFit, j int, limit, z float64) bool {
	if math.Abs(m.firthDrop(fit, j, limit, fit.Coef)-z*z) > 1e-3 {
		return true
	}
	beyond := slices.Clone(fit.Coef)
	beyond[j] += 2 * (limit - beyond[j])
	at, err := m.firthSearch(j, beyond, fit.information)
	return err == nil && m.firthDrop(fit, j, limit, at.coef) < z*z-1e-3
}
