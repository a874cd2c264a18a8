package stats

import (
	"fmt"
	"math"
	"slices"
)

// firthProfiles fills in the tests and limits of fit.
func (m *glm) firthProfiles(fit *FirthFit, conf float64) {
	z := normalCritical(conf)
	for j, b := range fit.Coef {
		drop := m.firthProfile(fit, j)
		excess := func(v float64) float64 { return drop(v) - z*z }
		low := findCrossing(excess, b, -z*fit.StdErr[j])
		high := findCrossing(excess, b, z*fit.StdErr[j])
		fit.ChiSquared = append(fit.ChiSquared, drop(0))
		fit.P = append(fit.P, chiSquaredP(fit.ChiSquared[j], 1))
		fit.Low, fit.High = append(fit.Low, low), append(fit.High, high)
		switch {
		case math.IsNaN(low) || math.IsNaN(high):
			fit.Warnings = append(fit.Warnings, fmt.Sprintf("a profile limit of coefficient %d was not found", j))
		case m.severalPeaks(fit, j, low, drop(low), z) || m.severalPeaks(fit, j, high, drop(high), z):
			fit.Warnings = append(fit.Warnings, fmt.Sprintf("too little data: the profile of coefficient %d has several peaks and its limits may be too narrow", j))
		}
	}
	if m.spent() {
		fit.Warnings = append(fit.Warnings, "the search for profile limits took too long and was ended; leave out columns or rescale those with far outlying values")
	}
}

// firthDrop is twice the fall of the penalised log-likelihood when coefficient j is held at v and
// the others are searched from start.
func (m *glm) firthDrop(fit *FirthFit, j int, v float64, start []float64) float64 {
	start = slices.Clone(start)
	start[j] = v
	at, err := m.firthSearch(j, start, fit.information)
	if err != nil || !at.converged {
		return math.NaN()
	}
	return max(0, 2*(fit.PenalisedLogLik-at.value))
}

// firthProfile is the drop, searched from the estimate, of coefficient j at each v that is asked
// for. Those that are asked for again are remembered.
func (m *glm) firthProfile(fit *FirthFit, j int) func(v float64) float64 {
	known := map[float64]float64{}
	return func(v float64) float64 {
		drop, ok := known[v]
		if !ok {
			drop = m.firthDrop(fit, j, v, fit.Coef)
			known[v] = drop
		}
		return drop
	}
}

// severalPeaks tells whether the profile, which has this drop there, jumps at a limit, or is higher there when the search comes
// back from farther out than when it comes from the estimate.
func (m *glm) severalPeaks(fit *FirthFit, j int, limit, drop, z float64) bool {
	if math.Abs(drop-z*z) > 1e-3 {
		return true
	}
	beyond := slices.Clone(fit.Coef)
	beyond[j] += 2 * (limit - beyond[j])
	at, err := m.firthSearch(j, beyond, fit.information)
	return err == nil && m.firthDrop(fit, j, limit, at.coef) < z*z-1e-3
}
