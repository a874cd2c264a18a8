package queries

import (
	"math"

	"scanledger/queries/stats"
)

// ClusterRate is a share of point-visits or readings, with the sites they come from as clusters.
type ClusterRate struct {
	Rate         Figure `json:"rate"`
	Low          Figure `json:"low"`
	High         Figure `json:"high"`
	DesignEffect Figure `json:"design_effect"`
	NEffective   Figure `json:"n_effective"`
	Enough       bool   `json:"enough"`
	WhyNot       string `json:"why_not"`
}

func (r ClusterRate) interval() stats.Interval {
	return stats.Interval{Low: float64(r.Low), High: float64(r.High)}
}

// clusterRate turns the sums of a cut into its rate; without units nothing of it is known.
func clusterRate(s stats.ClusterSums, floor int) (ClusterRate, error) {
	if s.Units == 0 {
		return ClusterRate{Rate: Unknown, Low: Unknown, High: Unknown, DesignEffect: Unknown, NEffective: Unknown, WhyNot: belowFloor}, nil
	}
	e, err := stats.ClusterProportion(s, 0, Confidence)
	if err != nil {
		return ClusterRate{}, err
	}
	interval, err := shown(e, s)
	if err != nil {
		return ClusterRate{}, err
	}
	r := ClusterRate{Rate: Figure(e.P), Low: Figure(interval.Low), High: Figure(interval.High),
		DesignEffect: Figure(e.DesignEffect), NEffective: Figure(e.EffectiveN)}
	r.Enough, r.WhyNot = worthShowing(e, s.Units, floor)
	return r, nil
}

// shown is the interval to show: that of Korn and Graubard (1998), the exact one on the effective n
// with t for the number of sites. TestCoverage holds it to its 95 %; Wilson on the effective n, which
// is shorter, fell to 92 % for rare events at 40 sites that are much alike within. Where the sites
// do not differ at all, it is the exact one on the plain n.
func shown(e stats.ClusterEstimate, s stats.ClusterSums) (stats.Interval, error) {
	if e.Variance != 0 || e.P == 0 || e.P == 1 {
		return e.KornGraubard, nil
	}
	exact, err := stats.ClopperPearson(s.Events, s.Units, Confidence)
	return stats.Interval{Low: exact.Low, High: exact.High}, err
}

const belowFloor = "fewer cases than the floor"

// worthShowing applies the floor and the NCHS presentation standard, and says why not.
func worthShowing(e stats.ClusterEstimate, units, floor int) (bool, string) {
	return presentable(e, units, float64(units), floor)
}

// presentable is worthShowing for units that tell at most as much as so many independent ones.
func presentable(e stats.ClusterEstimate, units int, most float64, floor int) (bool, string) {
	if units < floor {
		return false, belowFloor
	}
	effective := e.EffectiveN
	if math.IsNaN(effective) || effective > most {
		effective = most
	}
	p := stats.PresentProportion(e.P, effective, float64(e.DF), e.KornGraubard)
	if p.Verdict == stats.Hold {
		return false, p.Reasons[0]
	}
	return true, ""
}
