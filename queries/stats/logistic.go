package stats

import (
	"fmt"
	"math"
	"slices"
)

// LogisticFit is a logistic regression with tests and limits per coefficient.
//
// By maximum likelihood Z, P, Low and High are Wald's. On separated data, where maximum likelihood
// has no finite answer, Penalised is set: Coef, StdErr, Cov and Fitted are Firth's, P, Low and High
// those of the profile penalised likelihood, Z is NaN; Deviance stays the limit of maximum
// likelihood, so that the test against the model without covariates keeps its meaning.
type LogisticFit struct {
	GLMFit
	Penalised       bool
	Z, P, Low, High []float64
	ChiSquared      float64 // NullDeviance - Deviance
	ChiSquaredDF    int
	ChiSquaredP     float64 // NaN without covariates
}

// FitLogistic fits a logistic regression by maximum likelihood and turns by itself to Firth's
// penalised likelihood (see FitFirth) when the data are separated; a warning says so. in is as for
// FitGLM, with a constant column among X; conf is that of the limits.
func FitLogistic(in GLMInput, conf float64) (LogisticFit, error) {
	if err := checkConf(conf); err != nil {
		return LogisticFit{}, fmt.Errorf("fit logistic model: %w", err)
	}
	in.Family, in.Link = Binomial, LinkLogit
	ml, err := FitGLM(in)
	if err != nil {
		return LogisticFit{}, err
	}
	fit := LogisticFit{GLMFit: ml, ChiSquared: max(0, ml.NullDeviance-ml.Deviance), ChiSquaredDF: len(ml.Coef) - 1}
	fit.ChiSquaredP = chiSquaredP(fit.ChiSquared, float64(fit.ChiSquaredDF))
	if ml.Separated {
		return fit, fit.penalise(in, conf)
	}
	z := normalCritical(conf)
	for j, b := range ml.Coef {
		se := ml.StdErr[j]
		fit.Z = append(fit.Z, b/se)
		fit.P = append(fit.P, normalP(b/se))
		fit.Low = append(fit.Low, b-z*se)
		fit.High = append(fit.High, b+z*se)
	}
	return fit, nil
}

func (fit *LogisticFit) penalise(in GLMInput, conf float64) error {
	firth, err := FitFirth(in, conf)
	if err != nil {
		return err
	}
	fit.Penalised = true
	fit.Coef, fit.StdErr, fit.Cov, fit.Fitted = firth.Coef, firth.StdErr, firth.Cov, firth.Fitted
	fit.P, fit.Low, fit.High = firth.P, firth.Low, firth.High
	fit.Z = slices.Repeat([]float64{math.NaN()}, len(firth.Coef))
	fit.Warnings = append([]string{"the data are separated: coefficients are Firth's penalised ones with profile limits"}, firth.Warnings...)
	return nil
}
