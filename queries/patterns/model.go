package patterns

import (
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// model says how likely each call is to be wrong by its adjusting factors alone, and by the patterns
// already found: a logistic model, additive on the log-odds, fitted by penalised maximum likelihood
// (ridge: le Cessie & van Houwelingen 1992, Applied Statistics 41:191-201), so that a technician with
// no false alarm keeps a chance of one.
type model struct {
	cells  []cell
	cellOf []int // per call
	dims   int   // coefficients
	cov    *mat.SymDense
	alike  float64 // correlation of the residuals of two calls of one site, 0 or more
}

// cell is calls that are alike in everything the model looks at.
type cell struct {
	at       []int   // its coefficients: the constant, one per adjusting factor, the found patterns it is in
	n, wrong float64 // calls, and wrong ones
	p        float64 // fitted chance of being wrong
}

func (c *cell) weight() float64 { return c.p * (1 - c.p) }

// Variances of the penalty, on the log-odds: levels of a factor differ about this much at most, patterns
// may differ by more. (House's choice.)
const (
	levelVariance   = 1.0
	patternVariance = 25.0
)

var errNoFit = errors.New("the model of conditions did not converge; report this with the records")

// newModel sorts calls into cells. Calls of the set left out are sorted but not counted.
func newModel(c *Calls, adjust []*Factor, found []set, leftOut set) *model {
	m := &model{cellOf: make([]int, len(c.Wrong)), dims: 1}
	offsets := make([]int, len(adjust))
	for k, f := range adjust {
		offsets[k] = m.dims
		m.dims += f.levels()
	}
	firstFound := m.dims
	m.dims += len(found)
	nth := map[string]int{}
	key := make([]byte, 0, 64)
	for i := range c.Wrong {
		at := []int{0}
		for k, f := range adjust {
			if f.level[i] >= 0 {
				at = append(at, offsets[k]+f.level[i])
			}
		}
		for k, s := range found {
			if s.has(i) {
				at = append(at, firstFound+k)
			}
		}
		key = key[:0]
		for _, a := range at {
			key = append(key, byte(a), byte(a>>8))
		}
		id, ok := nth[string(key)]
		if !ok {
			id = len(m.cells)
			nth[string(key)] = id
			m.cells = append(m.cells, cell{at: at})
		}
		m.cellOf[i] = id
		if leftOut != nil && leftOut.has(i) {
			continue
		}
		m.cells[id].n++
		if c.Wrong[i] {
			m.cells[id].wrong++
		}
	}
	return m
}

// fit finds the coefficients by Newton steps with halving and sets p of every cell.
func (m *model) fit(found int) error {
	ridge := make([]float64, m.dims)
	for j := range ridge {
		ridge[j] = 1 / levelVariance
		if j >= m.dims-found {
			ridge[j] = 1 / patternVariance
		}
	}
	ridge[0] = 1e-6 // the constant is free, but for calls that are all right or all wrong
	coef := make([]float64, m.dims)
	at := m.penalised(coef, ridge)
	for range 100 {
		step, err := m.step(coef, ridge)
		if err != nil {
			return err
		}
		next, size := make([]float64, m.dims), 0.0
		for scale := 1.0; scale > 1e-6; scale /= 2 {
			size = 0
			for j := range next {
				next[j] = coef[j] + scale*step.AtVec(j)
				size = max(size, math.Abs(scale*step.AtVec(j)))
			}
			if value := m.penalised(next, ridge); value >= at-1e-12*math.Abs(at) {
				at = value
				break
			}
		}
		coef = next
		if size < 1e-9 {
			m.predict(coef)
			_, err := m.step(coef, ridge)
			return err
		}
	}
	return errNoFit
}

func (m *model) eta(c *cell, coef []float64) float64 {
	var eta float64
	for _, j := range c.at {
		eta += coef[j]
	}
	return eta
}

func (m *model) predict(coef []float64) {
	for i := range m.cells {
		m.cells[i].p = logistic(m.eta(&m.cells[i], coef))
	}
}

func logistic(eta float64) float64 { return 1 / (1 + math.Exp(-eta)) }

// penalised is the penalised log-likelihood.
func (m *model) penalised(coef, ridge []float64) float64 {
	var sum float64
	for i := range m.cells {
		c := &m.cells[i]
		eta := m.eta(c, coef)
		sum += c.wrong*eta - c.n*softplus(eta)
	}
	for j, b := range coef {
		sum -= ridge[j] * b * b / 2
	}
	return sum
}

// softplus is log(1 + e^x) without overflow.
func softplus(x float64) float64 { return max(x, 0) + math.Log1p(math.Exp(-math.Abs(x))) }

// step is the Newton step at coef; it leaves the inverse of the information in cov.
func (m *model) step(coef, ridge []float64) (*mat.VecDense, error) {
	m.predict(coef)
	info, score := mat.NewSymDense(m.dims, nil), mat.NewVecDense(m.dims, nil)
	for j := range ridge {
		info.SetSym(j, j, ridge[j])
		score.SetVec(j, -ridge[j]*coef[j])
	}
	for i := range m.cells {
		c := &m.cells[i]
		w, e := c.n*c.weight(), c.wrong-c.n*c.p
		for k, j := range c.at {
			score.SetVec(j, score.AtVec(j)+e)
			for _, l := range c.at[k:] {
				info.SetSym(j, l, info.At(j, l)+w)
			}
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(info) {
		return nil, errNoFit
	}
	step := mat.NewVecDense(m.dims, nil)
	if err := chol.SolveVecTo(step, score); err != nil {
		return nil, err
	}
	m.cov = mat.NewSymDense(m.dims, nil)
	return step, chol.InverseTo(m.cov)
}

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

// without is the model fitted again without some of the calls.
func (m *model) without(c *Calls, some set, found int) (*model, error) {
	rest := &model{cells: slices.Clone(m.cells), cellOf: m.cellOf, dims: m.dims, alike: m.alike}
	some.each(func(i int) {
		cell := &rest.cells[m.cellOf[i]]
		cell.n--
		if c.Wrong[i] {
			cell.wrong--
		}
	})
	return rest, rest.fit(found)
}

// setVariance gives a model of a constant alone its variance.
func (m *model) setVariance(v float64) { m.cov = mat.NewSymDense(1, []float64{v}) }
