package stats

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
)

// MonthCounts are 12 counts, January first.
type MonthCounts [12]int

func (c MonthCounts) root(m int) float64 { return math.Sqrt(float64(c[m])) }

// SeasonTest is a test for one yearly wave. Months stand on the circle at angle
// 2 pi (month-0.5)/12. Amplitude is that of the rate relative to its mean (0.2: 20 % above at the
// peak). PeakDegrees runs from 0 (start of January) to 360 and is NaN when there is no wave.
type SeasonTest struct {
	Amplitude   float64
	PeakDegrees float64
	Test        ChiSquareTest // on 2 degrees of freedom
}

// noWave is the length below which a mean vector is rounding, not a wave.
const noWave = 1e-12

// degreesOf is the direction of a vector from 0 to 360, NaN when the vector is rounding only.
func degreesOf(cos, sin float64) float64 {
	if !(math.Hypot(cos, sin) > noWave) {
		return math.NaN()
	}
	degrees := math.Atan2(sin, cos) * 180 / math.Pi
	if degrees < 0 {
		degrees += 360
	}
	return degrees
}

// MeanMonthDays is the length of a mean month in days.
const MeanMonthDays = 365.25 / 12

// MonthAngle is 2 pi (month-shift)/12 for month 1..12: with shift 0.5 the middle of the month on a
// circle whose zero is the start of January, with shift 1 a circle whose zero is January itself.
func MonthAngle(month int, shift float64) float64 {
	return 2 * math.Pi * (float64(month) - shift) / 12
}

// meanVector is the weighted mean of the month directions, and the sum of the weights.
func meanVector(weight func(m int) float64) (cos, sin, total float64) {
	for m := range 12 {
		w := weight(m)
		angle := MonthAngle(m+1, 0.5)
		cos += w * math.Cos(angle)
		sin += w * math.Sin(angle)
		total += w
	}
	return quotient(cos, total), quotient(sin, total), total
}

// EdwardsTest tests 12 counts for a yearly wave, months taken as equally long and equally exposed
// (Edwards 1961, Ann Hum Genet 25:83-86): with d the length of the mean vector of the month
// directions weighted by the square roots of the counts, amplitude 4d and chi-square 8 N d^2. It
// needs some 50 events (common practice, no source). Everything is NaN when there are no events.
// It returns an error for counts outside 0 to MaxCount.
func EdwardsTest(counts MonthCounts) (SeasonTest, error) {
	if err := checkCounts("monthly counts", counts[:]...); err != nil {
		return SeasonTest{}, err
	}
	cos, sin, _ := meanVector(counts.root)
	d := math.Hypot(cos, sin)
	chi := 8 * float64(sumCounts(counts[:])) * d * d
	return SeasonTest{4 * d, degreesOf(cos, sin), chiSquareTest(chi, 2)}, nil
}

// RogerTest tests 12 counts for a yearly wave by the score test of the first harmonic (Roger 1977,
// Biometrika 64:152-155): with S and C the sums of count times sine and cosine, chi-square
// 2(S^2+C^2)/N and amplitude 2 sqrt(S^2+C^2)/N. Months count as equally exposed. Everything is NaN
// when there are no events. It returns an error for counts outside 0 to MaxCount.
func RogerTest(counts MonthCounts) (SeasonTest, error) {
	if err := checkCounts("monthly counts", counts[:]...); err != nil {
		return SeasonTest{}, err
	}
	cos, sin, total := meanVector(func(m int) float64 { return float64(counts[m]) })
	d := math.Hypot(cos, sin)
	chi := 2 * total * d * d
	return SeasonTest{2 * d, degreesOf(cos, sin), chiSquareTest(chi, 2)}, nil
}

// WalterElwoodTest tests 12 counts for a yearly wave, given the population at risk or the counts
// expected in each month on any scale (Walter & Elwood 1975, Br J Prev Soc Med 29:18-21; variance
// as in the R package season). With a and b the mean vectors weighted by the square roots of the
// counts and of the exposure, and V = sum over months of sqrt(N exposure / sum of exposure),
//
//	chi-square = (2/3) V^2 |a-b|^2, on 2 degrees of freedom
//
// which is EdwardsTest when the exposure is even. The statistic is NaN when there are no events.
// It returns an error for counts outside 0 to MaxCount and for an exposure outside 1e-15 to 1e15.
func WalterElwoodTest(counts MonthCounts, exposure [12]float64) (ChiSquareTest, error) {
	if err := errors.Join(checkCounts("monthly counts", counts[:]...), checkExposure(exposure)); err != nil {
		return ChiSquareTest{}, err
	}
	at := floats.Sum(exposure[:])
	events := float64(sumCounts(counts[:]))
	cos, sin, _ := meanVector(counts.root)
	cos0, sin0, v := meanVector(func(m int) float64 { return math.Sqrt(events * exposure[m] / at) })
	d := math.Hypot(cos-cos0, sin-sin0)
	return chiSquareTest(2*v*v*d*d/3, 2), nil
}

// maxExposure bounds the spread of exposures so that every share of them is an ordinary number.
const maxExposure = 1e15

func checkExposure(exposure [12]float64) error {
	for m, e := range exposure {
		if !(e >= 1/maxExposure && e <= maxExposure) {
			return fmt.Errorf("population or expected count of month %d is %v: give a number above 0 (%g to %g)", m+1, e, 1/maxExposure, maxExposure)
		}
	}
	return nil
}

// MonthHomogeneity is Pearson's chi-square of 12 counts against counts in proportion to exposure,
// on 11 degrees of freedom: it sees any difference between months, not only a wave. It is NaN when
// there are no events. Errors are those of WalterElwoodTest.
func MonthHomogeneity(counts MonthCounts, exposure [12]float64) (ChiSquareTest, error) {
	if err := errors.Join(checkCounts("monthly counts", counts[:]...), checkExposure(exposure)); err != nil {
		return ChiSquareTest{}, err
	}
	return chiSquareTest(pearson(counts[:], exposure[:]), 11), nil
}
