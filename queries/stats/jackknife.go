package stats

import (
	"fmt"
	"math"
)

// mostJackknifeGroups is into how many groups clusters are dealt: enough degrees of freedom for t to be near
// the normal, few enough to estimate again without each.
const mostJackknifeGroups = 50

// GroupJackknife gives an interval to any figure of data that come in clusters, by estimating it again
// without each of up to 50 groups of clusters (Quenouille 1949; Kott 2001, J Off Stat 17:521-526):
// cluster i is in group i mod G, and with theta(j) the figure without group j
//
//	var = (G-1)/G sum (theta(j) - theta)²
//
// with t on G-1 degrees of freedom. estimate is given which clusters are in. Clusters are independent
// and in an order that has nothing to do with the figure. Limits are NaN with one cluster and where the
// figure cannot be said without some group.
func GroupJackknife(clusters int, estimate func(in func(cluster int) bool) (float64, error), conf float64) (Estimate, error) {
	if err := checkConf(conf); err != nil {
		return Estimate{}, err
	}
	if clusters < 1 {
		return Estimate{}, fmt.Errorf("%d clusters: give at least one", clusters)
	}
	value, err := estimate(func(int) bool { return true })
	if err != nil {
		return Estimate{}, err
	}
	out := Estimate{Value: value, Low: math.NaN(), High: math.NaN(), Conf: conf, N: clusters}
	groups := min(clusters, mostJackknifeGroups)
	if groups < 2 {
		out.Warnings = []string{"one cluster tells nothing of the variation between clusters: no interval can be said"}
		return out, nil
	}
	squares := 0.0
	for left := range groups {
		without, err := estimate(func(cluster int) bool { return cluster%groups != left })
		if err != nil {
			return Estimate{}, err
		}
		squares += square(without - value)
	}
	g := float64(groups)
	half := tCritical(conf, g-1) * math.Sqrt((g-1)/g*squares)
	out.Low, out.High = value-half, value+half
	return out, nil
}
