package stats

import (
	"fmt"
	"math"
)

// HarmonicFit is a generalized linear model with one wave: on the scale of the link (log rate or
// log odds) the mean is Intercept + Cos cos(angle) + Sin sin(angle) + offset. Every figure is NaN
// where the model has no finite estimate (no events, or events in too few months), and a warning
// says so; the peak is NaN when there is no wave.
type HarmonicFit struct {
	Coef, StdErr               [3]float64    // intercept, cosine, sine
	Amplitude, AmplitudeSE     float64       // sqrt(Cos^2+Sin^2), on the scale of the link
	PeakRadians, PeakRadiansSE float64       // angle of the greatest mean, 0 to 2 pi
	LikelihoodRatio            ChiSquareTest // against no wave, 2 degrees of freedom
	Wald                       ChiSquareTest // both coefficients against 0, 2 degrees of freedom
	ResidualDeviance           float64
	Warnings                   []string
}

// PeakDegrees is the peak from 0 to 360.
func (f HarmonicFit) PeakDegrees() float64 { return f.PeakRadians * 180 / math.Pi }

// PeakDegreesSE is the standard error of PeakDegrees.
func (f HarmonicFit) PeakDegreesSE() float64 { return f.PeakRadiansSE * 180 / math.Pi }

// PeakMonth is the peak in months from the zero of the angle, 0 to 12.
func (f HarmonicFit) PeakMonth() float64 { return f.PeakRadians * 6 / math.Pi }

// PeakToLow is the ratio of the greatest to the least mean (rates or odds): exp(2 amplitude).
func (f HarmonicFit) PeakToLow() float64 { return math.Exp(2 * f.Amplitude) }

// Linear is the mean at an angle on the scale of the link, without any offset.
func (f HarmonicFit) Linear(angle float64) float64 {
	return f.Coef[0] + f.Coef[1]*math.Cos(angle) + f.Coef[2]*math.Sin(angle)
}

// Widened is the fit for trials that are alike in clusters: standard errors times the root of the
// design effect, tests divided by it (the first-order correction of Rao & Scott 1984, Ann Stat
// 12:46-60). A design effect that is below 1 or not known leaves the fit as it is.
func (f HarmonicFit) Widened(designEffect float64) HarmonicFit {
	if !(designEffect > 1) {
		return f
	}
	root := math.Sqrt(designEffect)
	for i := range f.StdErr {
		f.StdErr[i] *= root
	}
	f.AmplitudeSE *= root
	f.PeakRadiansSE *= root
	f.LikelihoodRatio = chiSquareTest(f.LikelihoodRatio.Statistic/designEffect, 2)
	f.Wald = chiSquareTest(f.Wald.Statistic/designEffect, 2)
	return f
}

// AmplitudeLimits is the Wald interval of the amplitude, not below 0.
func (f HarmonicFit) AmplitudeLimits(conf float64) Interval {
	half := normalCritical(conf) * f.AmplitudeSE
	return Interval{math.Max(0, f.Amplitude-half), f.Amplitude + half}
}

// PeakHalfWidth is half the Wald interval of the peak in radians; NaN where that is the whole circle.
func (f HarmonicFit) PeakHalfWidth(conf float64) float64 {
	half := normalCritical(conf) * f.PeakRadiansSE
	if half >= math.Pi {
		return math.NaN()
	}
	return half
}

// LogisticHarmonic fits the log odds of an event by one wave (Stolwijk, Straatman & Zielhuis 1999,
// J Epidemiol Community Health 53:235-238). Each observation has events in trials at an angle in
// radians. It assumes independent trials. Standard errors of amplitude and peak are by the delta
// method; tests have 2 degrees of freedom. It returns an error for unequal lengths, impossible
// counts, and fewer than 3 different angles that have trials.
func LogisticHarmonic(events, trials []int, angles []float64) (HarmonicFit, error) {
	if len(trials) != len(events) {
		return HarmonicFit{}, fmt.Errorf("%d events and %d trials: give one of each per observation", len(events), len(trials))
	}
	if err := checkShares("events", events, "trials", trials); err != nil {
		return HarmonicFit{}, err
	}
	return fitHarmonic(GLMInput{Y: floatsOf(events), Trials: floatsOf(trials), Family: Binomial}, angles)
}

// PoissonCosinor fits the log of a mean count by one wave (Barnett & Dobson 2010, Analysing
// Seasonal Health Data, ch. 3). Exposure holds what each count is in proportion to (people, days);
// nil takes it as 1. It assumes independent Poisson counts: with more spread than that the
// standard errors are too small. It returns an error for unequal lengths, impossible counts, an
// exposure not above 0, and fewer than 3 different angles.
func PoissonCosinor(counts []int, exposure, angles []float64) (HarmonicFit, error) {
	if err := checkCounts("counts", counts...); err != nil {
		return HarmonicFit{}, err
	}
	in := GLMInput{Y: floatsOf(counts), Family: Poisson}
	for i, e := range exposure {
		if !(e > 0) || math.IsInf(e, 1) {
			return HarmonicFit{}, fmt.Errorf("exposure %d is %v: give a finite number above 0", i+1, e)
		}
		in.Offset = append(in.Offset, math.Log(e))
	}
	return fitHarmonic(in, angles)
}

func fitHarmonic(in GLMInput, angles []float64) (HarmonicFit, error) {
	if len(angles) != len(in.Y) {
		return HarmonicFit{}, fmt.Errorf("%d angles for %d counts: give one each", len(angles), len(in.Y))
	}
	if err := checkFinite("angles", angles...); err != nil {
		return HarmonicFit{}, err
	}
	for _, a := range angles {
		in.X = append(in.X, []float64{1, math.Cos(a), math.Sin(a)})
	}
	fit, err := FitGLM(in)
	if err != nil {
		return HarmonicFit{}, fmt.Errorf("one wave: %w", err)
	}
	if len(fit.Warnings) > 0 {
		return unknownHarmonic(fit.Warnings), nil
	}
	return newHarmonicFit(fit), nil
}

func unknownHarmonic(warnings []string) HarmonicFit {
	nan := math.NaN()
	none := [3]float64{nan, nan, nan}
	return HarmonicFit{
		Coef: none, StdErr: none, Amplitude: nan, AmplitudeSE: nan, PeakRadians: nan, PeakRadiansSE: nan,
		LikelihoodRatio: chiSquareTest(nan, 2), Wald: chiSquareTest(nan, 2), ResidualDeviance: nan, Warnings: warnings,
	}
}

// newHarmonicFit adds amplitude A, peak and the delta-method variances: with c, s the cosine and
// sine coefficients and V their covariance, var A = (c^2 Vcc + 2 c s Vcs + s^2 Vss)/A^2 and
// var peak = (s^2 Vcc - 2 c s Vcs + c^2 Vss)/A^4.
func newHarmonicFit(fit GLMFit) HarmonicFit {
	f := HarmonicFit{
		Coef: [3]float64(fit.Coef), StdErr: [3]float64(fit.StdErr), ResidualDeviance: max(0, fit.Deviance),
		LikelihoodRatio: chiSquareTest(max(0, fit.NullDeviance-fit.Deviance), 2),
	}
	c, s := f.Coef[1], f.Coef[2]
	vcc, vcs, vss := fit.Cov.At(1, 1), fit.Cov.At(1, 2), fit.Cov.At(2, 2)
	f.Wald = chiSquareTest((c*c*vss-2*c*s*vcs+s*s*vcc)/(vcc*vss-vcs*vcs), 2)
	f.Amplitude = math.Hypot(c, s)
	f.PeakRadians = degreesOf(c, s) * math.Pi / 180
	if math.IsNaN(f.PeakRadians) {
		f.AmplitudeSE, f.PeakRadiansSE = math.NaN(), math.NaN()
		return f
	}
	f.AmplitudeSE = math.Sqrt(c*c*vcc+2*c*s*vcs+s*s*vss) / f.Amplitude
	f.PeakRadiansSE = math.Sqrt(s*s*vcc-2*c*s*vcs+c*c*vss) / square(f.Amplitude)
	return f
}
