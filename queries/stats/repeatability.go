package stats

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mathext"
)

// Repeatability says how far results of one kit or inspector, and of several, scatter. All
// standard deviations and limits are in the unit of the values.
type Repeatability struct {
	GrandMean         float64 // over all values
	MeanOfMeans       float64 // over laboratories
	SDOfMeans         float64 // s of the laboratory means
	RepeatabilitySD   float64 // s_r: within a laboratory
	BetweenSD         float64 // s_L: between laboratories, 0 when the estimate is negative
	ReproducibilitySD float64 // s_R: sqrt(s_r² + s_L²)
	MeanReplicates    float64 // n̄ = (Σn - Σn²/Σn)/(p-1)
	CochranC          float64 // largest share of Σ s_i²
	GrubbsHigh        float64 // (largest mean - mean of means) / s of means
	GrubbsLow         float64 // (mean of means - smallest mean) / s of means
	MandelH           []float64
	MandelK           []float64 // NaN for a laboratory with one value
	F, P              float64   // between over within, and its chance with no difference
}

// RepeatabilityLimit is the difference two results of one laboratory exceed in about one pair of
// twenty: r = 2.8 s_r (ISO 5725-6:1994, 4.1.4).
func (r Repeatability) RepeatabilityLimit() float64 { return 2.8 * r.RepeatabilitySD }

// ReproducibilityLimit is the same for results of two laboratories: R = 2.8 s_R.
func (r Repeatability) ReproducibilityLimit() float64 { return 2.8 * r.ReproducibilitySD }

// RepeatabilityStudy analyses values[laboratory][replicate], with any number of replicates. A
// laboratory may be a technician, a kit or a day.
//
// s_r² pools the squares within; s_L² = (MSB - s_r²)/n̄ floored at 0; h_i = (mean_i - mean of
// means)/s of means; k_i = s_i / sqrt(Σs²/p). C and k suppose about equal replicates. Assumes
// independent results, normal for P. Sources: ISO 5725-2:1994; ASTM E691; Cochran 1941; Grubbs 1969;
// Mandel 1985. Figures between laboratories are NaN for fewer than two, figures within for no
// laboratory with two values; h and k are NaN where there is no spread to measure against.
func RepeatabilityStudy(values [][]float64) (Repeatability, error) {
	if len(values) == 0 {
		return Repeatability{}, errors.New("values: give at least one laboratory")
	}
	for i, lab := range values {
		name := fmt.Sprintf("values: laboratory %d", i+1)
		if len(lab) == 0 {
			return Repeatability{}, fmt.Errorf("%s has no values: leave it out", name)
		}
		if err := checkFinite(name, lab...); err != nil {
			return Repeatability{}, err
		}
	}
	means, variances := make([]float64, len(values)), make([]float64, len(values))
	for i, lab := range values {
		means[i] = meanOf(lab)
		variances[i] = sumOfSquaredDeviations(lab) / float64(len(lab)-1) // 0/0 for one value
	}
	out := Repeatability{
		GrandMean: meanOf(slices.Concat(values...)), MeanOfMeans: meanOf(means),
		SDOfMeans: math.Sqrt(sumOfSquaredDeviations(means) / float64(len(means)-1)),
	}
	out.components(values, means)
	out.consistency(means, variances)
	return out, nil
}

// components splits the variance within and between laboratories.
func (r *Repeatability) components(values [][]float64, means []float64) {
	var n, squaresOfN, within, between float64
	for i, lab := range values {
		k := float64(len(lab))
		n, squaresOfN = n+k, squaresOfN+k*k
		within += sumOfSquaredDeviations(lab)
		between += k * square(means[i]-r.GrandMean)
	}
	p := float64(len(values))
	withinMS, betweenMS := within/(n-p), between/(p-1)
	r.MeanReplicates = (n - squaresOfN/n) / (p - 1)
	betweenVariance := max(0, (betweenMS-withinMS)/r.MeanReplicates)
	r.RepeatabilitySD = math.Sqrt(withinMS)
	r.BetweenSD = math.Sqrt(betweenVariance)
	r.ReproducibilitySD = math.Sqrt(withinMS + betweenVariance)
	r.F = betweenMS / withinMS
	r.P = fUpperTail(r.F, p-1, n-p)
}

// consistency gives the statistics that point at a laboratory out of line. A variance is NaN for
// a laboratory with one value.
func (r *Repeatability) consistency(means, variances []float64) {
	largest, sum, count := 0.0, 0.0, 0.0
	for _, v := range variances {
		if !math.IsNaN(v) {
			largest, sum, count = max(largest, v), sum+v, count+1
		}
	}
	r.CochranC = largest / sum
	for i, m := range means {
		r.MandelH = append(r.MandelH, (m-r.MeanOfMeans)/r.SDOfMeans)
		r.MandelK = append(r.MandelK, math.Sqrt(variances[i])/math.Sqrt(sum/count))
	}
	r.GrubbsHigh, r.GrubbsLow = slices.Max(r.MandelH), -slices.Min(r.MandelH)
}

func sumOfSquaredDeviations(xs []float64) float64 {
	centre, sum := meanOf(xs), 0.0
	for _, x := range xs {
		sum += square(x - centre)
	}
	return sum
}

// fUpperTail is P(F >= f) on d1 and d2 degrees of freedom, with full relative precision; NaN
// when f or the degrees cannot be said.
func fUpperTail(f, d1, d2 float64) float64 {
	if !(f >= 0) || math.IsInf(f, 1) || !(d1 > 0) || !(d2 > 0) {
		return math.NaN()
	}
	return mathext.RegIncBeta(d2/2, d1/2, d2/(d2+d1*f))
}
