package patterns

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"scanledger/queries/stats"
)

// model says how likely each call is to be wrong by its adjusting factors alone, and by the patterns
// already found: a logistic model, additive on the log-odds, whose effects are held back a little
// (stats.FitFactors), so that a technician with no false alarm keeps a chance of one.
type model struct {
	levels []int     // of the adjusting factors, and two for every found pattern
	spread []float64 // of their effects
	cells  []cell
	cellOf []int // per call
	cov    *mat.SymDense
	alike  float64 // correlation of the residuals of two calls of one site, 0 or more
}

// cell is calls that are alike in everything the model looks at.
type cell struct {
	level    []int   // of each factor
	at       []int   // its coefficients: the constant and one per factor
	n, wrong float64 // calls, and wrong ones
	p        float64 // fitted chance of being wrong
}

func (c *cell) weight() float64 { return c.p * (1 - c.p) }

// Spreads of effects, standard deviations of the log-odds: levels of a factor seldom differ by more,
// patterns may. (House's choice.)
const (
	levelSpread   = 2
	patternSpread = 5
)

// newModel sorts calls into cells. A level that is not known is one more level.
func newModel(c *Calls, adjust []adjuster, found []set) *model {
	m := &model{cellOf: make([]int, len(c.Wrong))}
	for _, f := range adjust {
		m.levels, m.spread = append(m.levels, f.levels()+1), append(m.spread, f.spread)
	}
	for range found {
		m.levels, m.spread = append(m.levels, 2), append(m.spread, patternSpread)
	}
	nth := map[string]int{}
	level, key := make([]int, len(m.levels)), make([]byte, 2*len(m.levels))
	for i := range c.Wrong {
		for k, f := range adjust {
			level[k] = f.level[i] + 1
		}
		for k, s := range found {
			level[len(adjust)+k] = 0
			if s.has(i) {
				level[len(adjust)+k] = 1
			}
		}
		for k, l := range level {
			key[2*k], key[2*k+1] = byte(l), byte(l>>8)
		}
		id, ok := nth[string(key)]
		if !ok {
			id = len(m.cells)
			nth[string(key)] = id
			m.cells = append(m.cells, cell{level: slices.Clone(level), at: m.coefficients(level)})
		}
		m.cellOf[i] = id
		m.cells[id].n++
		if c.Wrong[i] {
			m.cells[id].wrong++
		}
	}
	return m
}

// coefficients numbers those of a cell: the constant, then the levels, factor by factor.
func (m *model) coefficients(level []int) []int {
	at, next := []int{0}, 1
	for k, l := range level {
		at = append(at, next+l)
		next += m.levels[k]
	}
	return at
}

// fit sets the chances of every cell, those without calls included.
func (m *model) fit() error {
	in := stats.FactorModel{Levels: m.levels, Spread: m.spread}
	for _, c := range m.cells {
		if c.n > 0 {
			in.Rows = append(in.Rows, stats.FactorRow{At: c.level, Events: c.wrong, Trials: c.n})
		}
	}
	fit, err := stats.FitFactors(in)
	if err != nil {
		return err
	}
	m.cov = fit.Cov
	for i := range m.cells {
		eta := fit.Constant
		for k, l := range m.cells[i].level {
			eta += fit.Effects[k][l]
		}
		m.cells[i].p = logistic(eta)
	}
	return nil
}

// without is the model fitted again without some of the calls.
func (m *model) without(c *Calls, some set) (*model, error) {
	rest := &model{levels: m.levels, spread: m.spread, cells: slices.Clone(m.cells), cellOf: m.cellOf, alike: m.alike}
	some.each(func(i int) {
		cell := &rest.cells[m.cellOf[i]]
		cell.n--
		if c.Wrong[i] {
			cell.wrong--
		}
	})
	return rest, rest.fit()
}

// shifted is a model of the same cells with other chances and nothing but a constant to fit.
func (m *model) shifted(cells []cell, information float64) *model {
	return &model{cells: cells, cellOf: m.cellOf, alike: m.alike, cov: mat.NewSymDense(1, []float64{1 / information})}
}

func logistic(eta float64) float64 { return 1 / (1 + math.Exp(-eta)) }

// measureLikeness estimates how much alike the residuals of two calls of one site are: the mean product
// of their Pearson residuals, over all pairs within sites (moment estimator; Liang & Zeger 1986,
// Biometrika 73:13-22, exchangeable correlation).
func (m *model) measureLikeness(c *Calls) {
	var products, pairs float64
	for start := 0; start < len(c.Site); {
		var sum, squares, n float64
		end := start
		for ; end < len(c.Site) && c.Site[end] == c.Site[start]; end++ {
			cell := &m.cells[m.cellOf[end]]
			r := -cell.p
			if c.Wrong[end] {
				r = 1 - cell.p
			}
			r /= math.Sqrt(cell.weight())
			sum += r
			squares += r * r
			n++
		}
		products += sum*sum - squares
		pairs += n * (n - 1)
		start = end
	}
	if pairs > 0 {
		m.alike = min(1, max(0, products/pairs))
	}
}
