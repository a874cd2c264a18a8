package agreement

import (
	"math"

	"scanledger/queries/stats"
)

// Repeat is a set of readings of one person at one point, at one gain step, in one visit.
type Repeat struct {
	Site   string
	Levels []float64 // percent of full scale, those that were noted
	Active int       // readings called active
	Clear  int       // readings called clear
}

// Repeated is how far repeated readings scatter.
type Repeated struct {
	Sets, Readings int               // sets with two levels or more, and the levels in them
	SD             stats.Estimate    // of level within a set, percent of full scale; N counts sets
	Limit          float64           // 2.8 SD, which two readings exceed in one pair of twenty were they normal
	Same           stats.ClusterSums // sets whose calls are all the same, out of those with two calls or more
}

// Repeatability pools the scatter within sets (ISO 5725-2:1994, sets as its laboratories), with the
// interval of a jackknife over sites on the logarithm of the standard deviation, and counts sets whose
// calls agree. Sets come in the order of their sites.
func Repeatability(sets []Repeat, conf float64) (Repeated, error) {
	levels, sites := scattered(sets)
	unknown := math.NaN()
	out := Repeated{Sets: len(levels), SD: stats.Estimate{Value: unknown, Low: unknown, High: unknown, Conf: conf}, Limit: unknown}
	var err error
	if out.Same, err = sameCalls(sets); err != nil || len(levels) == 0 {
		return out, err
	}
	whole, err := stats.RepeatabilityStudy(levels)
	if err != nil {
		return out, err
	}
	log, err := stats.GroupJackknife(sites[len(sites)-1]+1, func(in func(int) bool) (float64, error) {
		return logScatter(levels, func(set int) bool { return in(sites[set]) })
	}, conf)
	out.SD.Value, out.SD.Low, out.SD.High, out.SD.N = whole.RepeatabilitySD, math.Exp(log.Low), math.Exp(log.High), len(levels)
	out.Limit = whole.RepeatabilityLimit()
	for _, set := range levels {
		out.Readings += len(set)
	}
	return out, err
}

// logScatter is the logarithm of the standard deviation within some of the sets; NaN for none.
func logScatter(levels [][]float64, in func(set int) bool) (float64, error) {
	var kept [][]float64
	for i, set := range levels {
		if in(i) {
			kept = append(kept, set)
		}
	}
	if len(kept) == 0 {
		return math.NaN(), nil
	}
	s, err := stats.RepeatabilityStudy(kept)
	return math.Log(s.RepeatabilitySD), err
}

// scattered are the levels of the sets with two or more, and the number of each one's site.
func scattered(sets []Repeat) (levels [][]float64, sites []int) {
	last := ""
	for _, s := range sets {
		if len(s.Levels) < 2 {
			continue
		}
		switch {
		case len(levels) == 0:
			sites = append(sites, 0)
		case s.Site == last:
			sites = append(sites, sites[len(sites)-1])
		default:
			sites = append(sites, sites[len(sites)-1]+1)
		}
		last = s.Site
		levels = append(levels, s.Levels)
	}
	return levels, sites
}

// sameCalls counts, by site, the sets with two calls or more and those of them whose calls are alike.
func sameCalls(sets []Repeat) (stats.ClusterSums, error) {
	var sizes, same []int
	last := ""
	for _, s := range sets {
		if s.Active+s.Clear < 2 {
			continue
		}
		if len(sizes) == 0 || s.Site != last {
			sizes, same = append(sizes, 0), append(same, 0)
		}
		last = s.Site
		sizes[len(sizes)-1]++
		if s.Active == 0 || s.Clear == 0 {
			same[len(same)-1]++
		}
	}
	if len(sizes) == 0 {
		return stats.ClusterSums{}, nil
	}
	return stats.SumClusters(sizes, same)
}
