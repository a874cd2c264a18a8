package stats

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// MaxLot bounds a lot: far above the largest of any sampling table, and a curve is still drawn at
// once.
const MaxLot = 10_000_000

// maxCurveWork bounds points times the root of the lot, to which the terms of the exact sum grow: a few
// seconds.
const maxCurveWork = 300_000

// OCPoint is a sampling plan at one share of nonconforming units. The figures of a lot are NaN where
// no lot is given.
type OCPoint struct {
	Binomial       float64 // chance of acceptance, from a process without end
	Poisson        float64 // the same, for nonconformities per unit
	Hypergeometric float64 // the same, from a lot with Defectives in it
	Defectives     int     // the share as units of the lot, rounded half to even
	AOQ            float64 // average outgoing share, found units replaced: Pa p (N-n)/N
	AOQApprox      float64 // Pa p, for a lot much larger than the sample
	ATI            float64 // average units inspected per lot, rejected lots in full: n + (1-Pa)(N-n)
}

// OCCurve gives the operating characteristic of the single plan that inspects sample units and
// accepts with at most accept nonconforming, at each share in p. lot is the lot size, 0 for none.
//
// Pa is P(X <= accept) with X binomial(n, p), Poisson(np), or hypergeometric(N, D, n); AOQ and ATI
// use the binomial, as tables do. Assumes units drawn at random and judged without error, and
// rejected lots sorted in full. Source: Dodge and Romig (1959) Sampling Inspection Tables. A share
// outside 0 to 1, a negative count, and a sample larger than the lot are errors.
func OCCurve(sample, accept, lot int, p []float64) ([]OCPoint, error) {
	switch {
	case sample < 1 || sample > MaxLot:
		return nil, fmt.Errorf("sample size is %d: give from 1 to %d units", sample, MaxLot)
	case accept < 0:
		return nil, fmt.Errorf("acceptance number is %d: give 0 or more", accept)
	case lot < 0 || lot > MaxLot:
		return nil, fmt.Errorf("lot size is %d: give at most %d units", lot, MaxLot)
	case float64(len(p))*math.Sqrt(float64(lot)) > maxCurveWork:
		return nil, fmt.Errorf("%d points on the curve of a lot of %d: give fewer", len(p), lot)
	case lot > 0 && sample > lot:
		return nil, fmt.Errorf("a sample of %d from a lot of %d: give a sample no larger than the lot", sample, lot)
	}
	out := make([]OCPoint, len(p))
	for i, share := range p {
		if !(share >= 0 && share <= 1) {
			return nil, fmt.Errorf("proportion defective: value %d is %v: give shares from 0 to 1", i+1, share)
		}
		out[i] = ocPoint(sample, accept, lot, share)
	}
	return out, nil
}

func ocPoint(sample, accept, lot int, p float64) OCPoint {
	n, c := float64(sample), float64(accept)
	out := OCPoint{
		Binomial:       distuv.Binomial{N: n, P: p}.CDF(c),
		Poisson:        distuv.Poisson{Lambda: n * p}.CDF(c),
		Hypergeometric: math.NaN(), AOQ: math.NaN(), ATI: math.NaN(),
	}
	out.AOQApprox = out.Binomial * p
	if lot == 0 {
		return out
	}
	rest := float64(lot - sample)
	out.Defectives = int(math.RoundToEven(float64(lot) * p))
	out.Hypergeometric = newExactTable(out.Defectives, sample, lot, 1).below(accept)
	out.AOQ = out.AOQApprox * rest / float64(lot)
	out.ATI = n + (1-out.Binomial)*rest
	return out
}
