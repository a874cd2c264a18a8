package stats

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"
)

// betaBinomialLikelihood is the log-likelihood of units in the form of products (Griffiths 1973,
// Biometrics 29:637-648), which stays exact as rho falls to 0:
//
//	sum over k<x of log A_k + sum over k<n-x of log B_k - sum over k<n of log C_k, with
//	A_k = mean(1-rho) + k rho, B_k = (1-mean)(1-rho) + k rho, C_k = 1 - rho + k rho
//
// moreEvents[k] counts the units with more than k events, and so on: the terms of one k are equal.
type betaBinomialLikelihood struct {
	moreEvents, moreOthers, moreTrials []float64
	coefficients                       float64 // sum of log binomial coefficients
	units, trials, events              int
	unitsWithEvents                    int
	alike                              bool // every unit has all its trials alike
}

func newBetaBinomialLikelihood(events, totals []int) betaBinomialLikelihood {
	l := betaBinomialLikelihood{units: len(events), trials: sumCounts(totals), events: sumCounts(events), alike: true}
	others := make([]int, len(events))
	for i, x := range events {
		n := totals[i]
		others[i] = n - x
		l.coefficients += logGamma(float64(n)+1) - logGamma(float64(x)+1) - logGamma(float64(n-x)+1)
		l.alike = l.alike && (x == 0 || x == n)
		if x > 0 {
			l.unitsWithEvents++
		}
	}
	l.moreEvents, l.moreOthers, l.moreTrials = moreThan(events), moreThan(others), moreThan(totals)
	return l
}

// moreThan counts, for k = 0, 1, .. below the greatest count, the counts above k.
func moreThan(counts []int) []float64 {
	top := 0
	for _, c := range counts {
		top = max(top, c)
	}
	out := make([]float64, top)
	for _, c := range counts {
		if c > 0 {
			out[c-1]++
		}
	}
	for k := top - 2; k >= 0; k-- {
		out[k] += out[k+1]
	}
	return out
}

// binomial is the log-likelihood of one common rate.
func (l betaBinomialLikelihood) binomial() float64 {
	x, n := float64(l.events), float64(l.trials)
	return l.coefficients + xLogY(x, x/n) + xLogY(n-x, (n-x)/n)
}

// slopes holds the log-likelihood without coefficients and its derivatives by mean and rho.
type slopes struct{ value, mean, rho, meanMean, meanRho, rhoRho float64 }

// add adds count times log(a), where a has the slopes byMean and byRho and the cross slope cross.
func (s *slopes) add(count, a, byMean, byRho, cross float64) {
	s.value += count * math.Log(a)
	s.mean += count * byMean / a
	s.rho += count * byRho / a
	s.meanMean -= count * byMean * byMean / (a * a)
	s.meanRho += count * (cross/a - byMean*byRho/(a*a))
	s.rhoRho -= count * byRho * byRho / (a * a)
}

func (l betaBinomialLikelihood) at(mean, rho float64) slopes {
	var s slopes
	for k, count := range l.moreEvents {
		s.add(count, mean*(1-rho)+float64(k)*rho, 1-rho, float64(k)-mean, -1)
	}
	for k, count := range l.moreOthers {
		s.add(count, (1-mean)*(1-rho)+float64(k)*rho, rho-1, float64(k)-(1-mean), 1)
	}
	for k, count := range l.moreTrials {
		s.add(-count, 1-rho+float64(k)*rho, 0, float64(k)-1, 0)
	}
	return s
}

// onLogits turns the derivatives into those by logit(mean) and logit(rho).
func (s slopes) onLogits(mean, rho float64) slopes {
	m, r := mean*(1-mean), rho*(1-rho)
	return slopes{
		value: s.value, mean: s.mean * m, rho: s.rho * r,
		meanMean: s.meanMean*m*m + s.mean*m*(1-2*mean),
		meanRho:  s.meanRho * m * r,
		rhoRho:   s.rhoRho*r*r + s.rho*r*(1-2*rho),
	}
}

// onLogits is the log-likelihood at x = (logit(mean), logit(rho)).
func (l betaBinomialLikelihood) onLogits(x []float64) slopes {
	mean, rho := expit(x[0]), expit(x[1])
	return l.at(mean, rho).onLogits(mean, rho)
}

// maximumLikelihood finds the maximum inside, or says on which edge it lies.
func maximumLikelihood(l betaBinomialLikelihood) (BetaBinomialFit, error) {
	nan := math.NaN()
	pooled := float64(l.events) / float64(l.trials)
	fit := BetaBinomialFit{
		Mean: pooled, Rho: nan, Prior: BetaPrior{nan, nan}, SELogitMean: nan, SELogitRho: nan,
		LogLik: l.binomial(), BinomialLogLik: l.binomial(),
	}
	switch {
	case l.events == 0 || l.events == l.trials || l.trials == l.units:
		return fit, nil
	case l.alike:
		fit.Mean = float64(l.unitsWithEvents) / float64(l.units)
		fit.Rho, fit.Prior = 1, BetaPrior{}
		fit.LogLik = xLogY(float64(l.unitsWithEvents), fit.Mean) + xLogY(float64(l.units-l.unitsWithEvents), 1-fit.Mean)
		return fit, nil
	}
	x, err := l.search(l.start(pooled))
	if err != nil {
		return fit, err
	}
	s := l.onLogits(x)
	// A gain below the rounding of the sums is no evidence of spread: the maximum is at rho 0.
	if !(l.coefficients+s.value > fit.BinomialLogLik+1e-10*math.Abs(fit.BinomialLogLik)) {
		fit.Rho = 0
		return fit, nil
	}
	fit.Mean, fit.Rho, fit.LogLik = expit(x[0]), expit(x[1]), l.coefficients+s.value
	fit.Prior = betaPrior(fit.Mean, (1-fit.Rho)/fit.Rho)
	if det := s.meanMean*s.rhoRho - s.meanRho*s.meanRho; det > 0 && s.meanMean < 0 {
		fit.SELogitMean, fit.SELogitRho = math.Sqrt(-s.rhoRho/det), math.Sqrt(-s.meanMean/det)
	}
	return fit, nil
}

// start is the best point among a few correlations, each with its own best mean: the likelihood can
// have one summit inside and another towards rho 0, and between them a search goes to the nearest.
func (l betaBinomialLikelihood) start(pooled float64) []float64 {
	logit := linkFunctions[LinkLogit].forward
	var start []float64
	best := math.Inf(-1)
	for _, rho := range []float64{0.001, 0.01, 0.03, 0.1, 0.2, 0.3, 0.5, 0.7, 0.9} {
		x := []float64{logit(pooled), logit(rho)}
		s := l.onLogits(x)
		for range 4 {
			x[0] += min(max(-2, s.mean/max(-s.meanMean, 1e-9)), 2)
			s = l.onLogits(x)
		}
		if s.value > best {
			start, best = x, s.value
		}
	}
	return start
}

// search climbs by Newton steps from the best start.
func (l betaBinomialLikelihood) search(start []float64) ([]float64, error) {
	// The search asks for value, gradient and Hessian at one point in turn.
	var last []float64
	var lastSlopes slopes
	at := func(x []float64) slopes {
		if !slices.Equal(x, last) {
			last, lastSlopes = slices.Clone(x), l.onLogits(x)
		}
		return lastSlopes
	}
	problem := optimize.Problem{
		Func: func(x []float64) float64 { return -at(x).value },
		Grad: func(grad, x []float64) {
			s := at(x)
			grad[0], grad[1] = -s.mean, -s.rho
		},
		Hess: func(h *mat.SymDense, x []float64) {
			s := at(x)
			h.SetSym(0, 0, -s.meanMean)
			h.SetSym(0, 1, -s.meanRho)
			h.SetSym(1, 1, -s.rhoRho)
		},
	}
	settings := &optimize.Settings{
		GradientThreshold: 1e-9 * float64(l.units),
		Converger:         &optimize.FunctionConverge{Relative: 1e-9, Iterations: 2},
		MajorIterations:   200,
	}
	result, err := optimize.Minimize(problem, start, settings, &optimize.Newton{Linesearcher: &optimize.Backtracking{}})
	if result == nil {
		return nil, fmt.Errorf("search for the maximum likelihood: %w", err)
	}
	x, slope := l.polish(result.X)
	if !(slope <= 1e-5*float64(l.units)) {
		return nil, errors.New("search for the maximum likelihood did not converge: check the counts")
	}
	return x, nil
}

// polish takes Newton steps as long as they make the slope smaller. Near the maximum the rounding
// of a long sum hides from the search which of two values is higher; the slope still tells.
func (l betaBinomialLikelihood) polish(x []float64) ([]float64, float64) {
	s := l.onLogits(x)
	slope := math.Hypot(s.mean, s.rho)
	for range 20 {
		det := s.meanMean*s.rhoRho - s.meanRho*s.meanRho
		if !(det > 0 && s.meanMean < 0) {
			break
		}
		next := []float64{
			x[0] - (s.rhoRho*s.mean-s.meanRho*s.rho)/det,
			x[1] - (s.meanMean*s.rho-s.meanRho*s.mean)/det,
		}
		there := l.onLogits(next)
		if !(math.Hypot(there.mean, there.rho) < slope) {
			break
		}
		x, s, slope = next, there, math.Hypot(there.mean, there.rho)
	}
	return x, slope
}
