package stats

import (
	"fmt"
	"math"
)

// ClusteredAgreement is the agreement of two raters on pairs that come in clusters, such as the points
// of one site. Table is what the summed table says of independent pairs; Kappa and AC1 have intervals
// that allow for the clusters.
type ClusteredAgreement struct {
	Table             Agreement
	Kappa, AC1        Estimate
	KappaSE, AC1SE    float64
	KappaDesignEffect float64 // variance of kappa over that of independent pairs
	Clusters          int
}

// AgreementInClusters measures agreement on yes-no calls: one table a cluster, A both yes, B only the
// first rater, C only the second, D neither. Kappa and AC1 are those of the summed table; with u the
// linearised contribution of a pair (Fleiss, Cohen and Everitt 1969 for kappa, Gwet 2008 for AC1)
//
//	var = m/(m-1) sum over clusters of (sum of u)² / n²
//
// the variance between m clusters (Yang and Zhou 2014, Stat Med 33:2612-2633); with one pair a cluster
// it is the plain variance times m/(m-1). Limits are those of atanh of the coefficient with t on m-1
// degrees of freedom, so that they stay within -1 to 1. Clusters are taken as independent.
//
// Limits are NaN with one cluster and where the coefficient is 1 or NaN.
func AgreementInClusters(clusters []Table2x2, conf float64) (ClusteredAgreement, error) {
	var sum Table2x2
	for i, t := range clusters {
		if err := checkCounts(fmt.Sprintf("cluster %d", i+1), t.A, t.B, t.C, t.D); err != nil {
			return ClusteredAgreement{}, err
		}
		if t.total() == 0 {
			return ClusteredAgreement{}, fmt.Errorf("cluster %d has no pairs: leave it out", i+1)
		}
		sum.A, sum.B, sum.C, sum.D = sum.A+t.A, sum.B+t.B, sum.C+t.C, sum.D+t.D
	}
	table, err := AgreementOfTwo([][]int{{sum.A, sum.B}, {sum.C, sum.D}}, conf)
	if err != nil {
		return ClusteredAgreement{}, err
	}
	out := ClusteredAgreement{Table: table, Clusters: len(clusters)}
	m, n := float64(len(clusters)), sum.total()
	out.KappaSE = clusterError(clusters, kappaParts(sum, table))
	out.AC1SE = clusterError(clusters, ac1Parts(sum, table))
	out.KappaDesignEffect = quotient(square(out.KappaSE), square(table.SE))
	out.Kappa = coefficientLimits(table.Kappa.Value, out.KappaSE, conf, m, n)
	out.AC1 = coefficientLimits(table.AC1.Value, out.AC1SE, conf, m, n)
	return out, nil
}

// kappaParts is what a pair of each kind adds to kappa, linearised.
func kappaParts(sum Table2x2, a Agreement) [4]float64 {
	n, k := float64(sum.total()), a.Kappa.Value
	row, col := float64(sum.A+sum.B)/n, float64(sum.A+sum.C)/n
	centre := k - a.Chance*(1-k)
	part := func(weight, margins float64) float64 { return (weight - margins*(1-k) - centre) / (1 - a.Chance) }
	return [4]float64{part(1, row+col), part(0, 1-row+col), part(0, row+1-col), part(1, 2-row-col)}
}

// ac1Parts is what a pair of each kind adds to AC1, linearised.
func ac1Parts(sum Table2x2, a Agreement) [4]float64 {
	q, g := float64(2*sum.A+sum.B+sum.C)/float64(2*sum.total()), a.AC1.Value
	chance := 2 * q * (1 - q)
	centre := a.Observed - 2*(1-g)*chance
	part := func(weight, meanMargin float64) float64 {
		return (weight - 2*(1-g)*(1-meanMargin) - centre) / (1 - chance)
	}
	return [4]float64{part(1, q), part(0, 0.5), part(0, 0.5), part(1, 1-q)}
}

// clusterError is the standard error between clusters of a figure to which pairs add parts.
func clusterError(clusters []Table2x2, parts [4]float64) float64 {
	if len(clusters) < 2 {
		return math.NaN()
	}
	m, n, squares := float64(len(clusters)), 0.0, 0.0
	for _, t := range clusters {
		n += float64(t.total())
		squares += square(float64(t.A)*parts[0] + float64(t.B)*parts[1] + float64(t.C)*parts[2] + float64(t.D)*parts[3])
	}
	return math.Sqrt(m/(m-1)*squares) / n
}

// coefficientLimits gives a coefficient its limits on the atanh scale.
func coefficientLimits(value, se, conf, clusters float64, n int) Estimate {
	out := Estimate{Value: value, Low: math.NaN(), High: math.NaN(), Conf: conf, N: n}
	if !(math.Abs(value) < 1) || !(se >= 0) {
		out.Warnings = []string{"one cluster, or calls that are all alike: no interval can be given"}
		return out
	}
	centre, half := math.Atanh(value), tCritical(conf, clusters-1)*se/(1-value*value)
	out.Low, out.High = math.Tanh(centre-half), math.Tanh(centre+half)
	return out
}
