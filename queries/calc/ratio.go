package calc

import (
	"errors"

	"scanledger/queries/stats"
)

var ratioMethods = []Method{
	method("observed-expected", "observed count against an expected one: exact, Byar and mid-p limits, p values; or the exact law of unequal probabilities",
		"Garwood 1936; Breslow & Day 1987; Hong 2013", observedExpected),
	method("funnel-binomial", "funnel limits for proportions, and over-dispersion",
		"Spiegelhalter 2005, Stat Med 24:1185-1202", funnelBinomial),
	method("funnel-poisson", "funnel limits for observed/expected ratios around 1",
		"Spiegelhalter 2005, Stat Med 24:1185-1202", funnelPoisson),
	method("beta-binomial", "spread of true rates between units, and rates shrunk towards the mean",
		"Williams 1975, Biometrics 31:949-952; Kleinman 1973, JASA 68:46-54", betaBinomial),
}

type observedExpectedIn struct {
	Observed      count    `json:"observed" calc:"required"`
	Expected      *float64 `json:"expected"`
	Probabilities []real   `json:"expected_probabilities"`
	confidence
}

type ratioOut struct {
	Ratio      Num    `json:"ratio"`
	ExactCount limits `json:"exact_count_limits"`
	ExactRatio limits `json:"exact_ratio_limits"`
	ByarRatio  limits `json:"byar_ratio_limits"`
	MidPRatio  limits `json:"midp_ratio_limits"`
	PUpper     Num    `json:"p_upper"`
	PLower     Num    `json:"p_lower"`
	PDoubled   Num    `json:"p_two_sided_doubled"`
	PMinLike   Num    `json:"p_two_sided_minlike"`
}

type poissonBinomialOut struct {
	Expected Num   `json:"expected"`
	Variance Num   `json:"variance"`
	PMF      []Num `json:"pmf"`
	PUpper   Num   `json:"p_upper"`
	Z        Num   `json:"z"`
}

func observedExpected(in observedExpectedIn) (any, error) {
	switch {
	case in.Expected != nil && in.Probabilities != nil:
		return nil, errors.New("both expected and expected_probabilities: give one of them")
	case in.Expected != nil:
		return countRatio(in)
	case in.Probabilities != nil:
		t, err := stats.PoissonBinomial(reals(in.Probabilities), int(in.Observed))
		return poissonBinomialOut{Num(t.Expected), Num(t.Variance), nums(t.PMF), Num(t.PUpper), Num(t.Z)}, err
	default:
		return nil, errors.New(`field "expected" is missing: give it or expected_probabilities`)
	}
}

func countRatio(in observedExpectedIn) (any, error) {
	r, err := stats.ObservedToExpected(int(in.Observed), *in.Expected, in.level())
	return ratioOut{
		Ratio: Num(r.Ratio), ExactCount: limitsOf(r.ExactCount), ExactRatio: limitsOf(r.ExactRatio),
		ByarRatio: limitsOf(r.ByarRatio), MidPRatio: limitsOf(r.MidPRatio),
		PUpper: Num(r.PUpper), PLower: Num(r.PLower), PDoubled: Num(r.PDoubled), PMinLike: Num(r.PMinLike),
	}, err
}

func limitRows(rows []stats.Interval) []limits {
	out := make([]limits, len(rows))
	for i, r := range rows {
		out[i] = limitsOf(r)
	}
	return out
}

type funnelBinomialIn struct {
	Events    []count  `json:"events" calc:"required"`
	Totals    []count  `json:"totals" calc:"required"`
	Winsorise *float64 `json:"winsorise_fraction"`
}

type funnelBinomialOut struct {
	Target         Num      `json:"target"`
	Limits         [][4]Num `json:"limits_0_001_0_025_0_975_0_999"`
	Z              []Num    `json:"naive_z"`
	WinsorLimits   limits   `json:"winsor_limits_type7"`
	WinsorisedZ    []Num    `json:"winsorised_z"`
	PhiRaw         Num      `json:"phi_raw"`
	Phi            Num      `json:"phi_winsorised"`
	ChiSquare      Num      `json:"overdispersion_test_chisq"`
	DF             int      `json:"overdispersion_df"`
	Tau2           Num      `json:"tau2_additive"`
	Multiplicative []limits `json:"inflated_limits_95_multiplicative"`
	Additive       []limits `json:"inflated_limits_95_additive"`
	ZAdditive      []Num    `json:"z_additive"`
	Flagged        []int    `json:"flagged_0_998_1based"`
}

func funnelBinomial(in funnelBinomialIn) (any, error) {
	f, err := stats.BinomialFunnel(ints(in.Events), ints(in.Totals), given(in.Winsorise, 0.1))
	if err != nil {
		return nil, err
	}
	out := funnelBinomialOut{
		Target: Num(f.Target), Limits: fourLimits(f.Limits), Z: nums(f.Z),
		WinsorLimits: limitsOf(f.Spread.WinsorLimits), WinsorisedZ: nums(f.Spread.WinsorisedZ),
		PhiRaw: Num(f.Spread.PhiRaw), Phi: Num(f.Spread.Phi),
		ChiSquare: Num(f.Spread.ChiSquare), DF: f.Spread.DF, Tau2: Num(f.Spread.Tau2),
		Multiplicative: limitRows(f.Multiplicative), Additive: limitRows(f.Additive),
		ZAdditive: nums(f.ZAdditive), Flagged: make([]int, len(f.Flagged)),
	}
	for i, unit := range f.Flagged {
		out.Flagged[i] = unit + 1
	}
	return out, nil
}

func fourLimits(rows []stats.FunnelLimits) [][4]Num {
	out := make([][4]Num, len(rows))
	for i, r := range rows {
		out[i] = [4]Num{Num(r.Low998), Num(r.Low95), Num(r.High95), Num(r.High998)}
	}
	return out
}

type funnelPoissonOut struct {
	Interpolated [][4]Num `json:"limits_0_001_0_025_0_975_0_999_interpolated"`
	ChiSquare    []limits `json:"limits_0_025_0_975_chisq_FunnelPlotR"`
}

func funnelPoisson(in struct {
	Expected []real `json:"expected" calc:"required"`
}) (funnelPoissonOut, error) {
	f, err := stats.PoissonFunnel(reals(in.Expected))
	return funnelPoissonOut{fourLimits(f.Interpolated), limitRows(f.ChiSquare)}, err
}

type betaBinomialOut struct {
	Alpha           Num    `json:"ml_alpha"`
	Beta            Num    `json:"ml_beta"`
	Mean            Num    `json:"ml_mean"`
	Rho             Num    `json:"ml_rho"`
	LogLik          Num    `json:"ml_loglik_with_binomial_coefficients"`
	SELogitMean     Num    `json:"se_logit_mean"`
	SELogitRho      Num    `json:"se_logit_rho"`
	Posterior       []Num  `json:"ml_posterior_means"`
	MomentMean      Num    `json:"moment_unweighted_mean"`
	MomentVariance  Num    `json:"moment_unweighted_var_n_minus_1"`
	MomentAlpha     Num    `json:"moment_alpha"`
	MomentBeta      Num    `json:"moment_beta"`
	MomentPosterior []Num  `json:"moment_posterior_means"`
	KleinmanMean    Num    `json:"kleinman_mean"`
	KleinmanRho     Num    `json:"kleinman_rho"`
	KleinmanAlpha   Num    `json:"kleinman_alpha"`
	KleinmanBeta    Num    `json:"kleinman_beta"`
	FirstInterval   limits `json:"ml_interval_first_unit_95"`
	BinomialLogLik  Num    `json:"binomial_loglik"`
	LRChiSquare     Num    `json:"lr_chisq_vs_binomial"`
}

func betaBinomial(in struct {
	Events []count `json:"events" calc:"required"`
	Totals []count `json:"totals" calc:"required"`
}) (any, error) {
	f, err := stats.BetaBinomial(ints(in.Events), ints(in.Totals))
	if err != nil {
		return nil, err
	}
	return betaBinomialOut{
		Alpha: Num(f.Prior.Alpha), Beta: Num(f.Prior.Beta), Mean: Num(f.Mean), Rho: Num(f.Rho),
		LogLik: Num(f.LogLik), SELogitMean: Num(f.SELogitMean), SELogitRho: Num(f.SELogitRho),
		Posterior:  nums(f.Posterior),
		MomentMean: Num(f.Moments.Mean), MomentVariance: Num(f.Moments.Variance),
		MomentAlpha: Num(f.Moments.Prior.Alpha), MomentBeta: Num(f.Moments.Prior.Beta), MomentPosterior: nums(f.Moments.Posterior),
		KleinmanMean: Num(f.Kleinman.Mean), KleinmanRho: Num(f.Kleinman.Rho),
		KleinmanAlpha: Num(f.Kleinman.Prior.Alpha), KleinmanBeta: Num(f.Kleinman.Prior.Beta),
		FirstInterval: limitsOf(f.Prior.Interval(int(in.Events[0]), int(in.Totals[0]), 0.95)), BinomialLogLik: Num(f.BinomialLogLik), LRChiSquare: Num(f.LRChiSquare),
	}, nil
}
