package stats

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
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
}

const firthIterations = 500

// FitFirth fits a logistic model by penalised maximum likelihood (Firth 1993, Biometrika 80:27-38;
// Heinze & Schemper 2002, Stat Med 21:2409-2419). It maximises
//
//	loglik(b) + log|X'WX|/2,   W = trials p (1-p)
//
// whose estimate is always finite, also where the data are separated. Tests and limits profile
// that function: each holds one coefficient still and maximises over the others, keeping the full
// penalty. in is as for FitGLM with the logit link; rows are independent. A profile limit that is
// not found is NaN beside a warning.
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
	at, err := m.firthSearch(-1, make([]float64, m.p))
	if err != nil {
		return FirthFit{}, fmt.Errorf("fit penalised logistic model: %w", err)
	}
	fit := FirthFit{Coef: at.coef, Cov: at.full.covariance(), PenalisedLogLik: at.value, Iterations: at.iterations}
	fit.StdErr = standardErrors(fit.Cov)
	for _, mu := range at.means {
		fit.Fitted = append(fit.Fitted, mu.mu)
	}
	if !at.converged {
		fit.Warnings = append(fit.Warnings, fmt.Sprintf("no convergence in %d iterations: do not rely on the estimates", at.iterations))
	}
	m.firthProfiles(&fit, conf)
	return fit, nil
}

// firthPoint is a point of the search with the value of the penalised log-likelihood there.
type firthPoint struct {
	coef       []float64
	means      []mean
	weight     []float64
	full       wls // of all columns
	value      float64
	iterations int
	converged  bool
}

func (m *glm) firthAt(coef []float64) (firthPoint, error) {
	at := firthPoint{coef: coef, means: make([]mean, m.n), weight: make([]float64, m.n)}
	for i, eta := range m.predictor(coef) {
		// Without the floor of FitGLM: the penalty must go on falling where the means flatten out.
		mu := m.link.inverse(eta)
		at.means[i] = mu
		at.weight[i] = m.weights[i] * m.trials[i] * mu.mu * mu.nu
		if m.carries(i) {
			at.value += m.weights[i] * (xLogY(m.y[i], mu.mu) + xLogY(m.trials[i]-m.y[i], mu.nu))
		}
	}
	var err error
	at.full, err = solveWLS(m.x, at.weight, make([]float64, m.n))
	for j := range m.p {
		at.value += math.Log(math.Abs(at.full.r.At(j, j)))
	}
	return at, err
}

// firthStep is the scoring step at a point, over all columns but the one held (-1: none held).
func (m *glm) firthStep(at firthPoint, held int) ([]float64, error) {
	hat, err := at.leverages(m.x)
	if err != nil {
		return nil, err
	}
	z := make([]float64, m.n)
	for i, mu := range at.means {
		residual := m.y[i] - m.trials[i]*mu.mu
		if mu.mu > 0.5 {
			residual = m.trials[i]*mu.nu - (m.trials[i] - m.y[i])
		}
		if at.weight[i] > 0 {
			z[i] = (m.weights[i]*residual + hat[i]*(0.5-mu.mu)) / at.weight[i]
		}
	}
	if held < 0 {
		w, err := solveWLS(m.x, at.weight, z)
		return w.coef, err
	}
	if m.p == 1 {
		return []float64{0}, nil
	}
	w, err := solveWLS(withoutColumn(m.x, held), at.weight, z)
	return slices.Insert(w.coef, held, 0), err
}

// leverages are the diagonal of the weighted hat matrix.
func (at firthPoint) leverages(x *mat.Dense) ([]float64, error) {
	n, p := x.Dims()
	var inverse mat.TriDense
	if err := inverse.InverseTri(at.full.r); err != nil && !isPoorlyConditioned(err) {
		return nil, fmt.Errorf("leverages: %w", err)
	}
	q := mat.NewDense(n, p, nil)
	q.Mul(x, &inverse)
	hat := make([]float64, n)
	for i := range hat {
		row := q.RawRowView(i)
		hat[i] = at.weight[i] * floats.Dot(row, row)
	}
	return hat, nil
}

func withoutColumn(x *mat.Dense, j int) *mat.Dense {
	n, p := x.Dims()
	out := mat.NewDense(n, p-1, nil)
	for i := range n {
		out.SetRow(i, slices.Delete(slices.Clone(x.RawRowView(i)), j, j+1))
	}
	return out
}

// firthSearch climbs from start, holding one coefficient still (-1: none). A step moves no linear
// predictor by more than 5, and is halved until the value does not fall. With one held only the
// value is wanted, whose error is the square of the last step, so the search ends sooner.
func (m *glm) firthSearch(held int, start []float64) (firthPoint, error) {
	at, err := m.firthAt(start)
	if err != nil {
		return at, err
	}
	enough := 1e-9
	if held >= 0 {
		enough = 1e-6
	}
	for at.iterations = 1; at.iterations <= firthIterations; at.iterations++ {
		step, err := m.firthStep(at, held)
		if err != nil {
			return at, err
		}
		size := m.largestMove(step)
		if size > 5 {
			floats.Scale(5/size, step)
		}
		next, rose := m.firthClimb(at, step)
		if !rose || size < enough {
			at.converged = size < 1e-4
			break
		}
		next.iterations = at.iterations
		at = next
	}
	at.iterations = min(at.iterations, firthIterations)
	return at, nil
}

func (m *glm) firthClimb(at firthPoint, step []float64) (firthPoint, bool) {
	for range glmHalvings {
		coef := make([]float64, m.p)
		floats.AddTo(coef, at.coef, step)
		if next, err := m.firthAt(coef); err == nil && next.value >= at.value-1e-13*math.Abs(at.value) {
			return next, true
		}
		floats.Scale(0.5, step)
	}
	return at, false
}

// largestMove is how far step moves the linear predictor of any row.
func (m *glm) largestMove(step []float64) float64 {
	var moved mat.VecDense
	moved.MulVec(m.x, mat.NewVecDense(m.p, step))
	return mat.Norm(&moved, math.Inf(1))
}

// firthProfiles fills in the tests and limits of fit.
func (m *glm) firthProfiles(fit *FirthFit, conf float64) {
	z := normalCritical(conf)
	for j, b := range fit.Coef {
		drop := m.firthDrop(j, fit)
		fit.ChiSquared = append(fit.ChiSquared, drop(0))
		fit.P = append(fit.P, chiSquaredP(fit.ChiSquared[j], 1))
		excess := func(v float64) float64 { return drop(v) - z*z }
		low := findCrossing(excess, b, -z*fit.StdErr[j])
		high := findCrossing(excess, b, z*fit.StdErr[j])
		fit.Low, fit.High = append(fit.Low, low), append(fit.High, high)
		near := m.firthDrop(j, fit)
		switch {
		case math.IsNaN(low) || math.IsNaN(high):
			fit.Warnings = append(fit.Warnings, fmt.Sprintf("a profile limit of coefficient %d was not found", j))
		case near(low) > z*z+1e-3 || near(high) > z*z+1e-3:
			fit.Warnings = append(fit.Warnings, fmt.Sprintf("the profile of coefficient %d has several peaks: too little data, the wider limits are given", j))
		}
	}
}

// firthDrop is twice the fall of the penalised log-likelihood when coefficient j is held at v. In
// very small data the others may then have several peaks, so the search starts both from the
// estimate and from where the last search ended, and the higher peak counts.
func (m *glm) firthDrop(j int, fit *FirthFit) func(v float64) float64 {
	last := fit.Coef
	return func(v float64) float64 {
		top := math.Inf(-1)
		for _, from := range [][]float64{fit.Coef, last} {
			start := slices.Clone(from)
			start[j] = v
			if at, err := m.firthSearch(j, start); err == nil && at.value > top {
				top, last = at.value, at.coef
			}
		}
		if math.IsInf(top, 0) {
			return math.NaN()
		}
		return max(0, 2*(fit.PenalisedLogLik-top))
	}
}
