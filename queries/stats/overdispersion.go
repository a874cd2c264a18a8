package stats

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// Overdispersion tells how much more units vary than chance alone makes them.
type Overdispersion struct {
	WinsorLimits Interval  // the z values to which further ones are drawn in
	WinsorisedZ  []float64 // z within WinsorLimits
	PhiRaw       float64   // mean z^2
	Phi          float64   // mean winsorised z^2; 1 when only chance is at work
	ChiSquare    float64   // sum z^2, to be held against chi-square on DF
	DF           int       // number of units
	Tau2         float64   // variance between units beyond chance, on the scale of se^2
}

// MeasureOverdispersion takes the z of each unit around a common target and the standard error
// behind it. With w = 1/se^2 and I units
//
//	tau2 = max(0, (I phi - (I-1)) / (sum w - sum w^2 / sum w))
//
// (Spiegelhalter 2005, Stat Med 24:1185-1202; DerSimonian & Laird 1986). Z is winsorised at its
// type 7 quantiles winsorise and 1-winsorise, so that the few units which a funnel exists to find
// do not widen it. With one unit tau2 is NaN. It returns an error for no units, unequal lengths,
// z that are not finite, se not above 0 and winsorise outside 0 to 0.5.
func MeasureOverdispersion(z, se []float64, winsorise float64) (Overdispersion, error) {
	if len(z) == 0 || len(z) != len(se) {
		return Overdispersion{}, fmt.Errorf("%d z values and %d standard errors: give one of each per unit", len(z), len(se))
	}
	if err := checkWinsorise(winsorise); err != nil {
		return Overdispersion{}, err
	}
	for i, s := range se {
		if !(s > 0) || !allFinite([]float64{s, z[i]}) {
			return Overdispersion{}, fmt.Errorf("unit %d has z %v and standard error %v: give finite numbers, the error above 0", i+1, z[i], s)
		}
	}
	return measureOverdispersion(z, se, winsorise), nil
}

func checkWinsorise(share float64) error {
	if !(share >= 0 && share < 0.5) {
		return fmt.Errorf("winsorise fraction is %v: give a share from 0 to below 0.5", share)
	}
	return nil
}

func measureOverdispersion(z, se []float64, winsorise float64) Overdispersion {
	sorted := slices.Sorted(slices.Values(z))
	limits := Interval{quantileType7(sorted, winsorise), quantileType7(sorted, 1-winsorise)}
	units := float64(len(z))
	o := Overdispersion{WinsorLimits: limits, WinsorisedZ: make([]float64, len(z)), DF: len(z)}
	var weight, weight2 float64
	for i, v := range z {
		o.WinsorisedZ[i] = min(max(v, limits.Low), limits.High)
		o.ChiSquare += v * v
		o.Phi += square(o.WinsorisedZ[i]) / units
		w := 1 / square(se[i])
		weight += w
		weight2 += w * w
	}
	o.PhiRaw = o.ChiSquare / units
	o.Tau2 = math.NaN()
	if len(z) > 1 {
		o.Tau2 = max(0, (units*o.Phi-(units-1))/(weight-weight2/weight))
	}
	return o
}

// Funnel is a funnel plot of proportions as figures; slices have one entry per unit.
type Funnel struct {
	Target         float64 // all events over all trials
	Limits         []FunnelLimits
	Z              []float64 // (rate-target)/se, se^2 = target(1-target)/total
	Spread         Overdispersion
	Multiplicative []Interval // target -+ 1.96 se sqrt(max(1, phi))
	Additive       []Interval // target -+ 1.96 sqrt(se^2 + tau2)
	ZAdditive      []float64  // (rate-target)/sqrt(se^2 + tau2)
	Flagged        []int      // units (from 0) outside their exact 0.998 limits
}

// BinomialFunnel compares units, each with events out of totals, around their pooled rate
// (Spiegelhalter 2005, Stat Med 24:1185-1202). It assumes independent trials with one probability
// within each unit. The inflated limits are those of the normal approximation and are not cut at 0
// and 1; under-dispersion (phi below 1) does not narrow them. Z and all that follows from it are
// NaN when the pooled rate is 0 or 1.
// It returns an error for no units, unequal lengths, a unit without trials, counts outside 0 to
// MaxCount, more events than trials, and winsorise outside 0 to 0.5.
func BinomialFunnel(events, totals []int, winsorise float64) (Funnel, error) {
	if err := errors.Join(checkUnits(events, totals), checkWinsorise(winsorise)); err != nil {
		return Funnel{}, err
	}
	f := Funnel{Target: float64(sumCounts(events)) / float64(sumCounts(totals))}
	se := make([]float64, len(events))
	for i, x := range events {
		n := float64(totals[i])
		rate := float64(x) / n
		se[i] = math.Sqrt(f.Target * (1 - f.Target) / n)
		l := binomialLimits(f.Target, totals[i])
		f.Limits = append(f.Limits, l)
		f.Z = append(f.Z, quotient(rate-f.Target, se[i]))
		if rate < l.Low998 || rate > l.High998 {
			f.Flagged = append(f.Flagged, i)
		}
	}
	f.Spread = measureOverdispersion(f.Z, se, winsorise)
	f.inflate(se)
	return f, nil
}

// inflate widens the limits of the normal approximation by the spread found.
func (f *Funnel) inflate(se []float64) {
	around := func(half float64) Interval { return Interval{f.Target - half, f.Target + half} }
	z95 := normalCritical(0.95)
	for i, s := range se {
		wide := math.Sqrt(s*s + f.Spread.Tau2)
		f.Multiplicative = append(f.Multiplicative, around(z95*s*math.Sqrt(max(1, f.Spread.Phi))))
		f.Additive = append(f.Additive, around(z95*wide))
		f.ZAdditive = append(f.ZAdditive, f.Z[i]*s/wide)
	}
}
