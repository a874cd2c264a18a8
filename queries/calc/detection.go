package calc

import (
	"errors"
	"fmt"
	"strings"

	"scanledger/queries/stats"
)

// detectionIn holds hits of 0 or 1 per target, or hits out of inspections per size.
type detectionIn struct {
	Size        []real  `json:"size" calc:"required"`
	Hit         []count `json:"hit"`
	Hits        []count `json:"hits"`
	Inspections []count `json:"inspections"`
	Covariate   string  `json:"covariate"`
	Link        string  `json:"link"`
	Floor       bool    `json:"floor"`
	Ceiling     bool    `json:"ceiling"`
	confidence
}

type detectionOut struct {
	Intercept   Num      `json:"intercept"`
	Slope       Num      `json:"slope"`
	SEIntercept Num      `json:"se_intercept"`
	SESlope     Num      `json:"se_slope"`
	Covariance  Num      `json:"cov_intercept_slope"`
	Floor       Num      `json:"floor"`
	Ceiling     Num      `json:"ceiling"`
	LogLik      Num      `json:"loglik"`
	Deviance    Num      `json:"deviance"`
	AIC         Num      `json:"aic"`
	X50         Num      `json:"mu_x_at_half"`
	Sigma       Num      `json:"sigma"`
	A50         Num      `json:"a50"`
	A90         Num      `json:"a90"`
	Wald        Num      `json:"a90_95_wald_bound_on_link"`
	LR          Num      `json:"a90_95_likelihood_ratio"`
	Delta       Num      `json:"a90_95_delta_method_on_x"`
	SEX50       Num      `json:"se_x50_delta"`
	SEX90       Num      `json:"se_x90_delta"`
	Warnings    []string `json:"warnings,omitempty"`
}

func probabilityOfDetection(in detectionIn) (detectionOut, error) {
	scale, err := sizeScale(in.Covariate)
	if err != nil {
		return detectionOut{}, err
	}
	model := stats.PODInput{
		Size: reals(in.Size), Scale: scale, Link: linkNamed(in.Link), Conf: in.level(), Floor: in.Floor, Ceiling: in.Ceiling,
	}
	switch {
	case in.Hit != nil && in.Hits == nil && in.Inspections == nil:
		model.Hits = ints(in.Hit)
	case in.Hit == nil && in.Hits != nil && in.Inspections != nil:
		model.Hits, model.Inspections = ints(in.Hits), ints(in.Inspections)
	default:
		return detectionOut{}, errors.New("give hit (0 or 1 per target), or hits with inspections")
	}
	p, err := stats.ProbabilityOfDetection(model)
	return detectionOut{
		Num(p.Intercept), Num(p.Slope), Num(p.SEIntercept), Num(p.SESlope), Num(p.Covariance),
		Num(p.Floor), Num(p.Ceiling), Num(p.LogLik), Num(p.Deviance), Num(p.AIC), Num(p.X50), Num(p.Sigma),
		Num(p.A50), Num(p.A90), Num(p.A9095Wald), Num(p.A9095LikelihoodRatio), Num(p.A9095Delta),
		Num(p.SEX50), Num(p.SEX90), p.Warnings,
	}, err
}

// sizeScale reads phrases such as "natural log of size", "log(size)", "log10 size" and "size".
func sizeScale(covariate string) (stats.SizeScale, error) {
	c := strings.ToLower(covariate)
	switch {
	case strings.Contains(c, "log10"):
		return stats.SizeLog10, nil
	case strings.Contains(c, "log"), strings.HasPrefix(c, "ln"):
		return stats.SizeLog, nil
	case c == "", c == "size", c == "identity":
		return stats.SizeAsIs, nil
	}
	return 0, fmt.Errorf("covariate %q is not known; give size, log(size) or log10(size)", covariate)
}

// linkNamed allows for case and hyphens, and for the long name of cloglog.
func linkNamed(name string) stats.Link {
	short := strings.NewReplacer("-", "", " ", "", "_", "").Replace(strings.ToLower(name))
	if short == "complementaryloglog" {
		return stats.LinkCloglog
	}
	return stats.Link(short)
}
