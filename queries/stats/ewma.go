package stats

import (
	"errors"
	"fmt"
	"math"
)

// EWMAInput is a series in time order, in its own unit.
type EWMAInput struct {
	X      []float64
	Target float64   // NaN: the mean of X
	Sigma  float64   // of one value; NaN: mean moving range of X / (2/sqrt(pi))
	Sigmas []float64 // of each value, where they differ, in place of Sigma; nil: all alike
	Lambda float64   // weight of the newest value, in (0,1]
	L      float64   // width of the limits in sigmas of the average
}

// EWMAChart is an exponentially weighted moving average chart, in the unit of the series.
type EWMAChart struct {
	Target, Sigma float64 // as given or estimated
	EWMA          []float64
	Asymptotic    Interval   // limits of a long-running chart
	Exact         []Interval // limits after i values
	// values of EWMA outside their limits, counted from 1
	SignalsAsymptotic, SignalsExact []int
}

// NewEWMA charts z_i = lambda x_i + (1-lambda) z_{i-1} from z_0 = Target, with limits
// Target ± L Sigma sqrt(lambda/(2-lambda) (1-(1-lambda)^{2i})), the last factor 1 for the asymptotic
// ones (Roberts 1959; Lucas and Saccucci 1990). Assumes independent values of constant spread. Sigma, when
// not given, comes from the moving range, which a shift does not inflate; one value or no variation
// gives no sigma, hence NaN limits that flag nothing.
//
// With a sigma for each value, the exact limits are L times the root of v_i = lambda² sigma_i² +
// (1-lambda)² v_{i-1}, the variance of the average of independent values; Sigma and the asymptotic
// limits are then NaN.
func NewEWMA(in EWMAInput) (EWMAChart, error) {
	if err := checkChartSeries(in.X, in.Target, in.Sigma); err != nil {
		return EWMAChart{}, err
	}
	if err := errors.Join(checkPositive("lambda", in.Lambda), checkPositive("L", in.L)); err != nil {
		return EWMAChart{}, err
	}
	if in.Lambda > 1 {
		return EWMAChart{}, errors.New("lambda is above 1: give a weight up to 1")
	}
	if in.Sigmas != nil {
		return ewmaOfUnequal(in)
	}
	c := EWMAChart{Target: targetOf(in.X, in.Target), Sigma: sigmaOf(in.X, in.Sigma)}
	width := in.L * c.Sigma * math.Sqrt(in.Lambda/(2-in.Lambda))
	c.Asymptotic = around(c.Target, width)
	steady := make([]Interval, len(in.X))
	z, memory := c.Target, 1.0
	for i, x := range in.X {
		z = in.Lambda*x + (1-in.Lambda)*z
		memory *= square(1 - in.Lambda)
		c.EWMA = append(c.EWMA, z)
		c.Exact = append(c.Exact, around(c.Target, width*math.Sqrt(1-memory)))
		steady[i] = c.Asymptotic
	}
	c.SignalsAsymptotic, c.SignalsExact = outside(c.EWMA, steady), outside(c.EWMA, c.Exact)
	return c, nil
}

// ewmaOfUnequal is the chart of values that do not all spread alike.
func ewmaOfUnequal(in EWMAInput) (EWMAChart, error) {
	if len(in.Sigmas) != len(in.X) {
		return EWMAChart{}, fmt.Errorf("sigmas: %d for %d values: give one each", len(in.Sigmas), len(in.X))
	}
	for i, sigma := range in.Sigmas {
		if err := checkPositive(fmt.Sprintf("sigma of value %d", i+1), sigma); err != nil {
			return EWMAChart{}, err
		}
	}
	nan := math.NaN()
	c := EWMAChart{Target: targetOf(in.X, in.Target), Sigma: nan, Asymptotic: Interval{nan, nan}, SignalsAsymptotic: []int{}}
	z, v := c.Target, 0.0
	for i, x := range in.X {
		z = in.Lambda*x + (1-in.Lambda)*z
		v = square(in.Lambda*in.Sigmas[i]) + square(1-in.Lambda)*v
		c.EWMA = append(c.EWMA, z)
		c.Exact = append(c.Exact, around(c.Target, in.L*math.Sqrt(v)))
	}
	c.SignalsExact = outside(c.EWMA, c.Exact)
	return c, nil
}

func around(centre, half float64) Interval { return Interval{centre - half, centre + half} }

// checkChartSeries accepts NaN for a target or sigma left to be estimated.
func checkChartSeries(x []float64, target, sigma float64) error {
	if len(x) == 0 {
		return errors.New("x: no values: give at least one")
	}
	if err := checkFinite("x", x...); err != nil {
		return err
	}
	if math.IsInf(target, 0) {
		return errors.New("target is infinite: give a finite number")
	}
	if !math.IsNaN(sigma) {
		return checkPositive("sigma", sigma)
	}
	return nil
}

func targetOf(x []float64, given float64) float64 {
	if !math.IsNaN(given) {
		return given
	}
	sum := 0.0
	for _, v := range x {
		sum += v / float64(len(x))
	}
	return sum
}

// sigmaOf estimates sigma from the moving range unless given; NaN when nothing varies.
func sigmaOf(x []float64, given float64) float64 {
	if !math.IsNaN(given) {
		return given
	}
	d2 := 2 / math.Sqrt(math.Pi) // mean range of two standard normal values
	sigma := meanMovingRange(x) / d2
	if !(sigma > 0) || math.IsInf(sigma, 1) {
		return math.NaN()
	}
	return sigma
}
