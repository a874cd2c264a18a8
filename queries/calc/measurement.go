package calc

import (
	"math"

	"scanledger/queries/stats"
)

var measurementMethods = []Method{
	method("repeatability-reproducibility", "Scatter of results within and between laboratories, kits or inspectors",
		"ISO 5725-2:1994; ASTM E691", repeatability),
	method("gauge-rr-crossed", "Share of the scatter that comes from the gauge and its operators",
		"AIAG MSA 4th ed. 2010", gaugeStudy),
	method("attribute-agreement", "Agreement of appraisers who pass or reject, with themselves, each other and a standard",
		"AIAG MSA 4th ed. 2010; Cohen 1960; Fleiss 1971", attributeAgreement),
}

type repeatabilityIn struct {
	Values [][]real `json:"values" calc:"required"`
}

type repeatabilityOut struct {
	Labs                 int   `json:"labs"`
	GrandMean            Num   `json:"grand_mean"`
	MeanOfMeans          Num   `json:"mean_of_lab_means"`
	SDOfMeans            Num   `json:"sd_of_lab_means"`
	RepeatabilitySD      Num   `json:"s_r"`
	BetweenSD            Num   `json:"s_L"`
	ReproducibilitySD    Num   `json:"s_R"`
	RepeatabilityLimit   Num   `json:"repeatability_limit_2_8"`
	ReproducibilityLimit Num   `json:"reproducibility_limit_2_8"`
	MeanReplicates       Num   `json:"n_bar"`
	CochranC             Num   `json:"cochran_C"`
	GrubbsHigh           Num   `json:"grubbs_high"`
	GrubbsLow            Num   `json:"grubbs_low"`
	MandelH              []Num `json:"mandel_h"`
	MandelK              []Num `json:"mandel_k"`
	F                    Num   `json:"f_statistic"`
	P                    Num   `json:"f_p"`
}

func repeatability(in repeatabilityIn) (repeatabilityOut, error) {
	r, err := stats.RepeatabilityStudy(realRows(in.Values))
	return repeatabilityOut{
		Labs: len(in.Values), GrandMean: Num(r.GrandMean), MeanOfMeans: Num(r.MeanOfMeans), SDOfMeans: Num(r.SDOfMeans),
		RepeatabilitySD: Num(r.RepeatabilitySD), BetweenSD: Num(r.BetweenSD), ReproducibilitySD: Num(r.ReproducibilitySD),
		RepeatabilityLimit:   Num(r.RepeatabilityLimit()),
		ReproducibilityLimit: Num(r.ReproducibilityLimit()),
		MeanReplicates:       Num(r.MeanReplicates), CochranC: Num(r.CochranC),
		GrubbsHigh: Num(r.GrubbsHigh), GrubbsLow: Num(r.GrubbsLow), MandelH: nums(r.MandelH), MandelK: nums(r.MandelK),
		F: Num(r.F), P: Num(r.P),
	}, err
}

func realRows(table [][]real) [][]float64 {
	out := make([][]float64, len(table))
	for i, row := range table {
		out[i] = reals(row)
	}
	return out
}

type gaugeIn struct {
	Values [][][]real `json:"values" calc:"required"`
}

type gaugeOut struct {
	SumOfSquares []Num         `json:"ss_part_operator_interaction_error"`
	DF           [4]int        `json:"df"`
	MeanSquares  []Num         `json:"mean_squares"`
	F            []Num         `json:"f_part_operator_interaction"`
	P            []Num         `json:"p_part_operator_interaction"`
	Interaction  gaugeModelOut `json:"with_interaction"`
	Pooled       gaugePoolOut  `json:"without_interaction_pooled"`
	Range        gaugeRangeOut `json:"average_and_range"`
}

type gaugeModelOut struct {
	Repeatability      Num `json:"var_repeatability"`
	Interaction        Num `json:"var_interaction"`
	Operator           Num `json:"var_operator"`
	Reproducibility    Num `json:"var_reproducibility"`
	Gauge              Num `json:"var_gauge"`
	Part               Num `json:"var_part"`
	Total              Num `json:"var_total"`
	Contribution       Num `json:"percent_contribution_gauge"`
	StudyVariation     Num `json:"percent_study_variation_gauge"`
	DistinctCategories Num `json:"ndc_untruncated"`
}

type gaugePoolOut struct {
	MeanSquareError    Num `json:"mean_square_error"`
	FPart              Num `json:"f_part"`
	FOperator          Num `json:"f_operator"`
	Repeatability      Num `json:"var_repeatability"`
	Operator           Num `json:"var_operator"`
	Gauge              Num `json:"var_gauge"`
	Part               Num `json:"var_part"`
	Total              Num `json:"var_total"`
	SDRepeatability    Num `json:"sd_repeatability"`
	SDOperator         Num `json:"sd_operator"`
	SDGauge            Num `json:"sd_gauge"`
	SDPart             Num `json:"sd_part"`
	SDTotal            Num `json:"sd_total"`
	Contribution       Num `json:"percent_contribution_gauge"`
	StudyVariation     Num `json:"percent_study_variation_gauge"`
	DistinctCategories Num `json:"ndc_untruncated"`
}

type gaugeRangeOut struct {
	MeanRange          Num `json:"rbar"`
	OperatorRange      Num `json:"xbar_diff"`
	PartRange          Num `json:"part_range"`
	EV                 Num `json:"EV"`
	AV                 Num `json:"AV"`
	GRR                Num `json:"GRR"`
	PV                 Num `json:"PV"`
	TV                 Num `json:"TV"`
	PercentGRR         Num `json:"percent_GRR"`
	DistinctCategories Num `json:"ndc_untruncated"`
	K1                 Num `json:"K1"`
	K2                 Num `json:"K2"`
	K3                 Num `json:"K3"`
}

func gaugeStudy(in gaugeIn) (gaugeOut, error) {
	values := make([][][]float64, len(in.Values))
	for i, part := range in.Values {
		values[i] = realRows(part)
	}
	g, err := stats.GaugeStudy(values)
	return gaugeOut{
		SumOfSquares: nums(g.SumOfSquares[:]), DF: g.DF, MeanSquares: nums(g.MeanSquare[:]), F: nums(g.F[:]), P: nums(g.P[:]),
		Interaction: gaugeModel(g.Interaction), Pooled: gaugePool(g), Range: gaugeRange(g.Range),
	}, err
}

func gaugeModel(c stats.GaugeComponents) gaugeModelOut {
	return gaugeModelOut{
		Num(c.Repeatability), Num(c.Interaction), Num(c.Operator), Num(c.Reproducibility()),
		Num(c.Gauge()), Num(c.Part), Num(c.Total()),
		Num(c.Contribution()), Num(c.StudyVariation()), Num(c.DistinctCategories()),
	}
}

func gaugePool(g stats.CrossedGauge) gaugePoolOut {
	c := g.Pooled
	sd := func(variance float64) Num { return Num(math.Sqrt(variance)) }
	return gaugePoolOut{
		Num(c.Repeatability), Num(g.PooledF[0]), Num(g.PooledF[1]),
		Num(c.Repeatability), Num(c.Operator), Num(c.Gauge()), Num(c.Part), Num(c.Total()),
		sd(c.Repeatability), sd(c.Operator), sd(c.Gauge()), sd(c.Part), sd(c.Total()),
		Num(c.Contribution()), Num(c.StudyVariation()), Num(c.DistinctCategories()),
	}
}

func gaugeRange(r stats.AverageAndRange) gaugeRangeOut {
	return gaugeRangeOut{
		Num(r.MeanRange), Num(r.OperatorRange), Num(r.PartRange),
		Num(r.EquipmentVar), Num(r.AppraiserVar), Num(r.GaugeRR), Num(r.PartVar), Num(r.TotalVar),
		Num(r.PercentGaugeRR), Num(r.DistinctCategories),
		Num(r.TrialFactor), Num(r.OperatorFactor), Num(r.PartFactor),
	}
}
