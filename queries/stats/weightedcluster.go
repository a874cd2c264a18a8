package stats

import (
	"errors"
	"fmt"
	"math"
)

// WeightedCluster is one cluster of units that each stand for Weight units: the sums of the weights,
// of the weights of units with an event, and of the squared weights.
type WeightedCluster struct{ Units, Events, WeightsSquared float64 }

// Add counts n units, events of them with an event, that each stand for weight units.
func (c *WeightedCluster) Add(n, events int, weight float64) {
	c.Units += weight * float64(n)
	c.Events += weight * float64(events)
	c.WeightsSquared += weight * weight * float64(n)
}

// exactlyAlike is the largest relative deviation of a cluster's weighted events that is rounding.
const exactlyAlike = 1e-12

// WeightedClusterProportion is ClusterProportion for units drawn with unequal chances, each weighted
// by the inverse of its chance: the ratio of weighted events to weighted units (Horvitz & Thompson
// 1952, JASA 47:663-685; Hájek 1971), with the Taylor-linearised variance between clusters of
// weighted sums (Särndal, Swensson & Wretman 1992, Model Assisted Survey Sampling, section 5.6). The
// plain n behind intervals and the design effect is that of Kish (1965): (sum w)² / sum w², the number
// of equally weighted units that would tell as much. Second comes that n.
//
// It takes the weights as known and clusters as independent. Sums are in the order given. What it
// cannot say is NaN beside a warning, as in ClusterProportion. It returns an error for no clusters,
// a cluster without weight, and sums that no positive weights have.
func WeightedClusterProportion(clusters []WeightedCluster, conf float64) (ClusterEstimate, float64, error) {
	total, err := sumWeighted(clusters)
	if err == nil {
		err = checkConf(conf)
	}
	if err != nil {
		return ClusterEstimate{}, 0, fmt.Errorf("weighted cluster proportion: %w", err)
	}
	n, p := total.Units*total.Units/total.WeightsSquared, min(1, total.Events/total.Units)
	return newClusterEstimate(p, weightedVariance(clusters, total, p), n, len(clusters), conf), n, nil
}

func sumWeighted(clusters []WeightedCluster) (total WeightedCluster, err error) {
	for i, c := range clusters {
		if !(c.Units > 0 && c.WeightsSquared > 0 && c.Events >= 0 && c.Events <= c.Units*(1+exactlyAlike)) {
			return total, fmt.Errorf("cluster %d has sums %+v; give positive weights and 0 to all units with an event", i, c)
		}
		total.Units += c.Units
		total.Events += c.Events
		total.WeightsSquared += c.WeightsSquared
	}
	if len(clusters) == 0 {
		return total, errors.New("no clusters; give at least one cluster with units")
	}
	if !allFinite([]float64{total.Units, total.WeightsSquared}) {
		return total, errors.New("the weights have no finite sum")
	}
	return total, nil
}

func weightedVariance(clusters []WeightedCluster, total WeightedCluster, p float64) float64 {
	if len(clusters) < 2 {
		return math.NaN()
	}
	var squares float64
	for _, c := range clusters {
		if d := c.Events - p*c.Units; math.Abs(d) > exactlyAlike*c.Units {
			squares += d / total.Units * (d / total.Units)
		}
	}
	m := float64(len(clusters))
	return m / (m - 1) * squares
}

// SumOfEstimates adds a and b, each times its factor (0 or more), with the square-and-add interval
// built from the limits of both (Zou & Donner 2008, Stat Med 27:1693-1702):
//
//	low = v - sqrt((fa (a - a.low))² + (fb (b - b.low))²),   high likewise
//
// It assumes independent estimates. A limit that cannot be said makes that limit NaN.
func SumOfEstimates(a Estimate, fa float64, b Estimate, fb float64) Estimate {
	v := fa*a.Value + fb*b.Value
	return Estimate{Value: v, Conf: a.Conf, N: a.N + b.N,
		Low:  v - math.Hypot(fa*(a.Value-a.Low), fb*(b.Value-b.Low)),
		High: v + math.Hypot(fa*(a.High-a.Value), fb*(b.High-b.Value))}
}
