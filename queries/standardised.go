package queries

import (
	"fmt"
	"slices"
	"strings"

	"scanledger/queries/stats"
)

// StandardisedRow is one region's rate, raw and on the whole business's mix of materials.
type StandardisedRow struct {
	Region           string `json:"region"`
	PointVisits      int64  `json:"point_visits"`
	Active           int64  `json:"active"`
	Sites            int64  `json:"sites"`
	RawRate          Figure `json:"raw_rate"`
	RawLow           Figure `json:"raw_low"`
	RawHigh          Figure `json:"raw_high"`
	Rate             Figure `json:"standardised_rate"`
	Low              Figure `json:"standardised_low"`
	High             Figure `json:"standardised_high"`
	Difference       Figure `json:"difference"`
	MaterialsMissing string `json:"materials_missing"` // codes, joined by "; "
	WeightCovered    Figure `json:"weight_covered"`
	Enough           bool   `json:"enough"`
	WhyNot           string `json:"why_not"`
}

const (
	// minStratumSites is at how many sites a region must have tested a material for its rate there to
	// count: with one the variance would be taken as none. Five is the house's choice.
	minStratumSites = 5
	// minWeightCovered of the business's mix makes a standardised rate worth comparing: the house's choice.
	minWeightCovered = 0.9
)

// materialPair holds the sums of one region over sites for a pair of materials.
type materialPair struct {
	region, material, other string
	sites, sitesOfPair      int
	n, active               int // of the first material
	sums                    stats.PairSums
}

func (d *desk) regionStandardised() error {
	pairs, q, err := run(d, "region_standardised", d.months(), func(scan func(...any) error, r *materialPair) error {
		return scan(&r.region, &r.material, &r.other, &r.sites, &r.sitesOfPair, &r.n, &r.active,
			&r.sums.EventsEvents, &r.sums.EventsUnits, &r.sums.UnitsEvents, &r.sums.UnitsUnits)
	})
	if err != nil {
		return err
	}
	mix, rows := materialMix(pairs), []StandardisedRow{}
	for start, end := 0, 0; start < len(pairs); start = end {
		for end < len(pairs) && pairs[end].region == pairs[start].region {
			end++
		}
		row, err := standardise(pairs[start:end], mix, d.book.Floor)
		if err != nil {
			return fmt.Errorf("analysis region_standardised, %s: %w", row.Region, err)
		}
		rows = append(rows, row)
	}
	d.book.RegionStandardised = rows
	d.conclude(q, rows)
	return nil
}

// materialShare is the share of all regions' point-visits on one material.
type materialShare struct {
	material string
	share    float64
}

// materialMix is the whole business's mix, in order of codes.
func materialMix(pairs []materialPair) []materialShare {
	counts, total := map[string]int{}, 0
	var materials []string
	for _, p := range pairs {
		if p.material != p.other {
			continue
		}
		if counts[p.material] == 0 {
			materials = append(materials, p.material)
		}
		counts[p.material] += p.n
		total += p.n
	}
	slices.Sort(materials)
	mix := make([]materialShare, len(materials))
	for i, m := range materials {
		mix[i] = materialShare{m, float64(counts[m]) / float64(total)}
	}
	return mix
}

// standardise gives one region's raw and standardised rate.
func standardise(pairs []materialPair, mix []materialShare, floor int) (StandardisedRow, error) {
	row := StandardisedRow{Region: pairs[0].region, Sites: int64(pairs[0].sites), Rate: Unknown, Low: Unknown, High: Unknown, Difference: Unknown}
	sums := rawSums(pairs)
	row.PointVisits, row.Active = int64(sums.Units), int64(sums.Events)
	raw, err := clusterRate(sums, floor)
	if err != nil {
		return row, err
	}
	row.RawRate, row.RawLow, row.RawHigh = raw.Rate, raw.Low, raw.High
	row.Enough, row.WhyNot = raw.Enough, raw.WhyNot
	strata, at := row.strata(pairs, mix)
	if len(strata) == 0 {
		row.Enough, row.WhyNot = false, fmt.Sprintf("no material was tested at %d sites", minStratumSites)
		return row, nil
	}
	return row, row.onMix(strata, stratumPairs(pairs, at), floor)
}

// rawSums are the sums over sites of all materials together: the square of a sum is the sum over pairs.
func rawSums(pairs []materialPair) stats.ClusterSums {
	s := stats.ClusterSums{Clusters: pairs[0].sites}
	for _, p := range pairs {
		if p.material == p.other {
			s.Units += p.n
			s.Events += p.active
		}
		s.EventsSquared += p.sums.EventsEvents
		s.EventsUnits += p.sums.EventsUnits
		s.UnitsSqrd += p.sums.UnitsUnits
	}
	return s
}

// strata are the materials of the mix that the region tested at enough sites, with their weights
// raised to sum to 1; at gives their positions. It notes those missing.
func (r *StandardisedRow) strata(pairs []materialPair, mix []materialShare) (strata []stats.StratumSums, at map[string]int) {
	at = map[string]int{}
	var missing []string
	covered := 0.0
	for _, m := range mix {
		i := slices.IndexFunc(pairs, func(p materialPair) bool { return p.material == m.material && p.other == m.material })
		if i < 0 || pairs[i].sitesOfPair < minStratumSites {
			missing = append(missing, m.material)
			continue
		}
		at[m.material] = len(strata)
		strata = append(strata, stats.StratumSums{Weight: m.share, Units: pairs[i].n, Events: pairs[i].active})
		covered += m.share
	}
	for i := range strata {
		strata[i].Weight /= covered
	}
	r.MaterialsMissing, r.WeightCovered = strings.Join(missing, "; "), Figure(min(1, covered))
	return strata, at
}

// stratumPairs are the sums of the pairs of which both materials count.
func stratumPairs(pairs []materialPair, at map[string]int) []stats.PairSums {
	var out []stats.PairSums
	for _, p := range pairs {
		a, okA := at[p.material]
		b, okB := at[p.other]
		if okA && okB {
			p.sums.A, p.sums.B = a, b
			out = append(out, p.sums)
		}
	}
	return out
}

// onMix fills the standardised rate.
func (r *StandardisedRow) onMix(strata []stats.StratumSums, pairs []stats.PairSums, floor int) error {
	e, err := stats.StandardisedProportion(strata, pairs, int(r.Sites), Confidence)
	if err != nil {
		return err
	}
	r.Rate, r.Low, r.High = Figure(e.P), Figure(e.KornGraubard.Low), Figure(e.KornGraubard.High)
	r.Difference = r.Rate - r.RawRate
	units := 0
	for _, s := range strata {
		units += s.Units
	}
	if r.Enough {
		r.Enough, r.WhyNot = worthShowing(e, units, floor)
	}
	if r.Enough && r.WeightCovered < minWeightCovered {
		r.Enough, r.WhyNot = false, "too little of the business's mix of materials is tested in the region"
	}
	return nil
}
