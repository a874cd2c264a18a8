package stats

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/optimize"
	"gonum.org/v1/gonum/stat"
)

// asymptotes is a detection curve whose floor and ceiling are free. It is searched on a scale
// without bounds: centred and standardised x, the log of the slope, and the logits of the floor and
// of the ceiling's share of what the floor leaves.
type asymptotes struct {
	pod            *pod
	u              []float64 // standardised x
	centre, spread float64
	floor, ceiling bool
}

type podCurve struct{ intercept, slope, floor, ceiling float64 }

func (p *pod) fitAsymptotes(in PODInput) (POD, error) {
	a := asymptotes{pod: p, floor: in.Floor, ceiling: in.Ceiling, u: make([]float64, len(p.x))}
	a.centre, a.spread = stat.MeanStdDev(p.x, nil)
	for i, x := range p.x {
		a.u[i] = (x - a.centre) / a.spread
	}
	best, deviance, err := a.search(func(theta []float64) podCurve {
		return a.curve(theta[0], theta[1], theta[2:])
	}, a.starts())
	if err != nil {
		return POD{}, fmt.Errorf("probability of detection with asymptotes: %w", err)
	}
	return a.summary(best, deviance), nil
}

// curve builds a curve from free numbers; shares holds one for each free asymptote.
func (a asymptotes) curve(intercept, logSlope float64, shares []float64) podCurve {
	c := podCurve{intercept: intercept, slope: math.Exp(logSlope), ceiling: 1}
	if a.floor {
		c.floor, shares = expit(shares[0]), shares[1:]
	}
	if a.ceiling {
		c.ceiling = c.floor + (1-c.floor)*expit(shares[0])
	}
	return c
}

// starts spreads the first guesses, because the likelihood of such curves may have several peaks.
func (a asymptotes) starts() [][]float64 {
	var out [][]float64
	for _, logSlope := range []float64{0, 1, 2} {
		for _, share := range []float64{-4, -2} {
			theta := []float64{0, logSlope}
			if a.floor {
				theta = append(theta, share)
			}
			if a.ceiling {
				theta = append(theta, -share)
			}
			out = append(out, theta)
		}
	}
	return out
}

// search minimises the deviance over the free numbers of build, from each start and once more from
// where that ends.
func (a asymptotes) search(build func([]float64) podCurve, starts [][]float64) (best []float64, deviance float64, err error) {
	deviance = math.Inf(1)
	problem := optimize.Problem{Func: func(theta []float64) float64 { return a.deviance(build(theta)) }}
	settings := &optimize.Settings{Converger: &optimize.FunctionConverge{Absolute: 1e-9, Iterations: 60}, MajorIterations: 4000}
	for _, start := range starts {
		for range 2 {
			got, e := optimize.Minimize(problem, start, settings, &optimize.NelderMead{})
			if e != nil {
				err = e
				break
			}
			if start = got.X; got.F < deviance {
				best, deviance = got.X, got.F
			}
		}
	}
	if best != nil {
		err = nil
	}
	return best, deviance, err
}

// deviance is that of the binomial model; +Inf for a curve that is none.
func (a asymptotes) deviance(c podCurve) float64 {
	var sum float64
	for i, u := range a.u {
		y, t := a.pod.in.Y[i], 1.0
		if a.pod.in.Trials != nil {
			t = a.pod.in.Trials[i]
		}
		f := a.pod.link.inverse(c.intercept + c.slope*u)
		mu := c.floor + (c.ceiling-c.floor)*f.mu
		nu := 1 - c.ceiling + (c.ceiling-c.floor)*f.nu
		sum += xLogRatio(y, t*mu) + xLogRatio(t-y, t*nu)
	}
	if math.IsNaN(sum) {
		return math.Inf(1)
	}
	return 2 * sum
}

func (a asymptotes) summary(theta []float64, deviance float64) POD {
	c := a.curve(theta[0], theta[1], theta[2:])
	nan := math.NaN()
	f := a.pod.fit
	f.LogLik += (f.Deviance - deviance) / 2
	f.Deviance = deviance
	f.AIC = 2*float64(len(theta)) - 2*f.LogLik
	f.Floor, f.Ceiling = c.floor, c.ceiling
	f.Slope = c.slope / a.spread
	f.Intercept = c.intercept - f.Slope*a.centre
	f.Sigma = 1 / f.Slope
	f.SEIntercept, f.SESlope, f.Covariance, f.SEX50, f.SEX90, f.A9095Wald, f.A9095Delta = nan, nan, nan, nan, nan, nan, nan
	f.X50, f.X90 = a.where(c, 0.5), a.where(c, podTarget)
	f.A50, f.A90 = a.pod.scale.to(f.X50), a.pod.scale.to(f.X90)
	f.Warnings = nil
	f.A9095LikelihoodRatio = nan
	if !math.IsNaN(f.X90) {
		f.A9095LikelihoodRatio = a.pod.bound(a.excess(theta, deviance), f.X90, a.spread/8)
	}
	switch {
	case math.IsNaN(f.X90):
		f.Warnings = append(f.Warnings, fmt.Sprintf("detection levels off at %.3g: a90 cannot be said", c.ceiling))
	case math.IsNaN(f.A9095LikelihoodRatio):
		f.Warnings = append(f.Warnings, "the curve is too uncertain for an upper bound on a90")
	}
	return f
}

// where is the x at which the curve reaches target; NaN when it never does.
func (a asymptotes) where(c podCurve, target float64) float64 {
	share := (target - c.floor) / (c.ceiling - c.floor)
	if !(share > 0 && share < 1) {
		return math.NaN()
	}
	return a.centre + a.spread*(a.pod.link.forward(share)-c.intercept)/c.slope
}

// excess is pod.excess with free asymptotes: the curve is held at the target at x by its intercept.
// Each search starts from the best curve: one that starts where the last ended may be stuck with an
// asymptote that has run away.
func (a asymptotes) excess(theta []float64, deviance float64) func(x float64) float64 {
	return func(x float64) float64 {
		u := (x - a.centre) / a.spread
		build := func(free []float64) podCurve {
			c := a.curve(0, free[0], free[1:])
			share := (podTarget - c.floor) / (c.ceiling - c.floor)
			if !(share > 0 && share < 1) {
				return podCurve{intercept: math.NaN()}
			}
			c.intercept = a.pod.link.forward(share) - c.slope*u
			return c
		}
		best, held, err := a.search(build, [][]float64{theta[1:]})
		if err != nil || !allFinite(best) {
			return math.NaN()
		}
		return held - deviance - a.pod.z*a.pod.z
	}
}
