package stats

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// FactorModel is what FitFactors fits. A row is a group of alike trials: the level of each factor (from
// 0), how many trials and events, and a known part of the log-odds.
type FactorModel struct {
	Levels []int     // how many levels each factor has
	Spread []float64 // of each factor: standard deviation of its levels' effects, in log-odds
	Rows   []FactorRow
	From   *FactorFit // a fit of much the same rows, where the search begins; nil: everything average
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
	at := s.visit(s.from())
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
	if m.From != nil && !m.From.fits(m.Levels) {
		return errors.New("the search is to begin at a fit of other factors: give one of the same levels")
	}
	return nil
}

// fits reports whether the fit is one of factors with such levels.
func (f *FactorFit) fits(levels []int) bool {
	return slices.EqualFunc(f.Effects, levels, func(effects []float64, n int) bool { return len(effects) == n })
}

// factorSearch knows where each factor's columns start, and the centre and precision of each coefficient. Columns of the
// factor of most levels are apart from the rest: no row has two of them, so that their block of the information is diagonal.
type factorSearch struct {
	m                 FactorModel
	first             []int // columns of the fit
	centre, precision []float64
	largest           int   // factor; -1 where there is none
	rest              []int // columns that are not the largest factor's
	place             []int // of a column: among the rest, or among the largest factor's
	columns           []int // of the row at hand
}

// factorPoint is one place of the search.
type factorPoint struct {
	coef, score []float64
	value       float64 // penalised log-likelihood
	information factorInformation
}

func newFactorSearch(m FactorModel) *factorSearch {
	s := &factorSearch{m: m, columns: make([]int, len(m.Levels)+1), rest: []int{0}, place: []int{0}, largest: -1}
	var events, trials float64
	for _, r := range m.Rows {
		events, trials = events+r.Events, trials+r.Trials
	}
	for f, levels := range m.Levels {
		if s.largest < 0 || levels > m.Levels[s.largest] {
			s.largest = f
		}
	}
	s.centre, s.precision = []float64{math.Log((events + 0.5) / (trials - events + 0.5))}, []float64{1 / square(constantSpread)}
	for f, levels := range m.Levels {
		s.first = append(s.first, len(s.centre))
		for level := range levels {
			if f == s.largest {
				s.place = append(s.place, level)
			} else {
				s.place, s.rest = append(s.place, len(s.rest)), append(s.rest, len(s.centre))
			}
			s.centre, s.precision = append(s.centre, 0), append(s.precision, 1/square(m.Spread[f]))
		}
	}
	return s
}

// from is where the search begins.
func (s *factorSearch) from() []float64 {
	if s.m.From == nil {
		return s.centre
	}
	return slices.Concat(append([][]float64{{s.m.From.Constant}}, s.m.From.Effects...)...)
}

// at lists the columns in which the row has a one, that of the largest factor last; the constant's is 0.
func (s *factorSearch) at(r FactorRow) []int {
	n := 1
	for f, level := range r.At {
		if f != s.largest {
			s.columns[n] = s.first[f] + level
			n++
		}
	}
	if s.largest >= 0 {
		s.columns[n] = s.first[s.largest] + r.At[s.largest]
	}
	return s.columns
}

// visit works out value, score and information at coef. A row has few ones, so only those are summed.
func (s *factorSearch) visit(coef []float64) factorPoint {
	at := factorPoint{coef: coef, score: make([]float64, len(coef))}
	of := len(s.rest)
	rest, diagonal, shared := make([]float64, of*of), make([]float64, len(coef)-of), make([]float64, of*(len(coef)-of))
	for _, r := range s.m.Rows {
		columns := s.at(r)
		eta := r.Offset
		for _, j := range columns {
			eta += coef[j]
		}
		far := math.Exp(-math.Abs(eta)) // once for all: the exponential is what a row costs
		mu, left := 1/(1+far), far/(1+far)
		if eta < 0 {
			mu, left = left, mu
		}
		at.value += r.Events*eta - r.Trials*(max(eta, 0)+math.Log1p(far))
		pull, weight := r.Events-r.Trials*mu, r.Trials*mu*left
		for _, j := range columns {
			at.score[j] += pull
		}
		if s.largest >= 0 {
			level := s.place[columns[len(columns)-1]]
			columns = columns[:len(columns)-1]
			diagonal[level] += weight
			row := shared[level*of:][:of]
			for _, j := range columns {
				row[s.place[j]] += weight
			}
		}
		for i, j := range columns { // the upper triangle: columns come in order
			row := rest[s.place[j]*of:][:of]
			for _, k := range columns[i:] {
				row[s.place[k]] += weight
			}
		}
	}
	for j, b := range coef {
		away := b - s.centre[j]
		at.value -= s.precision[j] * away * away / 2
		at.score[j] -= s.precision[j] * away
	}
	for i, j := range s.rest {
		rest[i*of+i] += s.precision[j]
	}
	at.information = factorInformation{rest: mat.NewSymDense(of, rest)}
	if s.largest >= 0 {
		floats.Add(diagonal, s.ofLargest(s.precision))
		at.information.diagonal, at.information.shared = diagonal, mat.NewDense(len(diagonal), of, shared)
	}
	return at
}

// step takes one Newton step, halved until the penalised likelihood does not fall, and tells how far it
// went. The likelihood bends one way only, so the search cannot go astray.
func (s *factorSearch) step(at factorPoint) (factorPoint, float64, error) {
	by, err := s.solve(at)
	if err != nil {
		return at, 0, err
	}
	moved, share := floats.Norm(by, math.Inf(1)), 1.0
	for range factorHalvings {
		coef := make([]float64, len(at.coef))
		for j := range coef {
			coef[j] = at.coef[j] + share*by[j]
		}
		if next := s.visit(coef); next.value >= at.value-1e-12*(1+math.Abs(at.value)) {
			return next, moved * share, nil
		}
		share /= 2
	}
	return at, 0, nil
}

func (s *factorSearch) fit(at factorPoint, iterations int) (FactorFit, error) {
	out := FactorFit{Constant: at.coef[0], Iterations: iterations}
	for f, levels := range s.m.Levels {
		out.Effects = append(out.Effects, at.coef[s.first[f]:s.first[f]+levels])
	}
	var err error
	if out.Cov, err = s.inverse(at.information); err != nil {
		return out, fmt.Errorf("fit factors: %w", err)
	}
	return out, nil
}
