package calc

import (
	"fmt"
	"strings"

	"scanledger/queries/stats"
)

var accuracyMethods = []Method{
	method("diagnostic-accuracy", "Sensitivity, specificity, predictive values and likelihood ratios of a two by two table",
		"Altman & Bland 1994; Simel et al. 1991", diagnosticAccuracy),
	method("partial-verification", "Sensitivity and specificity corrected for units never checked",
		"Begg & Greenes 1983; Zhou 1993", partialVerification),
	method("roc-auc", "Area under the ROC curve with its interval and best thresholds",
		"DeLong et al. 1988; Hanley & McNeil 1982", rocAUC),
}

type tableIn struct {
	TP count `json:"true_positive" calc:"required"`
	FP count `json:"false_positive" calc:"required"`
	FN count `json:"false_negative" calc:"required"`
	TN count `json:"true_negative" calc:"required"`
	confidence
}

type accuracyOut struct {
	Sensitivity       Num      `json:"sensitivity"`
	Specificity       Num      `json:"specificity"`
	PPV               Num      `json:"ppv"`
	NPV               Num      `json:"npv"`
	SensitivityWilson limits   `json:"sensitivity_wilson"`
	SpecificityWilson limits   `json:"specificity_wilson"`
	PPVWilson         limits   `json:"ppv_wilson"`
	NPVWilson         limits   `json:"npv_wilson"`
	SensitivityExact  limits   `json:"sensitivity_exact"`
	SpecificityExact  limits   `json:"specificity_exact"`
	PPVExact          limits   `json:"ppv_exact"`
	NPVExact          limits   `json:"npv_exact"`
	LRPositive        Num      `json:"lr_positive"`
	LRPositiveCI      limits   `json:"lr_positive_ci_log"`
	LRNegative        Num      `json:"lr_negative"`
	LRNegativeCI      limits   `json:"lr_negative_ci_log"`
	OddsRatio         Num      `json:"diagnostic_odds_ratio"`
	OddsRatioCI       limits   `json:"dor_ci_woolf"`
	Youden            Num      `json:"youden"`
	Accuracy          Num      `json:"accuracy"`
	Warnings          []string `json:"warnings,omitempty"`
}

func diagnosticAccuracy(in tableIn) (accuracyOut, error) {
	a, err := stats.DiagnosticAccuracy(stats.TwoByTwo{
		TruePositive: int(in.TP), FalsePositive: int(in.FP), FalseNegative: int(in.FN), TrueNegative: int(in.TN),
	}, in.level())
	return accuracyOut{
		Num(a.Sensitivity.Wilson.Value), Num(a.Specificity.Wilson.Value), Num(a.PPV.Wilson.Value), Num(a.NPV.Wilson.Value),
		endsOf(a.Sensitivity.Wilson), endsOf(a.Specificity.Wilson), endsOf(a.PPV.Wilson), endsOf(a.NPV.Wilson),
		endsOf(a.Sensitivity.Exact), endsOf(a.Specificity.Exact), endsOf(a.PPV.Exact), endsOf(a.NPV.Exact),
		Num(a.LRPositive.Value), endsOf(a.LRPositive), Num(a.LRNegative.Value), endsOf(a.LRNegative),
		Num(a.OddsRatio.Value), endsOf(a.OddsRatio), Num(a.Youden), Num(a.Correct), a.Warnings,
	}, err
}

type verificationIn struct {
	PositiveCondition  count `json:"test_positive_disease" calc:"required"`
	PositiveNone       count `json:"test_positive_no_disease" calc:"required"`
	PositiveUnverified count `json:"test_positive_unverified" calc:"required"`
	NegativeCondition  count `json:"test_negative_disease" calc:"required"`
	NegativeNone       count `json:"test_negative_no_disease" calc:"required"`
	NegativeUnverified count `json:"test_negative_unverified" calc:"required"`
	confidence
}

type verificationOut struct {
	NaiveSensitivity Num      `json:"naive_sensitivity"`
	NaiveSpecificity Num      `json:"naive_specificity"`
	Sensitivity      Num      `json:"sensitivity"`
	SensitivitySE    Num      `json:"sensitivity_se"`
	SensitivityWald  limits   `json:"sensitivity_wald"`
	SensitivityLogit limits   `json:"sensitivity_logit_ci"`
	Specificity      Num      `json:"specificity"`
	SpecificitySE    Num      `json:"specificity_se"`
	SpecificityWald  limits   `json:"specificity_wald"`
	SpecificityLogit limits   `json:"specificity_logit_ci"`
	PPV              Num      `json:"ppv"`
	NPV              Num      `json:"npv"`
	Prevalence       Num      `json:"prevalence"`
	Warnings         []string `json:"warnings,omitempty"`
}

func partialVerification(in verificationIn) (verificationOut, error) {
	v, err := stats.PartialVerification([]stats.VerificationStratum{{
		Positive: stats.TestArm{Condition: int(in.PositiveCondition), NoCondition: int(in.PositiveNone), Unverified: int(in.PositiveUnverified)},
		Negative: stats.TestArm{Condition: int(in.NegativeCondition), NoCondition: int(in.NegativeNone), Unverified: int(in.NegativeUnverified)},
	}}, in.level())
	se, sp := v.Sensitivity, v.Specificity
	return verificationOut{
		Num(v.NaiveSensitivity), Num(v.NaiveSpecificity),
		Num(se.Value), Num(se.StdErr), limitsOf(se.Wald), limitsOf(se.Logit),
		Num(sp.Value), Num(sp.StdErr), limitsOf(sp.Wald), limitsOf(sp.Logit),
		Num(v.PPV), Num(v.NPV), Num(v.Prevalence), v.Warnings,
	}, err
}

type rocIn struct {
	Truth []count `json:"truth" calc:"required"`
	Score []real  `json:"score" calc:"required"`
	Rule  string  `json:"rule"`
	confidence
}

type rocOut struct {
	AUC               Num      `json:"auc"`
	Variance          Num      `json:"delong_variance"`
	SE                Num      `json:"delong_se"`
	CI                limits   `json:"delong_ci"`
	HanleyMcNeil      Num      `json:"hanley_mcneil_se"`
	Youden            Num      `json:"youden_index"`
	YoudenSensitivity []Num    `json:"youden_sensitivity"`
	YoudenSpecificity []Num    `json:"youden_specificity"`
	YoudenThreshold   []Num    `json:"youden_threshold_midpoint"`
	Warnings          []string `json:"warnings,omitempty"`
}

// rocAUC reads the rule only for its direction: one that begins with "lower" turns the scores round.
func rocAUC(in rocIn) (rocOut, error) {
	positive, err := truths(in.Truth)
	if err != nil {
		return rocOut{}, err
	}
	sign := 1.0
	if strings.HasPrefix(strings.ToLower(in.Rule), "lower") {
		sign = -1
	}
	score := make([]float64, len(in.Score))
	for i, s := range in.Score {
		score[i] = sign * float64(s)
	}
	a, err := stats.ROC(positive, score, in.level())
	out := rocOut{
		AUC: Num(a.Value), Variance: Num(a.Variance), SE: Num(a.StdErr), CI: endsOf(a.Estimate),
		HanleyMcNeil: Num(a.HanleyMcNeilSE), Youden: Num(a.Youden), Warnings: a.Warnings,
	}
	for _, c := range a.BestCuts {
		out.YoudenSensitivity = append(out.YoudenSensitivity, Num(c.Sensitivity))
		out.YoudenSpecificity = append(out.YoudenSpecificity, Num(c.Specificity))
		out.YoudenThreshold = append(out.YoudenThreshold, Num(sign*c.Threshold))
	}
	return out, err
}

func truths(codes []count) ([]bool, error) {
	out := make([]bool, len(codes))
	for i, c := range codes {
		if c != 0 && c != 1 {
			return nil, fmt.Errorf("truth %d is %d; give 1 for the condition and 0 for none", i, c)
		}
		out[i] = c == 1
	}
	return out, nil
}
