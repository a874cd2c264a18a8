package stats

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// A Cut is a threshold on a score; a score above it counts as positive.
type Cut struct{ Threshold, Sensitivity, Specificity float64 }

// AUC is the area under a receiver operating characteristic curve.
type AUC struct {
	Estimate                      // area with DeLong's interval, cut at 0 and 1
	Variance, StdErr float64      // DeLong et al. (1988)
	HanleyMcNeilSE   float64      // the older formula, from the area alone
	Youden           float64      // largest sensitivity + specificity - 1
	BestCuts         []Cut        // all thresholds that reach it, ascending
	placements       [2][]float64 // per negative and per positive, share of the other class on its right side
}

// ROC measures how well score ranks units with the condition (positive true) above those without.
// The area is the chance that a random positive outscores a random negative, ties counting one
// half; its variance is that of the placements (DeLong, DeLong & Clarke-Pearson 1988, Biometrics
// 44:837-845); the second standard error is Hanley & McNeil's (1982, Radiology 143:29-36).
// Thresholds are midpoints between adjacent scores, -Inf and +Inf at the ends.
//
// It assumes independent units. It returns an error without at least one unit of each kind; with
// only one of a kind the variance cannot be said (NaN), and at an area of 0 or 1 it is 0 and means
// little; a warning tells so.
func ROC(positive []bool, score []float64, conf float64) (AUC, error) {
	classes, err := splitScores(positive, score)
	if err == nil {
		err = checkConf(conf)
	}
	if err != nil {
		return AUC{}, fmt.Errorf("roc: %w", err)
	}
	neg, pos := classes[0], classes[1]
	out := AUC{placements: placements(positive, score, neg, pos)}
	out.Conf, out.N = conf, len(score)
	out.Value = stat.Mean(out.placements[1], nil)
	out.Variance = delongCovariance(out, out)
	out.StdErr = math.Sqrt(out.Variance)
	half := normalCritical(conf) * out.StdErr
	out.Low, out.High = math.Max(0, out.Value-half), math.Min(1, out.Value+half)
	out.HanleyMcNeilSE = hanleyMcNeil(out.Value, float64(len(pos)), float64(len(neg)))
	out.Youden, out.BestCuts = youdenCuts(neg, pos)
	switch {
	case min(len(neg), len(pos)) < 2:
		out.Warnings = []string{"only one unit of a kind: the standard error cannot be said"}
	case out.Variance == 0:
		out.Warnings = []string{"the scores part the kinds without overlap: the interval has no width and means little"}
	}
	return out, nil
}

// splitScores returns the scores of negatives and positives, each ascending.
func splitScores(positive []bool, score []float64) (classes [2][]float64, err error) {
	if len(positive) != len(score) {
		return classes, fmt.Errorf("%d truths for %d scores; give one of each per unit", len(positive), len(score))
	}
	if !allFinite(score) {
		return classes, fmt.Errorf("a score is not finite; leave such units out")
	}
	for i, s := range score {
		c := 0
		if positive[i] {
			c = 1
		}
		classes[c] = append(classes[c], s)
	}
	if len(classes[0]) == 0 || len(classes[1]) == 0 {
		return classes, fmt.Errorf("%d units with the condition and %d without; give at least one of each", len(classes[1]), len(classes[0]))
	}
	slices.Sort(classes[0])
	slices.Sort(classes[1])
	return classes, nil
}

// placements gives each unit, in the order of the input, the share of the other class it is ranked
// rightly against.
func placements(positive []bool, score, neg, pos []float64) (out [2][]float64) {
	for i, s := range score {
		if positive[i] {
			out[1] = append(out[1], halfRank(neg, s))
		} else {
			out[0] = append(out[0], 1-halfRank(pos, s))
		}
	}
	return out
}

// halfRank is the share of sorted below s, ties counting one half.
func halfRank(sorted []float64, s float64) float64 {
	below, tied := slices.BinarySearch(sorted, s)
	upTo := below
	if tied {
		upTo, _ = slices.BinarySearch(sorted, math.Nextafter(s, math.Inf(1)))
	}
	return float64(below+upTo) / float64(2*len(sorted))
}

// delongCovariance is the covariance of two areas measured on the same units.
func delongCovariance(a, b AUC) float64 {
	var sum float64
	for c := range a.placements {
		n := len(a.placements[c])
		if n < 2 {
			return math.NaN()
		}
		sum += stat.Covariance(a.placements[c], b.placements[c], nil) / float64(n)
	}
	return sum
}

func hanleyMcNeil(a, nPos, nNeg float64) float64 {
	q1, q2 := a/(2-a), 2*a*a/(1+a)
	v := a*(1-a) + (nPos-1)*(q1-a*a) + (nNeg-1)*(q2-a*a)
	return math.Sqrt(math.Max(0, v) / (nPos * nNeg))
}

// youdenCuts walks the thresholds upwards, comparing in whole numbers so that ties are exact.
func youdenCuts(neg, pos []float64) (best float64, cuts []Cut) {
	nNeg, nPos := len(neg), len(pos)
	all := slices.Compact(slices.Sorted(slices.Values(slices.Concat(neg, pos))))
	top, i, j := -1, 0, 0 // i negatives and j positives are at or below the threshold
	for k := -1; k < len(all); k++ {
		threshold := math.Inf(-1)
		if k >= 0 {
			for i < nNeg && neg[i] <= all[k] {
				i++
			}
			for j < nPos && pos[j] <= all[k] {
				j++
			}
			threshold = math.Inf(1)
			if k+1 < len(all) {
				threshold = all[k]/2 + all[k+1]/2
			}
		}
		index := i*nPos - j*nNeg
		if index < top {
			continue
		}
		if index > top {
			top, cuts = index, nil
		}
		cuts = append(cuts, Cut{threshold, float64(nPos-j) / float64(nPos), float64(i) / float64(nNeg)})
	}
	return float64(top) / float64(nPos*nNeg), cuts
}

// AUCDifference is the difference of two areas measured on the same units.
type AUCDifference struct {
	A, B       AUC
	Difference Estimate // A - B
	StdErr     float64
	Z, P       float64 // test of equal areas, two-sided
}

// CompareAUC compares two scores on the same units by the test of DeLong et al. (1988), which
// allows for their correlation. Where the difference has no variance Z and P are NaN.
func CompareAUC(positive []bool, scoreA, scoreB []float64, conf float64) (AUCDifference, error) {
	a, err := ROC(positive, scoreA, conf)
	if err != nil {
		return AUCDifference{}, fmt.Errorf("first score: %w", err)
	}
	b, err := ROC(positive, scoreB, conf)
	if err != nil {
		return AUCDifference{}, fmt.Errorf("second score: %w", err)
	}
	se := math.Sqrt(math.Max(0, a.Variance+b.Variance-2*delongCovariance(a, b)))
	d := a.Value - b.Value
	half := normalCritical(conf) * se
	out := AUCDifference{
		A: a, B: b, StdErr: se, Z: quotient(d, se),
		Difference: Estimate{Value: d, Low: d - half, High: d + half, Conf: conf, N: len(positive), Warnings: slices.Concat(a.Warnings, b.Warnings)},
	}
	out.P = normalP(out.Z)
	return out, nil
}
