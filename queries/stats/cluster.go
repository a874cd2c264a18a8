package stats

import (
	"errors"
	"fmt"
	"math"
	"math/big"
)

// ClusterSums is all that the variance of a proportion in clusters depends on: the number of
// clusters and, over clusters with n units and x events each, the sums of n, x, x², xn and n².
type ClusterSums struct {
	Clusters                              int
	Units, Events                         int
	EventsSquared, EventsUnits, UnitsSqrd int
}

// maxClusterUnits keeps sums of squares within 64 bits.
const maxClusterUnits = 3_000_000_000

// SumClusters adds up clusters of sizes[i] units with events[i] events.
func SumClusters(sizes, events []int) (ClusterSums, error) {
	if len(sizes) != len(events) {
		return ClusterSums{}, fmt.Errorf("sum clusters: %d sizes and %d event counts; give one of each per cluster", len(sizes), len(events))
	}
	s := ClusterSums{Clusters: len(sizes)}
	for i, n := range sizes {
		x := events[i]
		if n <= 0 || x < 0 || x > n {
			return ClusterSums{}, fmt.Errorf("sum clusters: cluster %d has %d events in %d units; give 0 to n events in at least one unit", i, x, n)
		}
		if s.Units += n; n > maxClusterUnits || s.Units > maxClusterUnits {
			return ClusterSums{}, fmt.Errorf("sum clusters: over %d units", maxClusterUnits)
		}
		s.Events += x
		s.EventsSquared += x * x
		s.EventsUnits += x * n
		s.UnitsSqrd += n * n
	}
	return s, nil
}

func (s ClusterSums) check(population int) error {
	switch {
	case s.Clusters <= 0 || s.Units <= 0:
		return errors.New("no clusters; give at least one cluster with units")
	case s.Units > maxClusterUnits:
		return fmt.Errorf("over %d units", maxClusterUnits)
	case s.Events < 0 || s.Events > s.Units:
		return fmt.Errorf("%d events in %d units", s.Events, s.Units)
	case s.EventsSquared < s.Events || s.EventsUnits < s.EventsSquared || s.UnitsSqrd < s.EventsUnits || s.UnitsSqrd < s.Units:
		return errors.New("no clusters have these sums of squares and products; check the sums")
	case population < 0 || population > 0 && population < s.Clusters:
		return fmt.Errorf("%d clusters out of %d in the population", s.Clusters, population)
	case s.residuals().Sign() < 0:
		return errors.New("these sums give a negative variance; check the sums")
	}
	return nil
}

// residuals is units² times the sum over clusters of (x - p n)², in whole numbers so that clusters
// which all have the same proportion give exactly 0.
func (s ClusterSums) residuals() *big.Int {
	product := func(factors ...int) *big.Int {
		out := big.NewInt(1)
		for _, f := range factors {
			out.Mul(out, big.NewInt(int64(f)))
		}
		return out
	}
	r := product(s.Units, s.Units, s.EventsSquared)
	r.Sub(r, product(2, s.Events, s.Units, s.EventsUnits))
	return r.Add(r, product(s.Events, s.Events, s.UnitsSqrd))
}

// A ClusterEstimate is a proportion from units that come in clusters, with several intervals at
// the same confidence. KornGraubard is the one to show; the others serve comparison.
type ClusterEstimate struct {
	P, Variance, StdErr float64
	DF                  int     // clusters - 1
	BinomialVariance    float64 // p(1-p)/n, were the units independent
	DesignEffect        float64 // Variance / BinomialVariance
	DesignEffectReplace float64 // the same against p(1-p)/(n-1)
	EffectiveN          float64 // p(1-p)/Variance: independent units that would tell as much

	WilsonZ, WilsonT Interval // Wilson on EffectiveN with a normal and a t critical value
	KornGraubard     Interval // Clopper-Pearson on EffectiveN (t_{n-1}/t_{m-1})²
	Logit            Interval // expit(logit p ± t se/(p(1-p)))
	Arcsine          Interval // sin²(asin sqrt p ± t se/(2 sqrt(p(1-p))))
	Wald             Interval // p ± t se, which may leave 0 to 1

	Warnings []string
}

// ClusterProportion estimates a proportion as the ratio of summed events to summed units, with the
// Taylor-linearised variance between clusters
//
//	var p = (1-f) m/(m-1) sum (x - p n)² / (sum n)²,   f = m/population (0 when population is 0)
//
// (Cochran 1977, Sampling Techniques, 3rd ed., sections 2.11 and 3.12; Wilson on the effective n
// after Kott & Carr 1997; Korn & Graubard 1998, Survey Methodology 24:193-201). It assumes that
// clusters were drawn at random and are independent; m - 1 is the degrees of freedom.
//
// What it cannot say is NaN beside a warning: any variance from one cluster; the design effect
// and effective n where the units are all alike or the clusters are. At 0 or 100 % the
// Korn-Graubard interval takes the effective n as n (Parker et al. 2017).
func ClusterProportion(s ClusterSums, population int, conf float64) (ClusterEstimate, error) {
	err := s.check(population)
	if err == nil {
		err = checkConf(conf)
	}
	if err != nil {
		return ClusterEstimate{}, fmt.Errorf("cluster proportion: %w", err)
	}
	n := float64(s.Units)
	return newClusterEstimate(float64(s.Events)/n, s.variance(population), n, s.Clusters, conf), nil
}

// newClusterEstimate says all there is to say of p with a variance between clusters, from n units.
func newClusterEstimate(p, variance, n float64, clusters int, conf float64) ClusterEstimate {
	out := ClusterEstimate{P: p, Variance: variance, DF: clusters - 1, BinomialVariance: p * (1 - p) / n}
	out.StdErr = math.Sqrt(out.Variance)
	out.DesignEffect = quotient(out.Variance, out.BinomialVariance)
	out.DesignEffectReplace = quotient(out.Variance*(n-1)/n, out.BinomialVariance)
	out.EffectiveN = quotient(p*(1-p), out.Variance)
	out.Warnings = clusterWarnings(out)
	out.intervals(n, float64(clusters), conf)
	return out
}

func (s ClusterSums) variance(population int) float64 {
	if s.Clusters < 2 {
		return math.NaN()
	}
	m, n := float64(s.Clusters), float64(s.Units)
	f := 0.0
	if population > 0 {
		f = m / float64(population)
	}
	squares, _ := new(big.Float).SetInt(s.residuals()).Float64()
	return (1 - f) * m / (m - 1) * squares / (n * n) / (n * n)
}

// quotient is a/b, NaN where b is 0.
func quotient(a, b float64) float64 {
	if b == 0 {
		return math.NaN()
	}
	return a / b
}

func (e *ClusterEstimate) intervals(n, m, conf float64) {
	z, t := normalCritical(conf), tCritical(conf, m-1)
	p, spread := e.P, e.P*(1-e.P)
	e.WilsonZ = wilson(p, e.EffectiveN, z)
	e.WilsonT = wilson(p, e.EffectiveN, t)
	e.Wald = Interval{p - t*e.StdErr, p + t*e.StdErr}
	centre, half := math.Log(quotient(p, 1-p)), quotient(t*e.StdErr, spread)
	e.Logit = Interval{expit(centre - half), expit(centre + half)}
	angle, half := math.Asin(math.Sqrt(p)), half*math.Sqrt(spread)/2
	e.Arcsine = Interval{sinSquared(max(0, angle-half)), sinSquared(min(math.Pi/2, angle+half))}
	effective := e.EffectiveN
	if spread == 0 {
		effective = n
	}
	e.KornGraubard = e.kornGraubard(effective, n, conf)
}

func (e ClusterEstimate) kornGraubard(effective, n, conf float64) Interval {
	ratio := tCritical(conf, n-1) / tCritical(conf, float64(e.DF))
	return clopperPearson(effective*ratio*ratio*e.P, effective*ratio*ratio, conf)
}

// KornGraubardAtMost is the KornGraubard interval from n units, with an effective n of at most n. It does
// not let clusters that happen to be alike tell more than their units, and it has an interval where they
// are exactly alike. With one cluster it is NaN.
func (e ClusterEstimate) KornGraubardAtMost(n, conf float64) Interval {
	effective := e.EffectiveN
	if !(effective <= n) {
		effective = n
	}
	return e.kornGraubard(effective, n, conf)
}

func sinSquared(x float64) float64 {
	s := math.Sin(x)
	return s * s
}

func clusterWarnings(e ClusterEstimate) []string {
	switch {
	case e.DF == 0:
		return []string{"one cluster tells nothing of the variation between clusters: no variance or interval can be said"}
	case e.P == 0 || e.P == 1:
		return []string{"all units are alike: the design effect cannot be said; the exact interval takes it as 1"}
	case e.Variance == 0:
		return []string{"no sampling variation between clusters: the effective n cannot be said"}
	}
	return nil
}
