package patterns

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"scanledger/queries/stats"
)

const (
	fewestOthers = 4   // values from which a spread can be told; with fewer none is taken off (house's choice)
	winsorised   = 0.1 // share drawn in at each end (Spiegelhalter 2005)
	// drawnIn is the variance of a standard normal drawn in so; without it the spread would be taken as
	// too small. It is 0.8 - 2 z phi(z) + 0.2 z^2 at z = 1.2816.
	drawnIn = 0.6787
)

// spread is the variance, on the log scale, by which values of a factor differ anyway, and the degrees of
// freedom behind that estimate.
type spread struct{ variance, df float64 }

// widen turns a p that takes the spread as known into one that knows how few values it was told from:
// Student's t, on the degrees of freedom of the whole variance (Satterthwaite 1946, Biometrics Bulletin
// 2:110-114).
func (s spread) widen(p, expected, variance float64) float64 {
	own := s.variance * expected * expected
	if own == 0 || p <= 0 || p >= 0.5 {
		return p
	}
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: s.df * (variance / own) * (variance / own)}
	return t.Survival(-distuv.UnitNormal.Quantile(p))
}

// spreadBeside estimates by how much the other values of an item's factor differ among themselves beyond
// chance. The item's own calls have no part in it, so that it does not hide behind itself.
func (s *search) spreadBeside(item int) (spread, error) {
	m, err := s.model([]int{item})
	if err != nil {
		return spread{}, err
	}
	m, err = m.without(s.calls, s.items[item].set)
	if err != nil {
		return spread{}, err
	}
	return s.spreadOfFactor(m, s.items[item].factor, item)
}

// measureBetween estimates by how much the values of each spread factor differ, on the log-odds.
func (s *search) measureBetween() error {
	s.between = map[string]float64{}
	for _, name := range s.opt.Spread {
		at := slices.IndexFunc(s.items, func(it item) bool { return s.calls.Factors[it.factor].Name == name })
		if at < 0 {
			continue
		}
		m, err := s.model([]int{at})
		if err != nil {
			return err
		}
		among, err := s.spreadOfFactor(m, s.items[at].factor, -1)
		if err != nil {
			return err
		}
		right := 1 - float64(s.calls.wrong())/float64(len(s.calls.Wrong)) // from log ratios to log-odds
		s.between[name] = math.Sqrt(among.variance) / right
	}
	return nil
}

// spreadOfFactor is additive over-dispersion of the values of a factor but one, on the log scale, winsorised
// (Spiegelhalter 2005, Stat Med 24:1185-1202).
func (s *search) spreadOfFactor(m *model, factor, but int) (spread, error) {
	var t tally
	var z, se []float64
	for i, it := range s.items {
		if i == but || it.factor != factor || s.isCut(it) {
			continue
		}
		if sc := t.score(s.calls, m, it.set, spread{}); sc.variance > 0 {
			z = append(z, sc.excess()/math.Sqrt(sc.variance*drawnIn))
			se = append(se, math.Sqrt(sc.variance)/sc.expected)
		}
	}
	if len(z) < fewestOthers {
		return spread{}, nil
	}
	o, err := stats.MeasureOverdispersion(z, se, winsorised)
	n := float64(len(z))
	return spread{o.Tau2 * (1 + 1/n), n - 1}, err
}

// isCut tells a value that is a cut of a number from one that calls have as their own.
func (s *search) isCut(it item) bool { return it.value >= s.calls.Factors[it.factor].levels() }

// spreadOf is what a pattern must stand clear of besides chance.
func (s *search) spreadOf(items []int) spread {
	if len(items) > 1 {
		return spread{} // adjusted for
	}
	return s.spread[items[0]]
}
