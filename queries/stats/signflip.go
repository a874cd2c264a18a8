package stats

import (
	"fmt"
	"math"
)

// mostSignSteps bounds clusters times the sum of differences, to which the time of the exact law grows:
// half a second on one core of 2026.
const mostSignSteps = 500_000_000

// ClusteredMcNemar tests whether two raters say yes equally often on pairs that come in clusters:
// differences holds, a cluster each, the pairs only the first called yes less those only the second
// did. Under equality each difference is as likely to have the other sign; p is the chance that the sum
// of randomly signed differences is as far from 0 as the one seen (Fisher 1935, The Design of
// Experiments, section 21). With one pair a cluster it is the exact test of McNemar (1947). Exact up
// to a size that takes half a second, beyond it by the normal law with variance sum of squares
// (Durkalski et al. 2003, Stat Med 22:2417-2428). Clusters are taken as independent. Without any
// difference p is 1.
func ClusteredMcNemar(differences []int) (p float64, err error) {
	total, sum, squares := 0, 0, 0.0
	for i, d := range differences {
		if d < -MaxCount || d > MaxCount {
			return 0, fmt.Errorf("difference %d is %d: give numbers from -%d to %d", i+1, d, MaxCount, MaxCount)
		}
		total += max(d, -d)
		sum += d
		squares += square(float64(d))
	}
	sum = max(sum, -sum)
	switch {
	case sum == 0:
		return 1, nil
	case total > mostSignSteps/len(differences):
		return normalP(float64(sum) / math.Sqrt(squares)), nil
	}
	return signTail(differences, total, sum), nil
}

// signTail is the chance that randomly signed differences sum to at least sum, on either side.
func signTail(differences []int, total, sum int) float64 {
	law, reach := make([]float64, 2*total+1), 0 // law[total+s] is the chance of s
	next := make([]float64, 2*total+1)
	law[total] = 1
	for _, d := range differences {
		d = max(d, -d)
		if d == 0 {
			continue
		}
		clear(next)
		for s := total - reach; s <= total+reach; s++ {
			next[s-d] += law[s] / 2
			next[s+d] += law[s] / 2
		}
		law, next = next, law
		reach += d
	}
	tail := 0.0
	for s := total; s >= sum; s-- {
		tail += law[total+s]
	}
	return min(1, 2*tail)
}
