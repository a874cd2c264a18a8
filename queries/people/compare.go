package people

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"scanledger/queries/stats"
)

// Standings of a technician on a measure.
const (
	InLine = "in_line"
	Edge   = "watch"
	Act    = "act"
)

// When a standing is given, besides being outside the widened limits. Fewer false alarms or missed points ask
// for no act, so that they have the chance of both sides. (The house's choice: with no one out of line, a
// measure has anyone in act once in a hundred times.)
const (
	actQ  = 0.01
	edgeQ = 0.05
)

// winsorised is the share at either end at which distances are drawn in before the spread between
// technicians is measured (Spiegelhalter 2005 takes a tenth of many units; among a dozen people three or
// four may be out).
const winsorised = 0.25

// leastExpected is the expected count below which a technician is not judged: a single event would be far
// out. leastCompared is how many technicians it takes to compare any. (The house's choices.)
const (
	leastExpected = 1
	leastCompared = 3
	confidence    = 0.95
)

// Verdict is one technician on one measure. A figure that cannot be said is NaN.
type Verdict struct {
	Technician       int
	Measure          string
	Trials, Observed int
	Expected         float64 // at the average technician, under the same conditions
	Rate, Ratio      float64 // observed / trials, observed / expected
	Low, High        float64 // 95 % interval of the ratio: exact, on counts divided by DesignEffect
	DesignEffect     float64 // how much more the count varies than as many independent points, from alike points of a site and from the fit
	Spread           float64 // standard deviation of ratios between technicians beyond chance; the same for all on the measure
	Limits           stats.FunnelLimits
	Z, P, Q          float64
	ShrunkRatio      float64 // empirical Bayes
	ShrunkRate       float64 // ShrunkRatio times Expected / Trials
	ExpectedWithGain float64
	RatioWithGain    float64
	ExplainedByGain  float64 // share of the difference that goes with the gain chosen; NaN where the interval holds 1
	Enough           bool
	WhyNot           string
	Standing         string

	inflation float64 // of the binomial standard deviation, by sites, fit and spread
}

// Compare judges every technician on every measure; floor is the fewest trials for which one is judged.
// Verdicts come in order of measure and technician.
func Compare(p Panel, floor int) ([]Verdict, error) {
	var out []Verdict
	for _, m := range measures {
		verdicts, err := m.alone(p)
		if err == nil {
			err = settle(verdicts, floor)
		}
		if err != nil {
			return nil, fmt.Errorf("compare technicians, %s: %w", m.name, err)
		}
		out = append(out, verdicts...)
	}
	return out, nil
}

// alone says of each technician what does not depend on how the others came out.
func (m measure) alone(p Panel) ([]Verdict, error) {
	t := newTally(p, m, m.conditions)
	verdicts := make([]Verdict, p.Technicians)
	for i := range verdicts {
		verdicts[i] = unjudged(i, m.name, t.events[i], t.trials[i])
	}
	if len(t.cells) == 0 {
		return verdicts, nil
	}
	if err := t.expect(m.conditions); err != nil {
		return nil, err
	}
	withGain := newTally(p, m, append([]int{m.gain}, m.conditions...))
	if err := withGain.expect(append([]int{m.gain}, m.conditions...)); err != nil {
		return nil, err
	}
	expected, variance := t.sums()
	expectedWithGain, _ := withGain.sums()
	sites := t.siteVariance(t.likeness())
	for i := range verdicts {
		v := &verdicts[i]
		if v.Trials == 0 {
			continue
		}
		v.Expected, v.ExpectedWithGain = expected[i], expectedWithGain[i]
		if err := v.measureUp(variance[i], sites[i], t.variance[i]); err != nil {
			return nil, err
		}
	}
	return verdicts, nil
}

func unjudged(technician int, measure string, observed, trials int) Verdict {
	nan := math.NaN()
	return Verdict{Technician: technician, Measure: measure, Observed: observed, Trials: trials, Standing: InLine, WhyNot: "there are no cases",
		Expected: nan, Rate: nan, Ratio: nan, Low: nan, High: nan, DesignEffect: nan, Spread: nan, Limits: stats.FunnelLimits{Low998: nan, Low95: nan, High95: nan, High998: nan},
		Z: nan, P: nan, Q: nan, ShrunkRatio: nan, ShrunkRate: nan, ExpectedWithGain: nan, RatioWithGain: nan, ExplainedByGain: nan}
}

// binomial is the variance of the count for as many independent trials of one chance.
func (v *Verdict) binomial() float64 { return v.Expected * (1 - v.Expected/float64(v.Trials)) }

// measureUp sets what can be said of the technician alone. The variance of the count is that of its cells,
// of alike points at its sites, and of the fit; the last is taken to vary as the counts do.
func (v *Verdict) measureUp(cells, sites, fit float64) error {
	n := float64(v.Trials)
	alike := 1 + sites/cells
	v.DesignEffect = max(1, (cells+sites+fit*alike)/v.binomial())
	v.Rate, v.Ratio, v.RatioWithGain = float64(v.Observed)/n, float64(v.Observed)/v.Expected, float64(v.Observed)/v.ExpectedWithGain
	interval, err := stats.EffectiveClopperPearson(float64(v.Observed)/v.DesignEffect, n/v.DesignEffect, confidence)
	if err != nil {
		return err
	}
	v.Low, v.High = interval.Low*n/v.Expected, interval.High*n/v.Expected
	if v.Low > 1 || v.High < 1 {
		v.ExplainedByGain = (v.ExpectedWithGain - v.Expected) / (float64(v.Observed) - v.Expected)
	}
	score, err := stats.BinomialMidPScore(v.Observed, v.Trials, v.Expected/n)
	v.Z = score / math.Sqrt(v.DesignEffect)
	return err
}

// settle compares those with enough cases with one another.
func settle(verdicts []Verdict, floor int) error {
	var judged []*Verdict
	for i := range verdicts {
		v := &verdicts[i]
		switch {
		case v.Trials == 0:
		case v.Trials < floor:
			v.WhyNot = fmt.Sprintf("fewer than %d cases", floor)
		case v.Expected < leastExpected:
			v.WhyNot = "less than one is expected"
		default:
			judged = append(judged, v)
		}
	}
	if len(judged) < leastCompared {
		for _, v := range judged {
			v.WhyNot = fmt.Sprintf("fewer than %d technicians have enough cases", leastCompared)
		}
		return nil
	}
	if err := spread(judged); err != nil {
		return err
	}
	if err := adjust(judged); err != nil {
		return err
	}
	for _, v := range judged {
		v.Enough, v.WhyNot = true, ""
		if err := v.stand(); err != nil {
			return err
		}
	}
	return nil
}

// spread finds how much technicians differ beyond chance, with the furthest drawn in, and widens everyone's
// limits by it. Rates are shrunk by the whole spread, the furthest included.
func spread(judged []*Verdict) error {
	z, se := make([]float64, len(judged)), make([]float64, len(judged))
	for i, v := range judged {
		z[i], se[i] = v.Z, math.Sqrt(v.binomial()*v.DesignEffect)/v.Expected
	}
	inner, err := stats.MeasureOverdispersion(z, se, winsorised)
	if err != nil {
		return err
	}
	whole, err := stats.MeasureOverdispersion(z, se, 0)
	if err != nil {
		return err
	}
	for i, v := range judged {
		v.Spread = math.Sqrt(inner.Tau2)
		wider := math.Sqrt(1 + inner.Tau2/(se[i]*se[i]))
		v.Z /= wider
		v.P = 2 * distuv.UnitNormal.Survival(math.Abs(v.Z))
		v.inflation = math.Sqrt(v.DesignEffect) * wider
		if v.ShrunkRatio, err = stats.GammaShrinkage(float64(v.Observed)/v.DesignEffect, v.Expected/v.DesignEffect, whole.Tau2); err != nil {
			return err
		}
		v.ShrunkRate = min(1, v.ShrunkRatio*v.Expected/float64(v.Trials))
	}
	return nil
}

func adjust(judged []*Verdict) error {
	p := make([]float64, len(judged))
	for i, v := range judged {
		p[i] = v.P
	}
	adjusted, err := stats.AdjustPValues(p)
	if err != nil {
		return err
	}
	for i, v := range judged {
		v.Q = adjusted.BenjaminiHochberg[i]
	}
	return nil
}

// stand sets the limits of the ratio, exact ones moved out from 1 by the inflation, and the standing.
func (v *Verdict) stand() error {
	exact, err := stats.BinomialLimits(v.Expected/float64(v.Trials), v.Trials)
	if err != nil {
		return err
	}
	out := func(limit float64) float64 {
		return max(0, 1+(limit*float64(v.Trials)/v.Expected-1)*v.inflation)
	}
	v.Limits = stats.FunnelLimits{Low998: out(exact.Low998), Low95: out(exact.Low95), High95: out(exact.High95), High998: out(exact.High998)}
	v.Standing = v.standing()
	return nil
}

// standing tells which limits are crossed. On the side that asks for nothing the outer limits are the edge.
func (v *Verdict) standing() string {
	outer, q := v.Ratio > v.Limits.High998, 2*actQ
	edge := v.Ratio > v.Limits.High95 || v.Ratio < v.Limits.Low998
	if v.Measure == Detections {
		outer, q = outer || v.Ratio < v.Limits.Low998, actQ
		edge = edge || v.Ratio < v.Limits.Low95
	}
	switch {
	case outer && v.Q <= q:
		return Act
	case edge && v.Q <= edgeQ:
		return Edge
	}
	return InLine
}
