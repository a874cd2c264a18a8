package stats

import "fmt"

// GammaShrinkage draws a ratio of observed to expected towards 1, the further the less it rests on: the
// mean of the ratio given the counts, where ratios vary between units as a gamma distribution of mean 1 and
// the given variance and counts are Poisson,
//
//	(observed + 1/variance) / (expected + 1/variance)
//
// (Clayton and Kaldor 1987, Biometrics 43:671-681). With variance 0 it is 1. Counts may be divided by a
// design effect beforehand.
func GammaShrinkage(observed, expected, variance float64) (float64, error) {
	if !allFinite([]float64{observed, expected, variance}) || observed < 0 || expected < 0 || variance < 0 {
		return 0, fmt.Errorf("shrink %v observed over %v expected with variance %v: give numbers of 0 or more", observed, expected, variance)
	}
	if variance == 0 {
		return 1, nil
	}
	return (observed*variance + 1) / (expected*variance + 1), nil
}
