package stats

import (
	"errors"
	"fmt"
	"math"
)

// StratumSums are the units and events of one stratum, with its weight in the standard. Weights are
// shares that sum to 1 over the strata given.
type StratumSums struct {
	Weight        float64
	Units, Events int
}

// PairSums are sums over clusters of products between two strata A and B of the same clusters, for
// n units and x events of a cluster in each; a stratum paired with itself has EventsUnits equal to
// UnitsEvents.
type PairSums struct {
	A, B                                               int // positions among the strata
	EventsEvents, EventsUnits, UnitsEvents, UnitsUnits int // x_A x_B, x_A n_B, n_A x_B, n_A n_B
}

// StandardisedProportion is the directly standardised proportion
//
//	p = sum w_k p_k,   p_k = X_k / N_k
//
// over strata k of weight w_k, with the Taylor-linearised variance between m clusters, which may
// each hold units of several strata:
//
//	var p = m/(m-1) sum over clusters of (sum_k w_k (x_k - p_k n_k)/N_k)²
//
// (direct standardisation as in Breslow & Day 1987 vol. II, ch. 2; linearisation as in Wolter 2007,
// Introduction to Variance Estimation, ch. 6). Pairs holds every ordered pair of strata that share a
// cluster, each stratum with itself included. Weights are taken as known. With one stratum it is
// ClusterProportion. A stratum seen in one cluster adds nothing to the variance, so leave such
// strata out. It returns an error for impossible counts, and for weights that do not sum to 1.
func StandardisedProportion(strata []StratumSums, pairs []PairSums, clusters int, conf float64) (ClusterEstimate, error) {
	if err := errors.Join(checkStrata(strata, clusters), checkConf(conf)); err != nil {
		return ClusterEstimate{}, fmt.Errorf("standardised proportion: %w", err)
	}
	out := ClusterEstimate{DF: clusters - 1}
	rates, inverse := make([]float64, len(strata)), 0.0
	for k, s := range strata {
		rates[k] = float64(s.Events) / float64(s.Units)
		out.P += s.Weight * rates[k]
		out.BinomialVariance += square(s.Weight) * rates[k] * (1 - rates[k]) / float64(s.Units)
		inverse += square(s.Weight) / float64(s.Units)
	}
	out.P = min(1, out.P) // weights may sum to a last bit more than 1
	variance, err := pairVariance(strata, rates, pairs)
	if err != nil {
		return ClusterEstimate{}, fmt.Errorf("standardised proportion: %w", err)
	}
	m := float64(clusters)
	out.Variance = quotient(m*variance, m-1)
	out.StdErr = math.Sqrt(out.Variance)
	out.DesignEffect = quotient(out.Variance, out.BinomialVariance)
	out.EffectiveN = quotient(out.P*(1-out.P), out.Variance)
	out.Warnings = clusterWarnings(out)
	// So many units with the standard's mix would have the same variance, were they independent.
	n := 1 / inverse
	out.DesignEffectReplace = out.DesignEffect * (n - 1) / n
	out.intervals(n, m, conf)
	return out, nil
}

// pairVariance is the sum over clusters of the squared score, from the sums of products. Rounding
// can leave it a last bit from 0.
func pairVariance(strata []StratumSums, rates []float64, pairs []PairSums) (float64, error) {
	sum, size := 0.0, 0.0
	for _, p := range pairs {
		if min(p.A, p.B) < 0 || max(p.A, p.B) >= len(strata) {
			return 0, fmt.Errorf("pair of strata %d and %d among %d", p.A, p.B, len(strata))
		}
		a, b := rates[p.A], rates[p.B]
		product := float64(p.EventsEvents) - b*float64(p.EventsUnits) - a*float64(p.UnitsEvents) + a*b*float64(p.UnitsUnits)
		scale := strata[p.A].Weight / float64(strata[p.A].Units) * strata[p.B].Weight / float64(strata[p.B].Units)
		sum += scale * product
		size += scale * float64(p.EventsEvents)
	}
	const rounding = 1e-12
	if sum < -rounding*size {
		return 0, errors.New("the sums give a negative variance; give every pair of strata that share a cluster, both ways round")
	}
	if sum < rounding*size {
		return 0, nil
	}
	return sum, nil
}

func checkStrata(strata []StratumSums, clusters int) error {
	if len(strata) == 0 || clusters < 1 {
		return fmt.Errorf("%d strata in %d clusters: give at least one of each", len(strata), clusters)
	}
	weight := 0.0
	for k, s := range strata {
		if s.Units < 1 || s.Units > maxClusterUnits || s.Events < 0 || s.Events > s.Units {
			return fmt.Errorf("stratum %d has %d events in %d units; give 0 to n events in at least one unit", k, s.Events, s.Units)
		}
		if !(s.Weight >= 0 && s.Weight <= 1) {
			return fmt.Errorf("stratum %d has weight %v; give a share of 0 to 1", k, s.Weight)
		}
		weight += s.Weight
	}
	if math.Abs(weight-1) > 1e-9 {
		return fmt.Errorf("weights sum to %v; give shares that sum to 1", weight)
	}
	return nil
}
