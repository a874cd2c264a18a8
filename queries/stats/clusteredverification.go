package stats

import (
	"errors"
	"fmt"
	"math"
)

// A VerificationCell is the units of one stratum in one cluster. Clusters and strata are numbered
// from 0.
type VerificationCell struct {
	Cluster, Stratum int
	VerificationStratum
}

// A ClusterCorrected is one corrected proportion with a standard error that takes clusters as the
// independent units.
type ClusterCorrected struct {
	Value, StdErr float64
	DesignEffect  float64 // variance over that of as many independent units
	EffectiveN    float64 // p(1-p)/variance: independent units, all checked, that would tell as much
	DF            int     // clusters - 1
	Logit         Interval
}

// ClusteredVerified is test accuracy corrected for units never checked, from units in clusters.
type ClusteredVerified struct {
	NaiveSensitivity, NaiveSpecificity float64
	Sensitivity, Specificity           ClusterCorrected
	Clusters                           int
	Warnings                           []string
}

// ClusteredVerification is PartialVerification for units that come in clusters, such as the points of
// a site. Values are the same. With n, v and d the units, the checked and the checked with the
// condition of result t in stratum k, and n_j, v_j, d_j those of cluster j, linearising
// logit sensitivity = ln A - ln B, A = sum n_1k f_1k, B = sum n_0k f_0k, f = d/v, gives cluster j
//
//	z_j = a_j/A - b_j/B,   a_j = sum_k [ f_1k n_1kj + (n_1k/v_1k)(d_1kj - f_1k v_1kj) ],   b_j alike,
//	var(logit) = m/(m-1) (N-1)/N sum z_j²
//
// for m clusters and N units (the sandwich of Liang & Zeger 1986, Biometrika 73:13-22, with the usual
// factor for few clusters; derived here from the estimator of Begg & Greenes 1983). Where every
// cluster is one unit it is the variance of PartialVerification to the last term. Intervals take
// Student's t with m-1 degrees of freedom on the logit scale. The standard error of the proportion
// is p(1-p) times that of its logit.
//
// Cells must come in order of cluster. What PartialVerification cannot say is NaN here too, and so is
// any standard error from one cluster.
func ClusteredVerification(cells []VerificationCell, conf float64) (ClusteredVerified, error) {
	strata, clusters, err := strataOf(cells)
	if err != nil {
		return ClusteredVerified{}, fmt.Errorf("clustered verification: %w", err)
	}
	whole, err := PartialVerification(strata, conf)
	if err != nil {
		return ClusteredVerified{}, fmt.Errorf("clustered verification: %w", err)
	}
	out := ClusteredVerified{NaiveSensitivity: whole.NaiveSensitivity, NaiveSpecificity: whole.NaiveSpecificity, Clusters: clusters, Warnings: whole.Warnings}
	out.Sensitivity = sandwich(cells, strata, whole.Sensitivity, clusters, conf, true)
	out.Specificity = sandwich(cells, strata, whole.Specificity, clusters, conf, false)
	return out, nil
}

// strataOf sums cells over clusters, and counts the clusters.
func strataOf(cells []VerificationCell) ([]VerificationStratum, int, error) {
	var strata []VerificationStratum
	clusters := 0
	for i, c := range cells {
		if c.Stratum < 0 || i > 0 && c.Cluster < cells[i-1].Cluster {
			return nil, 0, errors.New("cells are not in order of cluster, or a stratum is negative; sort them")
		}
		if i == 0 || c.Cluster != cells[i-1].Cluster {
			clusters++
		}
		for c.Stratum >= len(strata) {
			strata = append(strata, VerificationStratum{})
		}
		s := &strata[c.Stratum]
		*s = s.Plus(c.VerificationStratum)
	}
	return strata, clusters, nil
}

// turned swaps test and condition, so that specificity is the sensitivity of the turned table.
func (s VerificationStratum) turned() VerificationStratum {
	turn := func(a TestArm) TestArm { return TestArm{a.NoCondition, a.Condition, a.Unverified} }
	return VerificationStratum{Positive: turn(s.Negative), Negative: turn(s.Positive)}
}

// sandwich puts the variance between clusters behind a corrected sensitivity or specificity.
func sandwich(cells []VerificationCell, strata []VerificationStratum, alone Corrected, clusters int, conf float64, sensitivity bool) ClusterCorrected {
	p, nan := alone.Value, math.NaN()
	out := ClusterCorrected{Value: p, StdErr: nan, DesignEffect: nan, EffectiveN: nan, DF: clusters - 1, Logit: Interval{nan, nan}}
	if clusters < 2 || math.IsNaN(alone.StdErr) {
		return out
	}
	if !sensitivity {
		turned := make([]VerificationStratum, len(strata))
		for k, s := range strata {
			turned[k] = s.turned()
		}
		strata = turned
	}
	with, _, positives := armSums(strata, func(s VerificationStratum) TestArm { return s.Positive })
	without, _, negatives := armSums(strata, func(s VerificationStratum) TestArm { return s.Negative })
	var squares, z float64
	for i, c := range cells {
		s := c.VerificationStratum
		if !sensitivity {
			s = s.turned()
		}
		z += contribution(s.Positive, strata[c.Stratum].Positive)/with.expected - contribution(s.Negative, strata[c.Stratum].Negative)/without.expected
		if i == len(cells)-1 || cells[i+1].Cluster != c.Cluster {
			squares += z * z
			z = 0
		}
	}
	m, n := float64(clusters), positives+negatives
	logitSE := math.Sqrt(m / (m - 1) * (n - 1) / n * squares)
	out.StdErr = p * (1 - p) * logitSE
	out.DesignEffect = out.StdErr * out.StdErr / (alone.StdErr * alone.StdErr)
	out.EffectiveN = quotient(p*(1-p), out.StdErr*out.StdErr)
	centre, half := math.Log(with.expected/without.expected), tCritical(conf, m-1)*logitSE
	out.Logit = Interval{expit(centre - half), expit(centre + half)}
	return out
}

// contribution is what one cluster's share of an arm adds to the expected units with the condition.
func contribution(part, whole TestArm) float64 {
	if whole.total() == 0 {
		return 0
	}
	n, v := float64(whole.total()), float64(whole.verified())
	f := float64(whole.Condition) / v
	return f*float64(part.total()) + n/v*(float64(part.Condition)-f*float64(part.verified()))
}

// MergeUnchecked says which strata to merge so that a correction can be made: into[k] is the new
// number of stratum k. Every stratum with a result of which no unit was checked goes to one remainder,
// which comes last; while that still has such a result, the smallest of the other strata (the first of
// those alike) joins it. merged is how many strata the remainder holds, 0 where none was needed.
func MergeUnchecked(strata []VerificationStratum) (into []int, merged int) {
	inRemainder := make([]bool, len(strata))
	var remainder VerificationStratum
	join := func(k int) {
		inRemainder[k] = true
		merged++
		remainder = remainder.Plus(strata[k])
	}
	for k, s := range strata {
		if s.unchecked() {
			join(k)
		}
	}
	for remainder.unchecked() && merged < len(strata) {
		smallest := -1
		for k, s := range strata {
			if !inRemainder[k] && (smallest < 0 || s.units() < strata[smallest].units()) {
				smallest = k
			}
		}
		join(smallest)
	}
	into = make([]int, len(strata))
	kept := 0
	for k := range strata {
		if into[k] = len(strata) - merged; !inRemainder[k] {
			into[k] = kept
			kept++
		}
	}
	return into, merged
}

func (s VerificationStratum) units() int { return s.Positive.total() + s.Negative.total() }

// unchecked reports whether a result has units of which none was checked.
func (s VerificationStratum) unchecked() bool {
	return s.Positive.unchecked() || s.Negative.unchecked()
}

func (a TestArm) unchecked() bool { return a.total() > 0 && a.verified() == 0 }
