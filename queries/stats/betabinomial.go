package stats

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"
)

// MaxBetaBinomialTrials bounds the trials of one unit of a beta-binomial fit, whose work grows
// with them.
const MaxBetaBinomialTrials = 100_000

// BetaPrior is the beta law of the true rates of units: mean Alpha/(Alpha+Beta), and worth
// Alpha+Beta trials. Both are NaN where the data do not give one.
type BetaPrior struct{ Alpha, Beta float64 }

// Posterior is the rate of a unit with x events in n trials, shrunk towards the prior mean:
// (x+Alpha)/(n+Alpha+Beta).
func (p BetaPrior) Posterior(x, n int) float64 {
	return (float64(x) + p.Alpha) / (float64(n) + p.Alpha + p.Beta)
}

// Interval is the equal-tailed posterior interval of the true rate of a unit with x events in n
// trials. The prior is taken as known, so it is somewhat too narrow when there are few units. It
// is NaN without a prior, and where a beta parameter is 0.
func (p BetaPrior) Interval(x, n int, conf float64) Interval {
	a, b := float64(x)+p.Alpha, float64(n-x)+p.Beta
	if !(a > 0 && b > 0) {
		return Interval{math.NaN(), math.NaN()}
	}
	tail := (1 - conf) / 2
	return Interval{betaQuantile(tail, a, b), 1 - betaQuantile(tail, b, a)}
}

// MomentFit is a beta prior from the unweighted mean and variance (n-1) of the raw rates:
// Alpha+Beta = Mean(1-Mean)/Variance - 1 (Gelman et al., Bayesian Data Analysis, 3rd ed., 5.1).
// The variance includes chance, so it shrinks too little. Prior and Posterior are NaN when the
// variance is 0, leaves no room for a beta law, or cannot be had from one unit.
type MomentFit struct {
	Mean, Variance float64
	Prior          BetaPrior
	Posterior      []float64 // one per unit
}

// KleinmanFit is a beta prior from moments with weights n (Kleinman 1973, JASA 68:46-54), which
// takes chance out. Rho is the correlation between trials of one unit; at 0 or below, the rates
// spread no more than chance makes them and Prior is NaN.
type KleinmanFit struct {
	Mean, Rho float64
	Prior     BetaPrior
}

// BetaBinomialFit is the maximum likelihood fit, with the moment fits beside it.
//
// Alpha = Mean(1-Rho)/Rho and Beta = (1-Mean)(1-Rho)/Rho. Standard errors are those of
// logit(Mean) and logit(Rho), from the observed information.
//
// Where the maximum lies on the edge, the standard errors are NaN and: Rho is 0, Prior NaN and
// every Posterior the pooled mean when the units differ no more than chance makes them; Rho is 1,
// Prior zero and every Posterior the raw rate when each unit has all its trials alike; Rho, Prior
// and Posterior are NaN when the data say nothing of it (one trial in each unit, or all trials of
// all units alike).
type BetaBinomialFit struct {
	Mean, Rho               float64
	Prior                   BetaPrior
	LogLik                  float64 // with the binomial coefficients
	SELogitMean, SELogitRho float64
	Posterior               []float64 // one per unit
	BinomialLogLik          float64   // of one common rate, with the binomial coefficients
	LRChiSquare             float64   // 2 (LogLik - BinomialLogLik), at least 0
	Moments                 MomentFit
	Kleinman                KleinmanFit
}

// BetaBinomial fits units of totals trials with events whose true rates follow a beta law
// (Skellam 1948; Williams 1975, Biometrics 31:949-952). It assumes independent units whose rates
// do not depend on their size. It returns an error for no units, unequal lengths, a unit without
// trials, impossible counts, more than MaxBetaBinomialTrials trials in a unit, and when the
// search for the maximum fails.
func BetaBinomial(events, totals []int) (BetaBinomialFit, error) {
	if err := checkUnits(events, totals); err != nil {
		return BetaBinomialFit{}, err
	}
	for i, n := range totals {
		if n > MaxBetaBinomialTrials {
			return BetaBinomialFit{}, fmt.Errorf("unit %d has %d trials: give at most %d, or split it by month", i+1, n, MaxBetaBinomialTrials)
		}
	}
	fit, err := maximumLikelihood(newBetaBinomialLikelihood(events, totals))
	if err != nil {
		return BetaBinomialFit{}, err
	}
	fit.LRChiSquare = max(0, 2*(fit.LogLik-fit.BinomialLogLik))
	fit.Posterior = fit.Prior.posteriors(events, totals)
	if fit.Rho == 0 {
		for i := range fit.Posterior {
			fit.Posterior[i] = fit.Mean
		}
	}
	fit.Moments = momentFit(events, totals)
	fit.Kleinman = kleinmanFit(events, totals)
	return fit, nil
}

func (p BetaPrior) posteriors(events, totals []int) []float64 {
	out := make([]float64, len(events))
	for i, x := range events {
		out[i] = p.Posterior(x, totals[i])
	}
	return out
}

// betaPrior is the beta law with the given mean and Alpha+Beta, if there is one.
func betaPrior(mean, size float64) BetaPrior {
	if !(mean > 0 && mean < 1 && size > 0) || math.IsInf(size, 1) {
		return BetaPrior{math.NaN(), math.NaN()}
	}
	return BetaPrior{mean * size, (1 - mean) * size}
}

func momentFit(events, totals []int) MomentFit {
	rates := make([]float64, len(events))
	for i, x := range events {
		rates[i] = float64(x) / float64(totals[i])
	}
	var m MomentFit
	m.Mean, m.Variance = stat.MeanVariance(rates, nil)
	if floats.Max(rates) == floats.Min(rates) && len(rates) > 1 {
		m.Mean, m.Variance = rates[0], 0 // exactly: rounding would leave a variance to divide by
	}
	m.Prior = betaPrior(m.Mean, m.Mean*(1-m.Mean)/m.Variance-1)
	m.Posterior = m.Prior.posteriors(events, totals)
	return m
}

// kleinmanFit computes, with w = n, W = sum w, S = sum w (rate-mean)^2 and c = sum w (1-w/W),
//
//	rho = (S - mean(1-mean) sum (w/n)(1-w/W)) / (mean(1-mean) (c - sum (w/n)(1-w/W)))
//
// where w/n = 1 makes sum (w/n)(1-w/W) the number of units less 1.
func kleinmanFit(events, totals []int) KleinmanFit {
	all := float64(sumCounts(totals))
	fit := KleinmanFit{Mean: float64(sumCounts(events)) / all}
	var spread, c float64
	for i, x := range events {
		n := float64(totals[i])
		spread += n * square(float64(x)/n-fit.Mean)
		c += n * (1 - n/all)
	}
	free := float64(len(events) - 1)
	chance := fit.Mean * (1 - fit.Mean)
	fit.Rho = quotient(spread-chance*free, chance*(c-free))
	fit.Prior = betaPrior(fit.Mean, 1/fit.Rho-1)
	return fit
}
