package stats

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// FactorModel is what FitFactors fits. A row is a group of alike trials: the level of each factor (from
// 0), how many trials and events, and a known part of the log-odds.
type FactorModel struct {
	Levels []int     // how many levels each factor has
	Spread []float64 // of each factor: standard deviation of its levels' effects, in log-odds
	Rows   []FactorRow
}

// FactorRow is one group of trials.
type FactorRow struct {
	At             []int // level of each factor
	Events, Trials float64
	Offset         float64 // added to the log-odds
}

// FactorFit is a fitted FactorModel. Columns of Cov are the constant and then the levels, factor by factor.
type FactorFit struct {
	Constant   float64
	Effects    [][]float64 // of each factor's levels, log-odds
	Cov        *mat.SymDense
	Iterations int
}

const (
	constantSpread   = 5 // of the constant around the pooled log-odds: no hold on it unless events are 0 or all
	factorIterations = 100
	factorHalvings   = 30
)

// FitFactors fits a logistic regression on a constant and the effects of factor levels, each effect
// normal around 0 with its factor's spread: ridge regression, in which an empty or separated level stays
// finite (le Cessie and van Houwelingen 1992), and the penalised quasi-likelihood of a model with random
// effects (Breslow and Clayton 1993). Cov is the inverse of the penalised information, which takes rows
// as independent.
//
// It returns an error for no trials, impossible counts, numbers that are not finite, levels out of range
// and spreads not above 0.
func FitFactors(m FactorModel) (FactorFit, error) {
	if err := m.check(); err != nil {
		return FactorFit{}, fmt.Errorf("fit factors: %w", err)
	}
	s := newFactorSearch(m)
	at := s.visit(s.start)
	for i := 1; i <= factorIterations; i++ {
		next, moved, err := s.step(at)
		if err != nil {
			return FactorFit{}, fmt.Errorf("fit factors: %w", err)
		}
		at = next
		if moved < 1e-9 {
			return s.fit(at, i)
		}
	}
	return FactorFit{}, fmt.Errorf("fit factors: no convergence in %d steps", factorIterations)
}

func (m FactorModel) check() error {
	if len(m.Levels) != len(m.Spread) {
		return fmt.Errorf("%d factors and %d spreads: give one of each", len(m.Levels), len(m.Spread))
	}
	for f, spread := range m.Spread {
		if !(spread > 0) || math.IsInf(spread, 1) || m.Levels[f] < 1 {
			return fmt.Errorf("factor %d has %d levels with spread %v: give at least one level and a spread above 0", f, m.Levels[f], spread)
		}
	}
	trials := 0.0
	for i, r := range m.Rows {
		if !allFinite([]float64{r.Events, r.Trials, r.Offset}) || r.Events < 0 || r.Events > r.Trials || len(r.At) != len(m.Levels) {
			return fmt.Errorf("row %d: %v events in %v trials, offset %v, %d levels: give finite counts and a level of each factor", i, r.Events, r.Trials, r.Offset, len(r.At))
		}
		for f, level := range r.At {
			if level < 0 || level >= m.Levels[f] {
				return fmt.Errorf("row %d: level %d of factor %d, which has %d", i, level, f, m.Levels[f])
			}
		}
		trials += r.Trials
	}
	if trials == 0 {
		return errors.New("no trials: give at least one")
	}
	return nil
}

// factorSearch knows where each factor's columns start, and the centre and precision of each coefficient.
type factorSearch struct {
	m         FactorModel
	first     []int
	start     []float64
	precision []float64
	columns   []int // of the row at hand
}

// factorPoint is one place of the search.
type factorPoint struct {
	coef, score []float64
	value       float64 // penalised log-likelihood
	information *mat.SymDense
}

func newFactorSearch(m FactorModel) *factorSearch {
	s := &factorSearch{m: m, columns: make([]int, len(m.Levels)+1)}
	var events, trials float64
	for _, r := range m.Rows {
		events, trials = events+r.Events, trials+r.Trials
	}
	s.start, s.precision = []float64{math.Log((events + 0.5) / (trials - events + 0.5))}, []float64{1 / square(constantSpread)}
	for f, levels := range m.Levels {
		s.first = append(s.first, len(s.start))
		for range levels {
			s.start, s.precision = append(s.start, 0), append(s.precision, 1/square(m.Spread[f]))
		}
	}
	return s
}

// at lists the columns in which the row has a one; the constant's is 0.
func (s *factorSearch) at(r FactorRow) []int {
	for f, level := range r.At {
		s.columns[f+1] = s.first[f] + level
	}
	return s.columns
}

// visit works out value, score and information at coef. A row has few ones, so only those are summed.
func (s *factorSearch) visit(coef []float64) factorPoint {
	p := len(coef)
	at := factorPoint{coef: coef, score: make([]float64, p)}
	information := make([]float64, p*p)
	for _, r := range s.m.Rows {
		columns := s.at(r)
		eta := r.Offset
		for _, j := range columns {
			eta += coef[j]
		}
		mu := expit(eta)
		at.value += r.Events*eta - r.Trials*softplus(eta)
		pull, weight := r.Events-r.Trials*mu, r.Trials*mu*expit(-eta)
		for _, j := range columns {
			at.score[j] += pull
			for _, k := range columns {
				information[j*p+k] += weight
			}
		}
	}
	for j, b := range coef {
		away := b - s.start[j]
		at.value -= s.precision[j] * away * away / 2
		at.score[j] -= s.precision[j] * away
		information[j*p+j] += s.precision[j]
	}
	at.information = mat.NewSymDense(p, information)
	return at
}

// softplus is log(1 + exp(x)).
func softplus(x float64) float64 { return max(x, 0) + math.Log1p(math.Exp(-math.Abs(x))) }

// step takes one Newton step, halved until the penalised likelihood does not fall, and tells how far it
// went. The likelihood bends one way only, so the search cannot go astray.
func (s *factorSearch) step(at factorPoint) (factorPoint, float64, error) {
	var factor mat.Cholesky
	if !factor.Factorize(at.information) {
		return at, 0, errNoInformation
	}
	var by mat.VecDense
	if err := factor.SolveVecTo(&by, mat.NewVecDense(len(at.score), at.score)); err != nil {
		return at, 0, err
	}
	moved, share := mat.Norm(&by, math.Inf(1)), 1.0
	for range factorHalvings {
		coef := make([]float64, len(at.coef))
		for j := range coef {
			coef[j] = at.coef[j] + share*by.AtVec(j)
		}
		if next := s.visit(coef); next.value >= at.value-1e-12*(1+math.Abs(at.value)) {
			return next, moved * share, nil
		}
		share /= 2
	}
	return at, 0, nil
}

func (s *factorSearch) fit(at factorPoint, iterations int) (FactorFit, error) {
	out := FactorFit{Constant: at.coef[0], Iterations: iterations, Cov: mat.NewSymDense(len(at.coef), nil)}
	for f, levels := range s.m.Levels {
		out.Effects = append(out.Effects, at.coef[s.first[f]:s.first[f]+levels])
	}
	var factor mat.Cholesky
	if !factor.Factorize(at.information) {
		return out, fmt.Errorf("fit factors: %w", errNoInformation)
	}
	return out, factor.InverseTo(out.Cov)
}
