package stats

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"
)

// FirthFit is a penalised logistic fit. All slices of coefficients follow the columns of X.
type FirthFit struct {
	Coef, StdErr    []float64     // StdErr from the inverse of X'WX at the estimate
	Cov             *mat.SymDense // that inverse
	PenalisedLogLik float64       // loglik + log|X'WX|/2, without binomial coefficients
	ChiSquared, P   []float64     // penalised likelihood ratio test of each coefficient being 0
	Low, High       []float64     // profile penalised likelihood limits
	Fitted          []float64     // probability per row
	Iterations      int
	Warnings        []string
	information     *mat.SymDense // X'WX at the estimate
}

const firthIterations = 500

// firthMost bounds rows x columns x (columns squared + 20), to which the time of the profiles grows:
// some five seconds on one core of 2026. firthWork bounds the places visited, each counted as
// rows x (columns squared + 40), because a few odd values can make any search long: some eight
// seconds.
const (
	firthMost = 5_000_000
	firthWork = 6_000_000_000
)

// FitFirth fits a logistic model by penalised maximum likelihood (Firth 1993, Biometrika 80:27-38;
// Heinze & Schemper 2002, Stat Med 21:2409-2419). It maximises
//
//	loglik(b) + log|X'WX|/2,   W = trials p (1-p)
//
// whose estimate is always finite, also where the data are separated. Tests and limits profile
// that function: each holds one coefficient still and maximises over the others, keeping the full
// penalty. in is as for FitGLM with the logit link; rows are independent. A profile limit that is
// not found is NaN beside a warning. Input that would take longer than some ten seconds is refused.
func FitFirth(in GLMInput, conf float64) (FirthFit, error) {
	m, err := newGLM(in)
	if err == nil {
		err = checkConf(conf)
	}
	if err == nil && (in.Family != Binomial || in.Link != "" && in.Link != LinkLogit) {
		err = errors.New("the penalised fit is for proportions with the logit link")
	}
	if err != nil {
		return FirthFit{}, fmt.Errorf("fit penalised logistic model: %w", err)
	}
	m, rowOf := m.grouped()
	if perRow := m.p * (m.p*m.p + 20); m.n > firthMost/perRow {
		return FirthFit{}, fmt.Errorf("fit penalised logistic model: %d different rows of %d columns are too many for profile limits; give at most %d rows of so many columns",
			m.n, m.p, firthMost/perRow)
	}
	start := make([]float64, m.p)
	at, err := m.firthAt(start)
	if err == nil {
		at, err = m.firthSearch(-1, start, at.information)
	}
	if err != nil {
		return FirthFit{}, fmt.Errorf("fit penalised logistic model: %w", err)
	}
	final, err := solveWLS(m.x, at.weight, make([]float64, m.n))
	if err != nil {
		return FirthFit{}, fmt.Errorf("fit penalised logistic model: %w", err)
	}
	fit := FirthFit{Coef: at.coef, Cov: final.covariance(), PenalisedLogLik: at.value, Iterations: at.iterations, information: at.information}
	fit.StdErr = standardErrors(fit.Cov)
	for _, i := range rowOf {
		fit.Fitted = append(fit.Fitted, at.mu[i])
	}
	if !at.converged {
		fit.Warnings = append(fit.Warnings, fmt.Sprintf("no convergence in %d iterations: do not rely on the estimates", at.iterations))
	}
	m.firthProfiles(&fit, conf)
	return fit, nil
}

// grouped is the same model with rows that are alike taken together, and the group of each row.
func (m *glm) grouped() (*glm, []int) {
	g := *m
	g.y, g.trials, g.weights, g.offset = nil, nil, nil, nil
	var rows []float64
	rowOf, seen := make([]int, m.n), map[string]int{}
	for i := range m.n {
		key := fmt.Sprint(m.x.RawRowView(i), m.offset[i])
		at, ok := seen[key]
		if !ok {
			at = len(g.y)
			seen[key] = at
			rows = append(rows, m.x.RawRowView(i)...)
			g.y, g.trials = append(g.y, 0), append(g.trials, 0)
			g.weights, g.offset = append(g.weights, 1), append(g.offset, m.offset[i])
		}
		g.y[at] += m.weights[i] * m.y[i]
		g.trials[at] += m.weights[i] * m.trials[i]
		rowOf[i] = at
	}
	g.n = len(g.y)
	g.x = mat.NewDense(g.n, m.p, rows)
	return &g, rowOf
}

// firthPoint is a point of the search with the value of the penalised log-likelihood there. The
// information X'WX is enough here, without the factoring of the columns that FitGLM does: it only
// steers the search, while the score that ends it is exact.
type firthPoint struct {
	coef                 []float64
	mu, residual, weight []float64 // per row; a residual is weighted
	information          *mat.SymDense
	factor               mat.Cholesky
	value                float64
	iterations           int
	converged            bool
}

var errTooLong = errors.New("the search takes too long; leave out columns or rescale those with far outlying values")

// spent tells whether the fit has done all the work it may.
func (m *glm) spent() bool { return m.visits > firthWork/(m.n*(m.p*m.p+40)) }

var errNoInformation = errors.New("the information vanishes; rescale the columns to a range near 1")

func (m *glm) firthAt(coef []float64) (firthPoint, error) {
	at := m.newFirthPoint()
	err := m.firthMove(&at, coef)
	return at, err
}

func (m *glm) newFirthPoint() firthPoint {
	return firthPoint{
		mu: make([]float64, m.n), residual: make([]float64, m.n), weight: make([]float64, m.n),
		information: mat.NewSymDense(m.p, nil),
	}
}

// firthMove takes a point to other coefficients in the memory it has, for a search visits many.
func (m *glm) firthMove(at *firthPoint, coef []float64) error {
	at.coef, at.value = coef, 0
	if m.visits++; m.spent() {
		return errTooLong
	}
	at.information.Zero()
	sums := at.information.RawSymmetric().Data
	for i := range m.n {
		row := m.x.RawRowView(i)
		eta := m.offset[i]
		for j, x := range row {
			eta += x * coef[j]
		}
		at.value += m.firthRow(at, i, eta)
		for j, x := range row {
			wx := at.weight[i] * x
			sum := sums[j*m.p+j : (j+1)*m.p]
			for k, other := range row[j:] {
				sum[k] += wx * other
			}
		}
	}
	if !at.factor.Factorize(at.information) {
		return errNoInformation
	}
	at.value += at.factor.LogDet() / 2
	return nil
}

// firthRow fills in row i at predictor eta and returns its log-likelihood. It is written out for
// the logit, with one exponential, and without the floor of FitGLM: the penalty must go on falling
// where the means flatten out.
func (m *glm) firthRow(at *firthPoint, i int, eta float64) float64 {
	w, y, trials := m.weights[i], m.y[i], m.trials[i]
	e := math.Exp(-math.Abs(eta))
	near := 1 / (1 + e)
	far := e * near
	logNear := -math.Log1p(e)
	logFar := logNear - math.Abs(eta)
	at.weight[i] = w * trials * near * far
	if eta > 0 {
		at.mu[i], at.residual[i] = near, w*(trials*far-(trials-y))
		return w * (y*logNear + (trials-y)*logFar)
	}
	at.mu[i], at.residual[i] = far, w*(y-trials*far)
	return w * (y*logFar + (trials-y)*logNear)
}

// firthScore is the gradient of the penalised log-likelihood at a point, NaN where it cannot be had.
// The diagonal of the weighted hat matrix that it needs is weight x'(X'WX)^-1 x, row by row.
func (m *glm) firthScore(at *firthPoint) []float64 {
	score := make([]float64, m.p)
	var inverse mat.SymDense
	if err := at.factor.InverseTo(&inverse); err != nil && !isPoorlyConditioned(err) {
		floats.AddConst(math.NaN(), score)
		return score
	}
	v := inverse.RawSymmetric().Data // upper triangle
	for i := range m.n {
		row, hat := m.x.RawRowView(i), 0.0
		for j, x := range row {
			across := 0.0
			for k, other := range row[j+1:] {
				across += v[j*m.p+j+1+k] * other
			}
			hat += x * (2*across + v[j*m.p+j]*x)
		}
		pull := at.residual[i] + at.weight[i]*hat*(0.5-at.mu[i])
		for j, x := range row {
			score[j] += pull * x
		}
	}
	return score
}

// firthSearch climbs from start, holding one coefficient still (-1: none). information is that of
// all columns somewhere near. Where a climb gets stuck it goes on from there with the information
// of that point.
func (m *glm) firthSearch(held int, start []float64, information *mat.SymDense) (firthPoint, error) {
	iterations := 0
	for {
		at, err := m.firthClimb(held, start, information)
		iterations += at.iterations
		if err != nil || at.converged || at.iterations == 0 || iterations >= firthIterations {
			at.iterations = iterations
			return at, err
		}
		start, information = at.coef, at.information
	}
}

// firthClimb is one run of the quasi-Newton method BFGS, in coordinates in which information is the
// unit matrix, so that the unit of a column does not matter. (Scoring, good for FitGLM, takes
// hundreds of steps where the penalty and not the likelihood bends the surface.)
func (m *glm) firthClimb(held int, start []float64, information *mat.SymDense) (firthPoint, error) {
	axes, err := whiten(information, held)
	if err != nil || axes == nil {
		at, e := m.firthAt(start)
		at.converged = err == nil
		return at, errors.Join(err, e)
	}
	_, free := axes.Dims()
	coef := func(u []float64) []float64 {
		out := slices.Clone(start)
		mat.NewVecDense(m.p, out).MulVec(axes, mat.NewVecDense(free, u))
		return floats.AddTo(out, out, start)
	}
	last := m.newFirthPoint() // Func and Grad are mostly asked at the same place
	var lastErr error
	visit := func(u []float64) (*firthPoint, error) {
		if here := coef(u); last.coef == nil || !slices.Equal(here, last.coef) {
			lastErr = m.firthMove(&last, here)
		}
		return &last, lastErr
	}
	problem := optimize.Problem{
		Func: func(u []float64) float64 {
			at, err := visit(u)
			if err != nil || math.IsNaN(at.value) {
				return math.Inf(1)
			}
			return -at.value
		},
		Grad: func(gradient, u []float64) {
			at, err := visit(u)
			if err != nil {
				floats.AddConst(math.NaN(), gradient)
				return
			}
			mat.NewVecDense(free, gradient).MulVec(axes.T(), mat.NewVecDense(m.p, m.firthScore(at)))
			floats.Scale(-1, gradient)
		},
	}
	settings := &optimize.Settings{GradientThreshold: 1e-8, MajorIterations: firthIterations, Converger: optimize.NeverTerminate{}}
	result, err := optimize.Minimize(problem, make([]float64, free), settings, &optimize.BFGS{})
	if result == nil {
		return firthPoint{}, fmt.Errorf("search: %w", err)
	}
	// An error here is mostly a line search that rounding stops at the top: the gradient tells.
	at, err := m.firthAt(coef(result.X))
	at.iterations = result.MajorIterations
	at.converged = result.Gradient != nil && floats.Norm(result.Gradient, math.Inf(1)) < 1e-5
	return at, err
}

// whiten returns axes, one column per free coefficient, along which information is the unit matrix;
// the row of the held coefficient is zero. It returns nil when no coefficient is free.
func whiten(information *mat.SymDense, held int) (*mat.Dense, error) {
	p := information.SymmetricDim()
	keep := make([]int, 0, p)
	for j := range p {
		if j != held {
			keep = append(keep, j)
		}
	}
	if len(keep) == 0 {
		return nil, nil
	}
	s := mat.NewSymDense(len(keep), nil)
	for a, i := range keep {
		for b := a; b < len(keep); b++ {
			s.SetSym(a, b, information.At(i, keep[b]))
		}
	}
	var factor mat.Cholesky
	if !factor.Factorize(s) {
		return nil, errNoInformation
	}
	var upper, inverse mat.TriDense
	factor.UTo(&upper)
	if err := inverse.InverseTri(&upper); err != nil && !isPoorlyConditioned(err) {
		return nil, fmt.Errorf("scale the search: %w", err)
	}
	axes := mat.NewDense(p, len(keep), nil)
	for a, i := range keep {
		for b := range keep {
			axes.Set(i, b, inverse.At(a, b))
		}
	}
	return axes, nil
}
