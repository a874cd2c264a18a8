package calc

import (
	"math"
	"slices"

	"scanledger/queries/stats"
)

var mixMethods = []Method{
	method("homogeneity", "Whether groups share one mix of categories, and how far apart their mixes are",
		"Pearson 1900; Williams 1976; Cramer 1946; Lin 1991", homogeneity),
	method("goodness-of-fit", "Whether counts agree with shares known beforehand, such as even shares of last digits", "Pearson 1900", goodnessOfFit),
}

type goodnessIn struct {
	Counts []count   `json:"counts" calc:"required"`
	Shares []float64 `json:"shares"` // left out: even
}

type goodnessOut struct {
	ChiSquared Num `json:"chi_squared"`
	DF         int `json:"df"`
	P          Num `json:"p"`
}

func goodnessOfFit(in goodnessIn) (goodnessOut, error) {
	counts := countRows([][]count{in.Counts})[0]
	if in.Shares == nil {
		in.Shares = slices.Repeat([]float64{1}, len(counts))
	}
	test, err := stats.GoodnessOfFit(counts, in.Shares)
	return goodnessOut{Num(test.Statistic), test.DF, Num(test.P)}, err
}

type homogeneityIn struct {
	Table [][]count `json:"table" calc:"required"`
}

type homogeneityOut struct {
	ChiSquared  Num   `json:"pearson_chisq"`
	DF          int   `json:"df"`
	ChiSquaredP Num   `json:"pearson_p"`
	G           Num   `json:"g"`
	GP          Num   `json:"g_p"`
	WilliamsQ   Num   `json:"williams_q"`
	GWilliams   Num   `json:"g_williams"`
	GWilliamsP  Num   `json:"g_williams_p"`
	CramerV     Num   `json:"cramers_v"`
	MinExpected Num   `json:"min_expected"`
	WeightedJS  Num   `json:"js_divergence_weighted_nats"`
	EqualJS     Num   `json:"js_divergence_equal_weights_nats"`
	EqualJSBits Num   `json:"js_divergence_equal_weights_bits"`
	JSDistance  Num   `json:"js_distance_base2"`
	GiniSimpson []Num `json:"gini_simpson_rows"`
	EntropyNats []Num `json:"entropy_nats_rows"`
	*mixPairOut       // of a table of two rows only
}

type mixPairOut struct {
	TotalVariation Num    `json:"total_variation"`
	Hellinger      Num    `json:"hellinger"`
	EarthMover     Num    `json:"ordered_emd_unit_steps"`
	KLNats         [2]Num `json:"kl_nats"`
}

func homogeneity(in homogeneityIn) (homogeneityOut, error) {
	table := countRows(in.Table)
	h, err := stats.HomogeneityTest(table)
	if err != nil {
		return homogeneityOut{}, err
	}
	out := homogeneityOut{
		ChiSquared: Num(h.Pearson.Statistic), DF: h.Pearson.DF, ChiSquaredP: Num(h.Pearson.P),
		G: Num(h.G.Statistic), GP: Num(h.G.P),
		WilliamsQ: Num(h.WilliamsQ), GWilliams: Num(h.Williams.Statistic), GWilliamsP: Num(h.Williams.P),
		CramerV: Num(h.CramerV), MinExpected: Num(h.MinExpected),
		WeightedJS: Num(h.WeightedJS), EqualJS: Num(h.EqualJS), EqualJSBits: Num(h.EqualJS / math.Ln2),
		JSDistance:  Num(stats.JensenShannonDistance(h.EqualJS)),
		GiniSimpson: nums(h.GiniSimpson), EntropyNats: nums(h.Entropy),
	}
	if len(table) == 2 {
		d, err := stats.DistanceOfMixes(stats.Shares(table[0]), stats.Shares(table[1]))
		if err != nil {
			return homogeneityOut{}, err
		}
		out.mixPairOut = &mixPairOut{
			Num(d.TotalVariation), Num(d.Hellinger), Num(d.EarthMover), [2]Num{Num(d.KullbackNats[0]), Num(d.KullbackNats[1])},
		}
	}
	return out, nil
}
