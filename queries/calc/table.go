package calc

import (
	"fmt"

	"scanledger/queries/stats"
)

var tableMethods = []Method{
	method("cochran-mantel-haenszel", "one association over two-by-two strata, and whether the strata agree",
		"Cochran 1954; Mantel and Haenszel 1959; Robins, Breslow and Greenland 1986; Breslow and Day 1980; Tarone 1985; Woolf 1955",
		cochranMantelHaenszel),
	method("cochran-armitage", "trend of a share over ordered groups", "Cochran 1954; Armitage 1955; Mantel 1963", cochranArmitage),
	method("fisher-exact", "exact test of one two-by-two table", "Fisher 1935; Irwin 1935; Lancaster 1961; Cornfield 1956", fisherExact),
	method("hypergeometric", "chance of a draw without replacement", "Johnson, Kotz and Kemp 1992", hypergeometric),
}

type strataIn struct {
	Strata [][]count `json:"strata" calc:"required"`
	confidence
}

type strataOut struct {
	Uncorrected  Num      `json:"cmh_chisq_uncorrected"`
	PUncorrected Num      `json:"cmh_p_uncorrected"`
	Continuity   Num      `json:"cmh_chisq_continuity"`
	PContinuity  Num      `json:"cmh_p_continuity"`
	OddsRatio    Num      `json:"common_odds_ratio"`
	LogVariance  Num      `json:"log_or_variance_rbg"`
	CI           limits   `json:"ci_rbg"`
	BreslowDay   Num      `json:"breslow_day_chisq"`
	BreslowDayDF int      `json:"breslow_day_df"`
	BreslowDayP  Num      `json:"breslow_day_p"`
	Tarone       Num      `json:"tarone_chisq"`
	TaroneP      Num      `json:"tarone_p"`
	Woolf        Num      `json:"woolf_homogeneity_chisq"`
	WoolfP       Num      `json:"woolf_p"`
	Warnings     []string `json:"warnings,omitempty"`
}

func cochranMantelHaenszel(in strataIn) (strataOut, error) {
	strata := make([]stats.Table2x2, len(in.Strata))
	for i, row := range in.Strata {
		if len(row) != 4 {
			return strataOut{}, fmt.Errorf("strata: row %d has %d counts: give a, b, c, d", i+1, len(row))
		}
		strata[i] = stats.Table2x2{A: int(row[0]), B: int(row[1]), C: int(row[2]), D: int(row[3])}
	}
	r, err := stats.CochranMantelHaenszel(strata, in.level())
	return strataOut{
		Uncorrected: Num(r.Uncorrected.Statistic), PUncorrected: Num(r.Uncorrected.P),
		Continuity: Num(r.Continuity.Statistic), PContinuity: Num(r.Continuity.P),
		OddsRatio: Num(r.OddsRatio.Value), LogVariance: Num(r.LogVariance),
		CI:         endsOf(r.OddsRatio),
		BreslowDay: Num(r.BreslowDay.Statistic), BreslowDayDF: r.BreslowDay.DF, BreslowDayP: Num(r.BreslowDay.P),
		Tarone: Num(r.Tarone.Statistic), TaroneP: Num(r.Tarone.P),
		Woolf: Num(r.Woolf.Statistic), WoolfP: Num(r.Woolf.P),
		Warnings: r.OddsRatio.Warnings,
	}, err
}

type trendIn struct {
	Events []count `json:"events" calc:"required"`
	Totals []count `json:"totals" calc:"required"`
	Scores []real  `json:"scores"`
}

type trendOut struct {
	Z           Num `json:"z"`
	ChiSquare   Num `json:"chisq"`
	P           Num `json:"p_two_sided"`
	Mantel      Num `json:"mantel_m2_n_minus_1"`
	MantelP     Num `json:"mantel_p"`
	Pearson     Num `json:"pearson_chisq"`
	PearsonDF   int `json:"pearson_df"`
	PearsonP    Num `json:"pearson_p"`
	Departure   Num `json:"departure_from_trend_chisq"`
	DepartureDF int `json:"departure_df"`
	DepartureP  Num `json:"departure_p"`
	G2          Num `json:"g2"`
	Slope       Num `json:"linear_slope"`
}

func cochranArmitage(in trendIn) (trendOut, error) {
	r, err := stats.CochranArmitage(ints(in.Events), ints(in.Totals), reals(in.Scores))
	return trendOut{
		Z: Num(r.Z), ChiSquare: Num(r.Trend.Statistic), P: Num(r.P),
		Mantel: Num(r.Mantel.Statistic), MantelP: Num(r.Mantel.P),
		Pearson: Num(r.Pearson.Statistic), PearsonDF: r.Pearson.DF, PearsonP: Num(r.Pearson.P),
		Departure: Num(r.Departure.Statistic), DepartureDF: r.Departure.DF, DepartureP: Num(r.Departure.P),
		G2: Num(r.G2.Statistic), Slope: Num(r.Slope),
	}, err
}

type fisherIn struct {
	A count `json:"a" calc:"required"`
	B count `json:"b" calc:"required"`
	C count `json:"c" calc:"required"`
	D count `json:"d" calc:"required"`
	confidence
}

type fisherOut struct {
	TwoSided        Num      `json:"p_two_sided"`
	Greater         Num      `json:"p_greater"`
	Less            Num      `json:"p_less"`
	Point           Num      `json:"point_probability"`
	MidGreater      Num      `json:"midp_greater"`
	MidLess         Num      `json:"midp_less"`
	MidDoubled      Num      `json:"midp_two_sided_doubled"`
	MidMinLike      Num      `json:"midp_two_sided_minlike"`
	SampleOddsRatio Num      `json:"sample_odds_ratio"`
	ExactOneSided   Num      `json:"exact_one_sided"` // p_greater, under its textbook name
	ExactTwoSided   Num      `json:"exact_two_sided"`
	UnirootMLE      Num      `json:"conditional_mle_odds_ratio"` // to R's root tolerance, as published values have it
	UnirootCI       limits   `json:"conditional_ci"`
	ConditionalMLE  Num      `json:"conditional_mle_odds_ratio_full_precision"`
	ConditionalCI   limits   `json:"conditional_ci_full_precision"`
	Warnings        []string `json:"warnings,omitempty"`
}

func fisherExact(in fisherIn) (fisherOut, error) {
	t := stats.Table2x2{A: int(in.A), B: int(in.B), C: int(in.C), D: int(in.D)}
	r, err := stats.FisherExact(t, in.level())
	odds, uniroot := r.ConditionalOddsRatio, r.UnirootOddsRatio
	return fisherOut{
		TwoSided: Num(r.TwoSided), Greater: Num(r.Greater), Less: Num(r.Less), Point: Num(r.Point),
		MidGreater: Num(r.MidGreater), MidLess: Num(r.MidLess),
		MidDoubled: Num(r.MidDoubled), MidMinLike: Num(r.MidMinLike),
		SampleOddsRatio: Num(r.SampleOddsRatio),
		ExactOneSided:   Num(r.Greater), ExactTwoSided: Num(r.TwoSided),
		UnirootMLE: Num(uniroot.Value), UnirootCI: endsOf(uniroot),
		ConditionalMLE: Num(odds.Value), ConditionalCI: endsOf(odds),
		Warnings: odds.Warnings,
	}, err
}

type hypergeometricIn struct {
	Population count `json:"population" calc:"required"`
	Marked     count `json:"marked" calc:"required"`
	Sample     count `json:"sample" calc:"required"`
	Observed   count `json:"observed" calc:"required"`
}

type hypergeometricOut struct {
	Upper Num `json:"p_upper"`
	Lower Num `json:"p_lower"`
	Point Num `json:"pmf"`
	Exact Num `json:"exact_pmf"` // pmf, which is exact here
}

func hypergeometric(in hypergeometricIn) (hypergeometricOut, error) {
	r, err := stats.Hypergeometric(int(in.Population), int(in.Marked), int(in.Sample), int(in.Observed))
	return hypergeometricOut{Upper: Num(r.Upper), Lower: Num(r.Lower), Point: Num(r.Point), Exact: Num(r.Point)}, err
}
