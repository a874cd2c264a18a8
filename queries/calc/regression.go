package calc

import (
	"errors"
	"fmt"

	"scanledger/queries/stats"
)

var regressionMethods = []Method{
	method("logistic-regression", "Logistic regression; Firth's penalised fit by itself when the data are separated",
		"McCullagh & Nelder 1989; Firth 1993", logisticRegression),
	method("logistic-firth", "Logistic regression by Firth's penalised likelihood with profile limits",
		"Firth 1993; Heinze & Schemper 2002", logisticFirth),
	method("probability-of-detection", "Probability of detection against size, with a50, a90 and a90/95",
		"MIL-HDBK-1823A 2009", probabilityOfDetection),
}

// predictorsIn is one row of covariates per observation; the intercept is added here.
type predictorsIn struct {
	Predictors [][]real `json:"predictors"`
	Names      []string `json:"predictor_names"`
	confidence
}

func (in predictorsIn) design() (rows [][]float64, terms []string, err error) {
	if len(in.Predictors) == 0 {
		return nil, nil, errors.New("predictors is missing or empty; give one row per observation")
	}
	rows = make([][]float64, len(in.Predictors))
	for i, r := range in.Predictors {
		rows[i] = append([]float64{1}, reals(r)...)
	}
	terms = append([]string{"intercept"}, in.Names...)
	if len(in.Names) == 0 {
		for j := range in.Predictors[0] {
			terms = append(terms, fmt.Sprintf("x%d", j+1))
		}
	}
	if len(terms) != len(rows[0]) {
		return nil, nil, fmt.Errorf("%d predictor_names for %d predictors", len(in.Names), len(rows[0])-1)
	}
	return rows, terms, nil
}

type logisticIn struct {
	predictorsIn
	Successes []count `json:"successes" calc:"required"`
	Trials    []count `json:"trials"` // null: 1 each
}

type logisticOut struct {
	Terms            []string `json:"terms"`
	Method           string   `json:"method"`
	Coefficients     []Num    `json:"coefficients"`
	StdErrors        []Num    `json:"std_errors"`
	WaldZ            []Num    `json:"wald_z"`
	WaldP            []Num    `json:"wald_p"`
	WaldLower        []Num    `json:"wald_ci_lower"`
	WaldUpper        []Num    `json:"wald_ci_upper"`
	PLRP             []Num    `json:"plr_p,omitempty"`
	ProfileLower     []Num    `json:"profile_ci_lower,omitempty"`
	ProfileUpper     []Num    `json:"profile_ci_upper,omitempty"`
	NullDeviance     Num      `json:"null_deviance"`
	ResidualDeviance Num      `json:"residual_deviance"`
	DFResidual       int      `json:"df_residual"`
	LRChiSquared     Num      `json:"lr_chisq_vs_null"`
	LRDF             int      `json:"lr_df"`
	LRP              Num      `json:"lr_p"`
	Fitted           []Num    `json:"fitted"`
	Warnings         []string `json:"warnings,omitempty"`
}

func logisticRegression(in logisticIn) (logisticOut, error) {
	rows, terms, err := in.design()
	if err != nil {
		return logisticOut{}, err
	}
	model := stats.GLMInput{X: rows, Y: floats(in.Successes)}
	if in.Trials != nil {
		model.Trials = floats(in.Trials)
	}
	fit, err := stats.FitLogistic(model, in.level())
	if err != nil {
		return logisticOut{}, err
	}
	out := logisticOut{
		Terms: terms, Method: "maximum likelihood", Coefficients: nums(fit.Coef), StdErrors: nums(fit.StdErr),
		WaldZ: nums(fit.Z), WaldP: nums(fit.P), WaldLower: nums(fit.Low), WaldUpper: nums(fit.High),
		NullDeviance: Num(fit.NullDeviance), ResidualDeviance: Num(fit.Deviance), DFResidual: fit.DFResidual,
		LRChiSquared: Num(fit.ChiSquared), LRDF: fit.ChiSquaredDF, LRP: Num(fit.ChiSquaredP),
		Fitted: nums(fit.Fitted), Warnings: fit.Warnings,
	}
	if fit.Penalised {
		out.Method = "Firth's penalised likelihood"
		out.PLRP, out.ProfileLower, out.ProfileUpper = out.WaldP, out.WaldLower, out.WaldUpper
		out.WaldP, out.WaldLower, out.WaldUpper = out.WaldZ, out.WaldZ, out.WaldZ // Wald says nothing here
	}
	return out, nil
}

type firthIn struct {
	predictorsIn
	Outcome []count `json:"outcome" calc:"required"`
	Weights []real  `json:"weights"` // null: 1 each
}

type firthOut struct {
	Terms           []string `json:"terms"`
	Coefficients    []Num    `json:"coefficients"`
	StdErrors       []Num    `json:"std_errors"`
	PenalisedLogLik Num      `json:"penalised_loglik"`
	PLRChiSquared   []Num    `json:"plr_chisq"`
	PLRP            []Num    `json:"plr_p"`
	ProfileLower    []Num    `json:"profile_ci_lower"`
	ProfileUpper    []Num    `json:"profile_ci_upper"`
	Warnings        []string `json:"warnings,omitempty"`
}

func logisticFirth(in firthIn) (firthOut, error) {
	rows, terms, err := in.design()
	if err != nil {
		return firthOut{}, err
	}
	f, err := stats.FitFirth(stats.GLMInput{X: rows, Y: floats(in.Outcome), Weights: reals(in.Weights)}, in.level())
	return firthOut{
		terms, nums(f.Coef), nums(f.StdErr), Num(f.PenalisedLogLik), nums(f.ChiSquared), nums(f.P),
		nums(f.Low), nums(f.High), f.Warnings,
	}, err
}
