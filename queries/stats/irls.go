package stats

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// irls is a point of the search for the maximum likelihood estimate.
type irls struct {
	coef, eta            []float64
	means                []mean
	deviance             float64
	wls                  wls // of the last step
	iterations           int
	converged, separated bool
}

// search runs Fisher scoring. It stops when neither deviance nor predictor moves or, once a step has
// proved the data separated, when the deviance no longer falls.
func (m *glm) search() (irls, error) {
	s, err := m.start()
	if err != nil {
		return s, err
	}
	for s.iterations = 1; s.iterations <= glmIterations; s.iterations++ {
		next, err := m.step(s)
		if err != nil && s.separated {
			break // on its way to infinity the search has run out of digits
		}
		if err != nil {
			return s, err
		}
		moved := make([]float64, m.n)
		floats.SubTo(moved, next.eta, s.eta)
		first := s.coef == nil
		still := math.Abs(next.deviance-s.deviance) <= 1e-12*(math.Abs(next.deviance)+0.1)
		s.coef, s.eta, s.means, s.deviance = next.coef, next.eta, next.means, next.deviance
		if first {
			continue
		}
		size := floats.Norm(moved, math.Inf(1))
		s.separated = s.separated || m.recedes(moved, size)
		s.converged = still && size <= 1e-8*(1+floats.Norm(s.eta, math.Inf(1)))
		if s.converged || s.separated && still {
			break
		}
	}
	s.iterations = min(s.iterations, glmIterations)
	s.wls, err = m.leastSquares(s)
	return s, err
}

// start takes the data, drawn a little inward, as the first means. The log link on proportions
// instead starts from a common proportion, because from the data the first step may leave the
// range where proportions are below 1.
func (m *glm) start() (irls, error) {
	if m.bounded {
		return m.startAtCommonMean()
	}
	s := irls{eta: make([]float64, m.n)}
	for i, y := range m.y {
		start := y + 0.1
		if m.family == Binomial {
			start = (y + 0.5) / (m.trials[i] + 1)
		}
		s.eta[i] = m.link.forward(start)
	}
	s.means = m.means(s.eta)
	s.deviance = math.Inf(1)
	return s, nil
}

func (m *glm) startAtCommonMean() (irls, error) {
	j, level := m.constantColumn()
	if j < 0 {
		return irls{}, errors.New("the log link on proportions needs a constant column; add a column of ones")
	}
	y, t := m.totals()
	coef := make([]float64, m.p)
	coef[j] = (math.Log((y+0.5)/(t+1)) - max(0, floats.Max(m.offset))) / level
	s := irls{coef: coef, eta: m.predictor(coef)}
	s.means = m.means(s.eta)
	s.deviance = m.deviance(s.means)
	return s, nil
}

// step takes one scoring step and halves it until the deviance does not grow.
func (m *glm) step(s irls) (irls, error) {
	w, err := m.leastSquares(s)
	if err != nil {
		return s, err
	}
	next := irls{coef: w.coef}
	for range glmHalvings {
		next.eta = m.predictor(next.coef)
		next.means = m.means(next.eta)
		next.deviance = m.deviance(next.means)
		if m.valid(next.eta) && next.deviance <= s.deviance+1e-10*(math.Abs(s.deviance)+0.1) {
			return next, nil
		}
		if s.coef == nil {
			break
		}
		floats.AddTo(next.coef, next.coef, s.coef)
		floats.Scale(0.5, next.coef)
	}
	if s.coef == nil {
		return s, errors.New("the first step leaves the range of the numbers; rescale the columns to a range near 1")
	}
	return s, nil
}

func (m *glm) valid(eta []float64) bool {
	return allFinite(eta) && (!m.bounded || floats.Max(eta) < 0)
}

// leastSquares solves the weighted least squares problem of the scoring step at s.
func (m *glm) leastSquares(s irls) (wls, error) {
	weight := make([]float64, m.n)
	z := make([]float64, m.n)
	for i, mu := range s.means {
		residual := m.y[i] - mu.mu
		weight[i] = m.weights[i] * mu.mu
		if m.family == Binomial {
			weight[i] = m.weights[i] * m.trials[i] * mu.slope * mu.slope / (mu.mu * mu.nu)
			residual = m.y[i]/max(m.trials[i], 1e-300) - mu.mu
			if mu.mu > 0.5 {
				residual = mu.nu - (m.trials[i]-m.y[i])/max(m.trials[i], 1e-300)
			}
		}
		if m.carries(i) {
			z[i] = s.eta[i] - m.offset[i] + residual/mu.slope
		}
	}
	return solveWLS(m.x, weight, z)
}

// recedes tells whether moving the predictor by d for ever never lowers the likelihood, which
// proves that no finite estimate exists (Albert & Anderson 1984): d must not be negative where all
// trials succeeded, not positive where none did, and zero elsewhere. A step of a search that
// diverges tends to such a direction; one of a search that converges never is.
func (m *glm) recedes(d []float64, size float64) bool {
	const tolerance = 1e-6
	if size < 1e-3 {
		return false
	}
	for i, di := range d {
		di /= size
		if !m.carries(i) {
			continue
		}
		mayFall := m.y[i] == 0
		mayRise := m.family == Binomial && !m.bounded && m.y[i] == m.trials[i]
		if di > tolerance && !mayRise || di < -tolerance && !mayFall {
			return false
		}
	}
	return true
}

// nullDeviance fits the model without covariates.
func (m *glm) nullDeviance() (float64, error) {
	j, _ := m.constantColumn()
	if j < 0 {
		return m.deviance(m.means(m.offset)), nil
	}
	if floats.Min(m.offset) == floats.Max(m.offset) {
		y, t := m.totals()
		common := make([]mean, m.n)
		for i := range common {
			common[i] = mean{mu: y / t, nu: (t - y) / t}
		}
		return m.deviance(common), nil
	}
	null := *m
	null.p = 1
	null.x = mat.NewDense(m.n, 1, nil)
	for i := range m.n {
		null.x.Set(i, 0, 1)
	}
	s, err := null.search()
	return s.deviance, err
}

// totals are the weighted successes and trials (or counts and rows).
func (m *glm) totals() (y, t float64) {
	for i := range m.n {
		y += m.weights[i] * m.y[i]
		t += m.weights[i] * m.trials[i]
	}
	return y, t
}

// constantColumn finds the first column with one non-zero value throughout, and that value.
func (m *glm) constantColumn() (column int, value float64) {
	for j := range m.p {
		c := mat.Col(nil, j, m.x)
		if lo, hi := floats.Min(c), floats.Max(c); lo == hi && lo != 0 {
			return j, lo
		}
	}
	return -1, 0
}

// wls is a solved weighted least squares problem with r the triangular factor of the weighted
// columns, so that X'WX = r'r.
type wls struct {
	coef []float64
	r    *mat.TriDense
}

func solveWLS(x *mat.Dense, weight, z []float64) (wls, error) {
	n, p := x.Dims()
	a := mat.NewDense(n, p, nil)
	b := mat.NewVecDense(n, nil)
	for i := range n {
		root := math.Sqrt(weight[i])
		floats.AddScaled(a.RawRowView(i), root, x.RawRowView(i))
		b.SetVec(i, root*z[i])
	}
	var qr mat.QR
	qr.Factorize(a)
	out := wls{coef: make([]float64, p), r: upperTriangle(&qr, p)}
	if err := qr.SolveVecTo(mat.NewVecDense(p, out.coef), false, b); err != nil && !isPoorlyConditioned(err) {
		return out, fmt.Errorf("solve weighted least squares: %w", err)
	}
	if !allFinite(out.coef) {
		return out, errors.New("solve weighted least squares: not finite; rescale the columns to a range near 1")
	}
	return out, nil
}

// isPoorlyConditioned tells a warning of lost digits from a true failure: rank is checked once on
// scaled columns, and separated data lose digits on their way out.
func isPoorlyConditioned(err error) bool {
	var condition mat.Condition
	return errors.As(err, &condition) && !math.IsInf(float64(condition), 1)
}

func upperTriangle(qr *mat.QR, p int) *mat.TriDense {
	var full mat.Dense
	qr.RTo(&full)
	r := mat.NewTriDense(p, mat.Upper, nil)
	for i := range p {
		for j := i; j < p; j++ {
			r.SetTri(i, j, full.At(i, j))
		}
	}
	return r
}

// covariance is (X'WX)^-1.
func (w wls) covariance() *mat.SymDense {
	p, _ := w.r.Dims()
	inverse := mat.NewTriDense(p, mat.Upper, nil)
	cov := mat.NewSymDense(p, nil)
	if err := inverse.InverseTri(w.r); err != nil && !isPoorlyConditioned(err) {
		for i := range p {
			for j := i; j < p; j++ {
				cov.SetSym(i, j, math.NaN())
			}
		}
		return cov
	}
	cov.SymOuterK(1, inverse)
	return cov
}

func standardErrors(cov *mat.SymDense) []float64 {
	se := make([]float64, cov.SymmetricDim())
	for i := range se {
		se[i] = math.Sqrt(cov.At(i, i))
	}
	return se
}

// checkRank names the first column that the columns before it already make up, looking only at
// the rows that carry weight.
func checkRank(x *mat.Dense, carries func(int) bool) error {
	n, p := x.Dims()
	a := mat.NewDense(n, p, nil)
	for j := range p {
		c := mat.Col(nil, j, x)
		for i := range c {
			if !carries(i) {
				c[i] = 0
			}
		}
		if norm := floats.Norm(c, 2); norm > 0 {
			floats.Scale(1/norm, c)
		}
		a.SetCol(j, c)
	}
	var qr mat.QR
	qr.Factorize(a)
	r := upperTriangle(&qr, p)
	for j := range p {
		if math.Abs(r.At(j, j)) < 1e-9 {
			return fmt.Errorf("column %d is a combination of the columns before it, or zero; leave it out", j)
		}
	}
	return nil
}
