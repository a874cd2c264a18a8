package queries

import (
	"fmt"
	"strings"

	"scanledger/queries/stats"
)

// WeightRow is how many point-visits of one material and call a checked one stands for.
type WeightRow struct {
	Material      string `json:"material"`
	Call          string `json:"call"`
	PointVisits   int64  `json:"point_visits"`
	Verified      int64  `json:"verified"`
	Active        int64  `json:"active"`
	VerifiedShare Figure `json:"verified_share"`
	Weight        Figure `json:"weight"` // unknown where none was checked
	LeftOut       bool   `json:"left_out"`
}

func (d *desk) verificationWeights() error {
	rows, q, err := run(d, "verification_weights", d.months(), func(scan func(...any) error, r *WeightRow) error {
		err := scan(&r.Material, &r.Call, &r.PointVisits, &r.Verified, &r.Active)
		r.VerifiedShare, r.Weight, r.LeftOut = share(r.Verified, r.PointVisits), share(r.PointVisits, r.Verified), r.Verified == 0
		return err
	})
	if err != nil {
		return err
	}
	d.book.Weights = rows
	d.conclude(q, rows, leftOut(rows)...)
	return nil
}

// leftOut names the classes nothing stands for.
func leftOut(rows []WeightRow) []string {
	var classes []string
	for _, r := range rows {
		if r.LeftOut {
			classes = append(classes, fmt.Sprintf("%s on %s (%d)", r.Call, r.Material, r.PointVisits))
		}
	}
	if classes == nil {
		return nil
	}
	return []string{"None of these point-visits was checked, so weighted figures leave them out: " + strings.Join(classes, ", ") + "."}
}

// class is the point-visits that share a weight.
type class struct{ material, call string }

// weights are the weights of the classes that have one.
func weights(rows []WeightRow) map[class]float64 {
	out := map[class]float64{}
	for _, r := range rows {
		if !r.LeftOut {
			out[class{r.Material, r.Call}] = float64(r.Weight)
		}
	}
	return out
}

// prevalences is the share of active points among the point-visits of each material, every checked
// one weighted.
func prevalences(rows []WeightRow) map[string]Figure {
	active, all := map[string]float64{}, map[string]float64{}
	for _, r := range rows {
		if !r.LeftOut {
			active[r.Material] += float64(r.Weight) * float64(r.Active)
			all[r.Material] += float64(r.PointVisits)
		}
	}
	out := map[string]Figure{}
	for material, n := range all {
		out[material] = Figure(active[material] / n)
	}
	return out
}

// weighted gathers weighted readings site by site.
type weighted struct {
	n     int64 // readings, unweighted
	sites []stats.WeightedCluster
	last  int64
}

// add counts readings of one site, whose rows come one after another.
func (w *weighted) add(site int64, n, events int64, weight float64) {
	if n == 0 {
		return
	}
	if len(w.sites) == 0 || site != w.last {
		w.sites, w.last = append(w.sites, stats.WeightedCluster{}), site
	}
	w.n += n
	w.sites[len(w.sites)-1].Add(int(n), int(events), weight)
}

// weightedRate is a weighted share with its interval and whether to show it.
type weightedRate struct {
	stats.Estimate
	effective float64 // independent readings that would tell as much
	whyNot    string  // "" where it can be shown
}

func (w *weighted) rate(floor int) (weightedRate, error) {
	if w.n == 0 {
		return weightedRate{unknownEstimate(), 0, "no cases"}, nil
	}
	e, kish, err := stats.WeightedClusterProportion(w.sites, Confidence)
	if err != nil {
		return weightedRate{}, err
	}
	return rated(e, w.n, kish, floor), nil
}

// rated judges an estimate from n cases that tell at most as much as kish independent ones. The
// interval is Korn and Graubard's, as for unweighted rates (see shown), with an effective n of at most
// n: sites whose weighted shares are alike by chance would else make 24% to 29% of 21 in 80 readings.
// Kish's n is no such bound, for weights here go with the call and so with what was shown: held to
// it, intervals of 95% cover 99.5% (TestWeightedCoverage). At 0 and 100%, where nothing is known of
// heavy cases that went the other way, the exact interval is on Kish's n.
func rated(e stats.ClusterEstimate, n int64, kish float64, floor int) weightedRate {
	if e.P != 0 && e.P != 1 {
		e.KornGraubard = e.KornGraubardAtMost(float64(n), Confidence)
	}
	out := weightedRate{Estimate: stats.Estimate{Value: e.P, Low: e.KornGraubard.Low, High: e.KornGraubard.High, Conf: Confidence, N: int(n)}, effective: kish}
	if e.EffectiveN < kish {
		out.effective = e.EffectiveN
	}
	_, out.whyNot = presentable(e, int(n), kish, floor)
	return out
}

func unknownEstimate() stats.Estimate {
	nan := float64(Unknown)
	return stats.Estimate{Value: nan, Low: nan, High: nan, Conf: Confidence}
}
