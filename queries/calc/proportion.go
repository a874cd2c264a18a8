package calc

import (
	"errors"

	"scanledger/queries/stats"
)

var proportionMethods = []Method{
	method("proportion-interval", "One proportion with its Wilson and Clopper-Pearson intervals",
		"Wilson 1927; Clopper & Pearson 1934; Newcombe 1998", proportionInterval),
	method("proportion-difference", "Difference of two independent proportions with its interval",
		"Newcombe 1998, method 10", proportionDifference),
	method("cluster-proportion", "Proportion of units that come in clusters, with design effect and intervals",
		"Cochran 1977; Korn & Graubard 1998", clusterProportion),
}

type proportionIn struct {
	X count `json:"x" calc:"required"`
	N count `json:"n" calc:"required"`
	confidence
}

type proportionOut struct {
	Estimate    Num      `json:"estimate"`
	WilsonLower Num      `json:"wilson_lower"`
	WilsonUpper Num      `json:"wilson_upper"`
	ExactLower  Num      `json:"clopper_pearson_lower"`
	ExactUpper  Num      `json:"clopper_pearson_upper"`
	Warnings    []string `json:"warnings,omitempty"`
}

func proportionInterval(in proportionIn) (proportionOut, error) {
	w, err := stats.Wilson(int(in.X), int(in.N), in.level())
	if err != nil {
		return proportionOut{}, err
	}
	e, err := stats.ClopperPearson(int(in.X), int(in.N), in.level())
	return proportionOut{Num(w.Value), Num(w.Low), Num(w.High), Num(e.Low), Num(e.High), w.Warnings}, err
}

type differenceIn struct {
	X1 count `json:"x1" calc:"required"`
	N1 count `json:"n1" calc:"required"`
	X2 count `json:"x2" calc:"required"`
	N2 count `json:"n2" calc:"required"`
	confidence
}

type differenceOut struct {
	Difference Num      `json:"difference"`
	Lower      Num      `json:"lower"`
	Upper      Num      `json:"upper"`
	Warnings   []string `json:"warnings,omitempty"`
}

func proportionDifference(in differenceIn) (differenceOut, error) {
	d, err := stats.NewcombeDifference(int(in.X1), int(in.N1), int(in.X2), int(in.N2), in.level())
	return differenceOut{Num(d.Value), Num(d.Low), Num(d.High), d.Warnings}, err
}

// clusterIn holds either the clusters one by one or only their sums.
type clusterIn struct {
	Sizes      []count `json:"cluster_sizes"`
	Events     []count `json:"cluster_events"`
	Population *count  `json:"clusters_in_population"` // null: unknown or without end
	clusterSumsIn
	confidence
}

type clusterSumsIn struct {
	Clusters    *count `json:"clusters"`
	SumUnits    *count `json:"sum_units"`
	SumEvents   *count `json:"sum_events"`
	SumEventsSq *count `json:"sum_events_sq"`
	SumProducts *count `json:"sum_events_times_units"`
	SumUnitsSq  *count `json:"sum_units_sq"`
}

func (in clusterIn) sums() (stats.ClusterSums, error) {
	if in.Sizes != nil || in.Events != nil {
		return stats.SumClusters(ints(in.Sizes), ints(in.Events))
	}
	for _, c := range []*count{in.Clusters, in.SumUnits, in.SumEvents, in.SumEventsSq, in.SumProducts, in.SumUnitsSq} {
		if c == nil {
			return stats.ClusterSums{}, errors.New("give cluster_sizes and cluster_events, or clusters, sum_units, sum_events, sum_events_sq, sum_events_times_units and sum_units_sq")
		}
	}
	return stats.ClusterSums{
		Clusters: int(*in.Clusters), Units: int(*in.SumUnits), Events: int(*in.SumEvents),
		EventsSquared: int(*in.SumEventsSq), EventsUnits: int(*in.SumProducts), UnitsSqrd: int(*in.SumUnitsSq),
	}, nil
}

type clusterOut struct {
	Clusters         int      `json:"clusters"`
	N                int      `json:"n"`
	Events           int      `json:"events"`
	P                Num      `json:"p"`
	Variance         Num      `json:"variance"`
	SE               Num      `json:"se"`
	DF               int      `json:"degrees_of_freedom"`
	BinomialVariance Num      `json:"binomial_variance"`
	Deff             Num      `json:"deff_p1mp_over_n"`
	DeffReplace      Num      `json:"deff_survey_pkg_replace"`
	EffectiveN       Num      `json:"n_effective"`
	WilsonZ          limits   `json:"wilson_on_neff_z"`
	WilsonT          limits   `json:"wilson_on_neff_t"`
	Logit            limits   `json:"svyciprop_logit"`
	Arcsine          limits   `json:"svyciprop_asin"`
	KornGraubard     limits   `json:"svyciprop_beta"`
	Wald             limits   `json:"svyciprop_mean"`
	XLogit           limits   `json:"svyciprop_xlogit"`
	Warnings         []string `json:"warnings,omitempty"`
}

func clusterProportion(in clusterIn) (clusterOut, error) {
	s, err := in.sums()
	if err != nil {
		return clusterOut{}, err
	}
	population := 0
	if in.Population != nil {
		if population = int(*in.Population); population == 0 {
			return clusterOut{}, errors.New("clusters_in_population is 0; leave it out when it is unknown")
		}
	}
	e, err := stats.ClusterProportion(s, population, in.level())
	if err != nil {
		return clusterOut{}, err
	}
	logit := limitsOf(e.Logit)
	return clusterOut{
		s.Clusters, s.Units, s.Events, Num(e.P), Num(e.Variance), Num(e.StdErr), e.DF,
		Num(e.BinomialVariance), Num(e.DesignEffect), Num(e.DesignEffectReplace), Num(e.EffectiveN),
		limitsOf(e.WilsonZ), limitsOf(e.WilsonT), logit, limitsOf(e.Arcsine), limitsOf(e.KornGraubard),
		limitsOf(e.Wald), logit, e.Warnings,
	}, nil
}
