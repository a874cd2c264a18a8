package stats

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// AverageAndRange is the gauge study by ranges. EV to TV are standard deviations in the unit of the
// values; a figure that needs two trials, operators or parts is NaN with fewer.
type AverageAndRange struct {
	MeanRange          float64 // of the trials in a cell
	OperatorRange      float64 // of the operator averages
	PartRange          float64 // of the part averages
	EquipmentVar       float64 // EV = mean range K1: repeatability
	AppraiserVar       float64 // AV = sqrt((operator range K2)² - EV²/parts trials), floored at 0
	GaugeRR            float64 // sqrt(EV² + AV²)
	PartVar            float64 // PV = part range K3
	TotalVar           float64 // sqrt(GRR² + PV²)
	PercentGaugeRR     float64 // 100 GRR/TV
	DistinctCategories float64 // 1.41 PV/GRR, not truncated
	TrialFactor        float64 // K1 = 1/d2 of the trials
	OperatorFactor     float64 // K2 = 1/d2* of the operators, one range
	PartFactor         float64 // K3 = 1/d2* of the parts, one range
}

// averageAndRange is the method of AIAG Measurement Systems Analysis, 4th ed. (2010), ch. III, with
// its factors to the 4 decimals printed there, computed also for sizes the table does not have.
func (s gaugeTable) averageAndRange() AverageAndRange {
	var ranges []float64
	for _, part := range s.values {
		for _, trials := range part {
			ranges = append(ranges, spanOf(trials))
		}
	}
	out := AverageAndRange{
		MeanRange: meanOf(ranges), OperatorRange: spanOf(s.operator), PartRange: spanOf(s.part),
		TrialFactor:    printedFactor(meanRange(s.trials)),
		OperatorFactor: printedFactor(rootMeanSquareRange(s.operators)),
		PartFactor:     printedFactor(rootMeanSquareRange(s.parts)),
	}
	out.EquipmentVar = out.MeanRange * out.TrialFactor
	between := square(out.OperatorRange*out.OperatorFactor) - square(out.EquipmentVar)/float64(s.parts*s.trials)
	out.AppraiserVar = math.Sqrt(max(0, between))
	out.GaugeRR = math.Hypot(out.EquipmentVar, out.AppraiserVar)
	out.PartVar = out.PartRange * out.PartFactor
	out.TotalVar = math.Hypot(out.GaugeRR, out.PartVar)
	out.PercentGaugeRR = 100 * out.GaugeRR / out.TotalVar
	out.DistinctCategories = 1.41 * out.PartVar / out.GaugeRR
	return out
}

// spanOf is largest minus smallest, NaN for a single value, whose span says nothing.
func spanOf(xs []float64) float64 {
	if len(xs) < 2 {
		return math.NaN()
	}
	return slices.Max(xs) - slices.Min(xs)
}

func printedFactor(d float64) float64 { return math.Round(1e4/d) / 1e4 }

// Sums over a grid of normal deviates stand for integrals: both ends fall off to nothing, so the
// trapezoid rule is good to far more digits than are printed. Tails beyond 9 are below 1e-18.
const (
	gridStep = 0.1
	gridEnd  = 90 // steps from 0
)

// meanRange is d2: the expected range of m standard normal values, ∫ 1 - Φ^m - (1-Φ)^m (Tippett
// 1925). NaN for m = 1.
func meanRange(m int) float64 {
	if m < 2 {
		return math.NaN()
	}
	sum := 0.0
	for i := -gridEnd; i <= gridEnd; i++ {
		below := distuv.UnitNormal.CDF(float64(i) * gridStep)
		sum += 1 - math.Pow(below, float64(m)) - math.Pow(1-below, float64(m))
	}
	return sum * gridStep
}

// rootMeanSquareRange is d2* for one range: the root of the expected squared range of m standard
// normal values, by which the squared range estimates the variance without bias (Patnaik 1950). The
// smallest x and largest y have density m(m-1) φ(x) φ(y) (Φ(y)-Φ(x))^(m-2). NaN for m = 1.
func rootMeanSquareRange(m int) float64 {
	if m < 2 {
		return math.NaN()
	}
	var density, below [2*gridEnd + 1]float64
	for i := range density {
		x := float64(i-gridEnd) * gridStep
		density[i], below[i] = distuv.UnitNormal.Prob(x), distuv.UnitNormal.CDF(x)
	}
	sum := 0.0
	for x := range density {
		for y := x + 1; y < len(density); y++ {
			between := math.Pow(below[y]-below[x], float64(m-2))
			sum += square(float64(y-x)*gridStep) * density[x] * density[y] * between
		}
	}
	return math.Sqrt(sum*float64(m)*float64(m-1)) * gridStep
}
