package stats

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// A Family is the distribution of the response of a generalized linear model.
type Family int

// The families FitGLM knows.
const (
	Binomial Family = iota // successes out of trials
	Poisson                // counts
)

// String names the family as it appears in messages.
func (f Family) String() string {
	if f == Poisson {
		return "Poisson"
	}
	return "binomial"
}

// GLMInput is what FitGLM fits. X holds one row per observation; a column of ones is the caller's
// to give. Y holds successes (Binomial) or counts (Poisson), which may be fractional. The other
// slices are nil or as long as Y: Trials (nil: 1 each), Weights (prior weights that multiply the
// log-likelihood, nil: 1 each), Offset (added to the linear predictor, nil: 0).
type GLMInput struct {
	X       [][]float64
	Y       []float64
	Trials  []float64
	Weights []float64
	Offset  []float64
	Family  Family
	Link    Link
}

// GLMFit is a fitted model. Coef, StdErr and Cov follow the columns of X; Fitted holds the mean of
// each row (a proportion for Binomial, a count for Poisson). NullDeviance is that of the model
// with only a constant (and the offset), or with nothing but the offset when X has no constant
// column. DFResidual counts the rows that carry weight less the columns.
//
// Separated tells that the maximum likelihood estimate is infinite (Albert & Anderson 1984,
// Biometrika 71:1-10): Coef and StdErr are then only where the search stopped and must not be
// shown, while Deviance and LogLik are the limits they tend to; a warning says so.
type GLMFit struct {
	Coef, StdErr           []float64
	Cov                    *mat.SymDense
	Deviance, NullDeviance float64
	LogLik                 float64
	Fitted                 []float64
	DFResidual             int
	Iterations             int
	Separated              bool
	Warnings               []string
}

const (
	glmIterations = 200
	glmHalvings   = 40
)

// glmMost bounds rows x columns x (columns + 100), to which the time of a scoring step grows: ten
// seconds on one core of 2026 for all the steps there may be.
const glmMost = 100_000_000

// FitGLM fits a generalized linear model by iteratively reweighted least squares with step
// halving (Nelder & Wedderburn 1972, JRSS A 135:370-384; McCullagh & Nelder 1989). Dispersion is
// taken as 1: standard errors come from (X'WX)^-1 at the estimate.
//
// It assumes independent rows. It returns an error for unequal lengths, numbers that are not
// finite, impossible counts, more rows than some ten seconds allow, and columns that are
// combinations of others; separation and failure to converge come back as warnings.
func FitGLM(in GLMInput) (GLMFit, error) {
	m, err := newGLM(in)
	if err != nil {
		return GLMFit{}, fmt.Errorf("fit %s model: %w", in.Family, err)
	}
	s, err := m.search()
	if err != nil {
		return GLMFit{}, fmt.Errorf("fit %s model: %w", in.Family, err)
	}
	null, err := m.nullDeviance()
	if err != nil {
		return GLMFit{}, fmt.Errorf("fit %s model: null deviance: %w", in.Family, err)
	}
	fit := GLMFit{
		Coef: s.coef, Cov: s.wls.covariance(), Deviance: s.deviance, NullDeviance: null,
		LogLik: m.logLik(s.means), Fitted: make([]float64, len(s.means)),
		DFResidual: m.live - m.p, Iterations: s.iterations, Separated: s.separated,
	}
	fit.StdErr = standardErrors(fit.Cov)
	for i, mu := range s.means {
		fit.Fitted[i] = mu.mu
	}
	switch {
	case s.separated:
		fit.Warnings = append(fit.Warnings, "the data are separated: the maximum likelihood estimate is infinite; use a penalised fit")
	case !s.converged:
		fit.Warnings = append(fit.Warnings, fmt.Sprintf("no convergence in %d iterations: do not rely on the estimates", s.iterations))
	}
	return fit, nil
}

// glm is a checked GLMInput with its defaults filled in.
type glm struct {
	x                          *mat.Dense
	y, trials, weights, offset []float64
	n, p, live                 int // rows, columns, rows that carry weight
	family                     Family
	link                       linkFunction
	bounded                    bool // log link on proportions: eta must stay below 0
	visits                     int  // places a penalised search has been to
}

func newGLM(in GLMInput) (*glm, error) {
	n := len(in.Y)
	if n == 0 {
		return nil, errors.New("no rows; give at least one observation")
	}
	x, err := design(in.X, n)
	if err != nil {
		return nil, err
	}
	link, err := in.Link.function(in.Family)
	if err != nil {
		return nil, err
	}
	_, p := x.Dims()
	if most := glmMost / (p * (p + 100)); n > most {
		return nil, fmt.Errorf("%d rows of %d columns are too many; give at most %d rows of so many columns, alike rows as trials or weights", n, p, most)
	}
	m := &glm{x: x, y: in.Y, n: n, p: p, family: in.Family, link: link, bounded: in.Family == Binomial && in.Link == LinkLog}
	for _, f := range []struct {
		name string
		from []float64
		to   *[]float64
		fill float64
	}{{"trials", in.Trials, &m.trials, 1}, {"weights", in.Weights, &m.weights, 1}, {"offset", in.Offset, &m.offset, 0}} {
		if *f.to, err = filled(f.name, f.from, n, f.fill); err != nil {
			return nil, err
		}
	}
	if err := m.checkRows(); err != nil {
		return nil, err
	}
	return m, checkRank(x, m.carries)
}

// design copies rows into a matrix after checking that they are finite and of one length.
func design(rows [][]float64, n int) (*mat.Dense, error) {
	if len(rows) != n {
		return nil, fmt.Errorf("%d rows of columns for %d responses; give one row each", len(rows), n)
	}
	p := len(rows[0])
	if p == 0 {
		return nil, errors.New("no columns; give at least a column of ones")
	}
	x := mat.NewDense(n, p, nil)
	for i, row := range rows {
		if len(row) != p {
			return nil, fmt.Errorf("row %d has %d columns, row 0 has %d", i, len(row), p)
		}
		if !allFinite(row) {
			return nil, fmt.Errorf("row %d of the columns holds a value that is not finite", i)
		}
		x.SetRow(i, row)
	}
	return x, nil
}

func filled(name string, from []float64, n int, fill float64) ([]float64, error) {
	if from == nil {
		out := make([]float64, n)
		for i := range out {
			out[i] = fill
		}
		return out, nil
	}
	if len(from) != n {
		return nil, fmt.Errorf("%d %s for %d responses; give one each", len(from), name, n)
	}
	return from, nil
}

func (m *glm) checkRows() error {
	for i := range m.n {
		y, t, w := m.y[i], m.trials[i], m.weights[i]
		switch {
		case !allFinite([]float64{y, t, w, m.offset[i]}):
			return fmt.Errorf("row %d holds a value that is not finite", i)
		case y < 0 || t < 0 || w < 0:
			return fmt.Errorf("row %d: a response, its trials and its weight cannot be negative", i)
		case m.family == Binomial && y > t:
			return fmt.Errorf("row %d: %g successes in %g trials", i, y, t)
		case m.carries(i):
			m.live++
		}
	}
	if m.live < m.p {
		return fmt.Errorf("%d rows that carry weight for %d columns; give more rows or fewer columns", m.live, m.p)
	}
	return nil
}

// carries tells whether row i has any say in the likelihood.
func (m *glm) carries(i int) bool {
	return m.weights[i] > 0 && (m.family == Poisson || m.trials[i] > 0)
}

func (m *glm) mean(eta float64) mean { return m.link.inverse(eta).floored() }

func (m *glm) means(eta []float64) []mean {
	out := make([]mean, len(eta))
	for i, e := range eta {
		out[i] = m.mean(e)
	}
	return out
}

// predictor is the linear predictor X b + offset.
func (m *glm) predictor(coef []float64) []float64 {
	eta := make([]float64, m.n)
	mat.NewVecDense(m.n, eta).MulVec(m.x, mat.NewVecDense(m.p, coef))
	for i := range eta {
		eta[i] += m.offset[i]
	}
	return eta
}

// deviance is 2 sum w d, with d the unit deviance of the family (McCullagh & Nelder 1989, 2.3).
func (m *glm) deviance(means []mean) float64 {
	var sum float64
	for i, mu := range means {
		y, t := m.y[i], m.trials[i]
		d := xLogRatio(y, mu.mu) - (y - mu.mu)
		if m.family == Binomial {
			d = xLogRatio(y, t*mu.mu) + xLogRatio(t-y, t*mu.nu)
		}
		sum += m.weights[i] * d
	}
	return 2 * sum
}

// xLogRatio is x log(x/y), 0 at x = 0. Near a ratio of 1 it goes by the difference, so that the
// deviance of large counts that fit well is not lost in rounding.
func xLogRatio(x, y float64) float64 {
	switch {
	case x == 0:
		return 0
	case math.Abs(x-y) < y/2:
		return x * math.Log1p((x-y)/y)
	}
	return x * math.Log(x/y)
}

func (m *glm) logLik(means []mean) float64 {
	var sum float64
	for i, mu := range means {
		y, t := m.y[i], m.trials[i]
		l := xLogY(y, mu.mu) - mu.mu - logGamma(y+1)
		if m.family == Binomial {
			l = xLogY(y, mu.mu) + xLogY(t-y, mu.nu) + logGamma(t+1) - logGamma(y+1) - logGamma(t-y+1)
		}
		sum += m.weights[i] * l
	}
	return sum
}

// xLogY is x log y, 0 at x = 0.
func xLogY(x, y float64) float64 {
	if x == 0 {
		return 0
	}
	return x * math.Log(y)
}

func logGamma(x float64) float64 {
	l, _ := math.Lgamma(x)
	return l
}

func allFinite(xs []float64) bool {
	for _, x := range xs {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}
