package stats

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// A SizeScale is the scale on which detection is modelled.
type SizeScale int

// The scales of PODInput.
const (
	SizeAsIs SizeScale = iota
	SizeLog            // natural log
	SizeLog10
)

func (s SizeScale) from(size float64) float64 {
	switch s {
	case SizeLog:
		return math.Log(size)
	case SizeLog10:
		return math.Log10(size)
	}
	return size
}

func (s SizeScale) to(x float64) float64 {
	switch s {
	case SizeLog:
		return math.Exp(x)
	case SizeLog10:
		return math.Pow(10, x)
	}
	return x
}

// PODInput is one row per target, or per group of targets of one size: Size in any unit, Hits out
// of Inspections (nil: 1 each). Conf is the one-sided confidence of the bounds on a90. Floor lets
// detection start above 0 (false calls), Ceiling lets it level off below 1 (targets never found).
type PODInput struct {
	Size              []float64
	Hits, Inspections []int
	Scale             SizeScale
	Link              Link // "" is logit
	Conf              float64
	Floor, Ceiling    bool
}

// POD is a fitted curve of the probability of detection
//
//	POD(a) = floor + (ceiling-floor) F(Intercept + Slope x),  x = size or its log
//
// with F the inverse of the link. A50 and A90 are the sizes found 50 and 90 % of the time, in the
// unit of Size; X50 and X90 the same on the scale of x, with delta-method errors SEX50 and SEX90.
// The three A9095 are upper confidence bounds on A90: where the lower bound of the linear predictor
// reaches link(0.9) (Wald); the larger size at which twice the drop of the log-likelihood under
// POD = 0.9 is z² (LikelihoodRatio, the one to prefer); X90 + z SEX90 (Delta).
//
// With a floor or ceiling only the likelihood ratio bound is given and errors are NaN.
type POD struct {
	Intercept, Slope, SEIntercept, SESlope, Covariance float64
	Floor, Ceiling                                     float64
	LogLik, Deviance, AIC                              float64
	Sigma                                              float64 // 1/Slope
	X50, X90, SEX50, SEX90                             float64
	A50, A90                                           float64
	A9095Wald, A9095LikelihoodRatio, A9095Delta        float64
	Warnings                                           []string
}

const podTarget = 0.9

// podAsymptoteRows bounds the rows of a curve with a floor or ceiling, whose search visits every row
// thousands of times: some six seconds on one core of 2026.
const podAsymptoteRows = 5000

// ProbabilityOfDetection fits hit/miss data (MIL-HDBK-1823A 2009, appendix G; Berens 1989, ASM
// Handbook 17:689-701). It assumes independent targets, or independent inspections where hits are
// grouped, and detection that rises with size.
//
// Where the data are separated, or detection does not rise with size, no size can be said: those
// figures are NaN beside a warning. So is a bound that no size within reach has. More rows than some
// ten seconds allow are refused.
func ProbabilityOfDetection(in PODInput) (POD, error) {
	if n := len(in.Size); (in.Floor || in.Ceiling) && n > podAsymptoteRows {
		return POD{}, fmt.Errorf("probability of detection: %d rows are too many for a floor or ceiling; give at most %d, targets of one size as one row with its inspections", n, podAsymptoteRows)
	}
	p, err := newPOD(in)
	if err != nil {
		return POD{}, fmt.Errorf("probability of detection: %w", err)
	}
	if p.usable && (in.Floor || in.Ceiling) {
		return p.fitAsymptotes(in)
	}
	return p.fit, nil
}

// pod holds a two-parameter fit and what the searches around it need.
type pod struct {
	fit    POD
	x      []float64
	in     GLMInput
	link   linkFunction
	z      float64 // one-sided
	scale  SizeScale
	usable bool // a finite rising curve
}

func newPOD(in PODInput) (*pod, error) {
	p := &pod{scale: in.Scale}
	if err := p.read(in); err != nil {
		return nil, err
	}
	glm, err := FitGLM(p.in)
	if err != nil {
		return nil, err
	}
	p.usable = !glm.Separated && glm.Coef[1] > 0
	p.summarise(glm)
	return p, nil
}

func (p *pod) read(in PODInput) (err error) {
	if len(in.Hits) != len(in.Size) {
		return fmt.Errorf("%d sizes and %d hits; give one of each per target", len(in.Size), len(in.Hits))
	}
	if !(in.Conf > 0.5 && in.Conf < 1) {
		return fmt.Errorf("one-sided confidence %g is not between 0.5 and 1; give 0.95 for a90/95", in.Conf)
	}
	if p.link, err = in.Link.function(Binomial); err != nil {
		return err
	}
	if in.Link == LinkLog {
		return errors.New("the log link has no curve that levels off; give logit, probit, cloglog, loglog or cauchit")
	}
	for i, size := range in.Size {
		if in.Scale != SizeAsIs && !(size > 0) {
			return fmt.Errorf("size %d is %g; a log scale needs sizes above 0", i, size)
		}
		p.x = append(p.x, in.Scale.from(size))
		p.in.X = append(p.in.X, []float64{1, p.x[i]})
		p.in.Y = append(p.in.Y, float64(in.Hits[i]))
	}
	for _, n := range in.Inspections {
		p.in.Trials = append(p.in.Trials, float64(n))
	}
	p.in.Link = in.Link
	p.z = normalCritical(2*in.Conf - 1)
	return nil
}

func (p *pod) summarise(glm GLMFit) {
	nan := math.NaN()
	f := POD{
		Intercept: glm.Coef[0], Slope: glm.Coef[1], SEIntercept: glm.StdErr[0], SESlope: glm.StdErr[1],
		Covariance: glm.Cov.At(0, 1), Ceiling: 1, Sigma: 1 / glm.Coef[1],
		LogLik: glm.LogLik, Deviance: glm.Deviance, AIC: 2*2 - 2*glm.LogLik,
		X50: nan, X90: nan, SEX50: nan, SEX90: nan, A50: nan, A90: nan,
		A9095Wald: nan, A9095LikelihoodRatio: nan, A9095Delta: nan, Warnings: glm.Warnings,
	}
	if glm.Separated {
		f.Intercept, f.Slope, f.SEIntercept, f.SESlope, f.Covariance, f.Sigma = nan, nan, nan, nan, nan, nan
		f.Warnings = []string{"hits and misses do not overlap in size: no curve can be said; more targets near the change are needed"}
	} else if !p.usable {
		f.Warnings = append(f.Warnings, "detection does not rise with size: no size can be said")
	}
	p.fit = f
	if p.usable {
		p.sizes(glm.Cov)
	}
}

// sizes fills in the quantiles of the curve and their bounds.
func (p *pod) sizes(cov *mat.SymDense) {
	f := &p.fit
	f.X50, f.SEX50, _ = p.quantile(0.5, cov)
	var distance float64
	f.X90, f.SEX90, distance = p.quantile(podTarget, cov)
	f.A50, f.A90 = p.scale.to(f.X50), p.scale.to(f.X90)
	f.A9095Wald = p.scale.to(f.X90 + distance)
	f.A9095Delta = p.scale.to(f.X90 + p.z*f.SEX90)
	f.A9095LikelihoodRatio = p.bound(p.excess, f.X90, p.z*f.SEX90)
	if math.IsNaN(f.A9095Wald) || math.IsNaN(f.A9095LikelihoodRatio) {
		f.Warnings = append(f.Warnings, "the slope is too uncertain for an upper bound on a90")
	}
}

// podReach is how far above a90, in ranges of x, a bound may lie. Where the slope is hardly more
// than nothing the likelihood is so flat that a bound farther out says only that there is none.
const podReach = 10

// bound is the size at which excess turns positive above x90; NaN when that is out of reach.
func (p *pod) bound(excess func(float64) float64, x90, step float64) float64 {
	x := findCrossing(excess, x90, step)
	if !(x-x90 <= podReach*(slices.Max(p.x)-slices.Min(p.x))) {
		return math.NaN()
	}
	return p.scale.to(x)
}

// quantile is the x found with probability target, its delta-method error, and how far above it
// the lower bound of the linear predictor reaches the target: the upper root d of
//
//	(Slope d)² = z² var(Intercept + Slope (x+d)),
//
// NaN when the slope itself is not significant and the bound never gets there.
func (p *pod) quantile(target float64, cov *mat.SymDense) (x, se, distance float64) {
	b := p.fit.Slope
	x = (p.link.forward(target) - p.fit.Intercept) / b
	cross := cov.At(0, 1) + x*cov.At(1, 1)
	at := cov.At(0, 0) + x*(cov.At(0, 1)+cross)
	zz := p.z * p.z
	lead := b*b - zz*cov.At(1, 1)
	distance = math.NaN()
	if lead > 0 {
		distance = (zz*cross + math.Sqrt(zz*zz*cross*cross+lead*zz*at)) / lead
	}
	return x, math.Sqrt(at) / b, distance
}

// excess is twice the drop of the log-likelihood when the curve must pass through the target at x,
// less z². The curve then has one free coefficient, the slope.
func (p *pod) excess(x float64) float64 {
	in := p.in
	in.X = make([][]float64, len(p.x))
	in.Offset = make([]float64, len(p.x))
	for i, xi := range p.x {
		in.X[i] = []float64{xi - x}
		in.Offset[i] = p.link.forward(podTarget)
	}
	held, err := FitGLM(in)
	if err != nil {
		return math.NaN()
	}
	return held.Deviance - p.fit.Deviance - p.z*p.z
}
