package calc

import "scanledger/queries/stats"

var agreementMethods = []Method{
	method("kappa", "agreement of two raters",
		"Cohen 1960, 1968; Fleiss, Cohen and Everitt 1969; Scott 1955; Byrt, Bishop and Carlin 1993; Gwet 2008", kappa),
	method("fleiss-kappa", "agreement of a fixed number of raters", "Fleiss 1971; Fleiss, Nee and Landis 1979", fleissKappa),
	method("krippendorff-alpha", "agreement of raters with missing ratings", "Krippendorff 2011", krippendorffAlpha),
	method("mcnemar", "two calls on the same subjects", "McNemar 1947; Edwards 1948; Fagerland, Lydersen and Laake 2013", mcNemar),
}

type kappaIn struct {
	Table [][]count `json:"table" calc:"required"`
	confidence
}

type kappaOut struct {
	Observed    Num      `json:"observed_agreement"`
	Chance      Num      `json:"chance_agreement"`
	Kappa       Num      `json:"kappa"`
	SE          Num      `json:"kappa_se"`
	NullSE      Num      `json:"kappa_se_null"`
	CI          limits   `json:"kappa_ci"`
	Linear      Num      `json:"kappa_linear"`
	LinearSE    Num      `json:"kappa_linear_se"`
	Quadratic   Num      `json:"kappa_quadratic"`
	QuadraticSE Num      `json:"kappa_quadratic_se"`
	AC1         Num      `json:"gwet_ac1"`
	AC1SE       Num      `json:"gwet_ac1_se_irrCAC_4_or_5_digits"` // the examples' name; given to all digits
	ScottPi     Num      `json:"scott_pi"`
	PABAK       Num      `json:"brennan_prediger_pabak"`
	Alpha       Num      `json:"krippendorff_alpha_nominal_irrCAC_rounded"` // the examples' name; given to all digits
	Warnings    []string `json:"warnings,omitempty"`
}

func kappa(in kappaIn) (kappaOut, error) {
	r, err := stats.AgreementOfTwo(countRows(in.Table), in.level())
	return kappaOut{
		Observed: Num(r.Observed), Chance: Num(r.Chance),
		Kappa: Num(r.Kappa.Value), SE: Num(r.SE), NullSE: Num(r.NullSE), CI: endsOf(r.Kappa),
		Linear: Num(r.Linear.Value), LinearSE: Num(r.Linear.SE),
		Quadratic: Num(r.Quadratic.Value), QuadraticSE: Num(r.Quadratic.SE),
		AC1: Num(r.AC1.Value), AC1SE: Num(r.AC1.SE),
		ScottPi: Num(r.ScottPi), PABAK: Num(r.BrennanPrediger), Alpha: Num(r.Alpha),
		Warnings: r.Kappa.Warnings,
	}, err
}

type fleissIn struct {
	Counts [][]count `json:"counts" calc:"required"`
	Raters *count    `json:"raters"` // null: as many as rated the first subject
}

type fleissOut struct {
	Observed      Num   `json:"mean_pairwise_agreement"`
	Chance        Num   `json:"chance_agreement"`
	Kappa         Num   `json:"fleiss_kappa"`
	SE1971        Num   `json:"se_fleiss1971"`
	SE1979        Num   `json:"se_fleiss_nee_landis_1979"`
	Z             Num   `json:"z_1979"`
	Proportions   []Num `json:"category_proportions"`
	CategoryKappa []Num `json:"category_kappa"`
	AC1           Num   `json:"gwet_ac1"`
	Alpha         Num   `json:"krippendorff_alpha_nominal"`
}

func fleissKappa(in fleissIn) (fleissOut, error) {
	raters := 0
	if in.Raters != nil {
		raters = int(*in.Raters)
	}
	r, err := stats.FleissKappa(countRows(in.Counts), raters)
	return fleissOut{
		Observed: Num(r.Observed), Chance: Num(r.Chance), Kappa: Num(r.Kappa),
		SE1971: Num(r.SE1971), SE1979: Num(r.SE1979), Z: Num(r.Z),
		Proportions: nums(r.Proportions), CategoryKappa: nums(r.CategoryKappa),
		AC1: Num(r.AC1), Alpha: Num(r.KrippendorffNominal),
	}, err
}

type ratingsIn struct {
	Ratings [][]*float64 `json:"ratings" calc:"required"` // by rater, then unit; null: missing
}

type alphaOut struct {
	Nominal  Num `json:"alpha_nominal"`
	Ordinal  Num `json:"alpha_ordinal"`
	Interval Num `json:"alpha_interval"`
}

func krippendorffAlpha(in ratingsIn) (alphaOut, error) {
	ratings := make([][]float64, len(in.Ratings))
	for i, row := range in.Ratings {
		ratings[i] = orNaN(row)
	}
	r, err := stats.KrippendorffAlpha(ratings)
	return alphaOut{Num(r.Nominal), Num(r.Ordinal), Num(r.Interval)}, err
}

type mcNemarIn struct {
	YesNo count `json:"first_yes_second_no" calc:"required"`
	NoYes count `json:"first_no_second_yes" calc:"required"`
	Both  count `json:"both_yes"` // checked, but agreeing pairs do not enter
	None  count `json:"both_no"`
}

type mcNemarOut struct {
	Exact       Num `json:"p_exact"`
	Mid         Num `json:"p_mid"`
	ChiSquare   Num `json:"chisq"`
	P           Num `json:"chisq_p"`
	Continuity  Num `json:"chisq_continuity"`
	ContinuityP Num `json:"chisq_continuity_p"`
	OddsRatio   Num `json:"conditional_odds_ratio"`
}

func mcNemar(in mcNemarIn) (mcNemarOut, error) {
	r, err := stats.McNemar(stats.Table2x2{A: int(in.Both), B: int(in.YesNo), C: int(in.NoYes), D: int(in.None)})
	return mcNemarOut{
		Exact: Num(r.Exact), Mid: Num(r.Mid),
		ChiSquare: Num(r.Plain.Statistic), P: Num(r.Plain.P),
		Continuity: Num(r.Continuity.Statistic), ContinuityP: Num(r.Continuity.P),
		OddsRatio: Num(r.ConditionalOddsRatio),
	}, err
}
