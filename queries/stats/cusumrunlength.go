package stats

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Bounds of the run length calculation: a wider chart is never used, and the linear system
// no longer settles the answer.
const (
	MaxRunLengthH      = 20
	MaxRunLengthShifts = 1000
	maxRunLength       = 1e10
)

// RunLength is the mean number of values until a CUSUM signals.
type RunLength struct {
	OneSided float64 // upper sum alone
	TwoSided float64 // both sums
}

// CUSUMRunLength gives the average run length of a CUSUM from 0 with allowance k and limit h, for
// independent normal values shifted by each of shifts; all in sigmas.
//
// It solves L(z) = 1 + L(0) Phi(k-z-shift) + integral_0^h L(x) phi(x+k-z-shift) dx (Page 1954) by
// Gauss-Legendre nodes (Goel and Wu 1971), and joins the sides by 1/L = 1/L+ + 1/L- (Kemp 1961; exact
// for a start at 0 as the two sums cannot both signal). A run longer than 1e10 is NaN, beyond what the
// linear system settles; h is at most MaxRunLengthH.
func CUSUMRunLength(k, h float64, shifts []float64) ([]RunLength, error) {
	if err := errors.Join(checkNotNegative("k_sigma", k), checkPositive("h_sigma", h), checkFinite("shifts_sigma", shifts...)); err != nil {
		return nil, err
	}
	if h > MaxRunLengthH || len(shifts) == 0 || len(shifts) > MaxRunLengthShifts {
		return nil, fmt.Errorf("h_sigma is %v with %d shifts: give h up to %d and 1 to %d shifts", h, len(shifts), MaxRunLengthH, MaxRunLengthShifts)
	}
	out := make([]RunLength, len(shifts))
	for i, shift := range shifts {
		up, down := oneSidedRunLength(k, h, shift), oneSidedRunLength(k, h, -shift)
		out[i] = RunLength{OneSided: settled(up), TwoSided: settled(1 / (1/up + 1/down))}
	}
	return out, nil
}

func settled(length float64) float64 {
	if !(length >= 1 && length <= maxRunLength) {
		return math.NaN()
	}
	return length
}

// oneSidedRunLength is the run length from 0 of the sum that grows with shift. A system too close to
// singular stands for a run without end.
func oneSidedRunLength(k, h, shift float64) float64 {
	nodes := 30 + 5*int(math.Ceil(h))
	x, w := make([]float64, nodes+1), make([]float64, nodes+1) // node 0 is the start, of no width
	quad.Legendre{}.FixedLocations(x[1:], w[1:], 0, h)
	a, ones := mat.NewDense(nodes+1, nodes+1, nil), mat.NewVecDense(nodes+1, nil)
	for i, z := range x {
		ones.SetVec(i, 1)
		for j := range x {
			reach := w[j] * distuv.UnitNormal.Prob(x[j]+k-z-shift)
			if j == 0 {
				reach = distuv.UnitNormal.CDF(k - z - shift)
			}
			if i == j {
				reach--
			}
			a.Set(i, j, -reach)
		}
	}
	var length mat.VecDense
	if err := length.SolveVec(a, ones); err != nil {
		return math.Inf(1)
	}
	return length.AtVec(0)
}
