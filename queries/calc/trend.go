package calc

import "scanledger/queries/stats"

var trendMethods = []Method{
	method("mann-kendall", "rank test for a steady trend, with the Sen slope",
		"Mann 1945; Kendall 1975; Sen 1968, JASA 63:1379-1389", mannKendall),
}

type mannKendallIn struct {
	X []real `json:"x" calc:"required"`
	confidence
}

type mannKendallOut struct {
	S           int    `json:"S"`
	VarS        Num    `json:"var_S"`
	Z           Num    `json:"z_continuity"`
	P           Num    `json:"p_two_sided"`
	TauB        Num    `json:"tau_b"`
	TauA        Num    `json:"tau_a"`
	Slope       Num    `json:"sen_slope"`
	SlopeLimits limits `json:"sen_ci_rank_round"`
	Intercept   Num    `json:"sen_intercept_median_residual"`
	KendallP    Num    `json:"kendall_pkg_p"`
}

func mannKendall(in mannKendallIn) (mannKendallOut, error) {
	t, err := stats.MannKendall(reals(in.X), in.level())
	return mannKendallOut{
		S: t.S, VarS: Num(t.VarS), Z: Num(t.Z), P: Num(t.P), TauB: Num(t.TauB), TauA: Num(t.TauA),
		Slope: Num(t.Slope), SlopeLimits: limitsOf(t.SlopeLimits), Intercept: Num(t.Intercept), KendallP: Num(t.KendallP),
	}, err
}
