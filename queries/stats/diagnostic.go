package stats

import (
	"fmt"
	"math"
)

// A TwoByTwo crosses a test with the truth, in units.
type TwoByTwo struct{ TruePositive, FalsePositive, FalseNegative, TrueNegative int }

func (t TwoByTwo) check() error {
	for _, c := range []struct {
		name string
		n    int
	}{{"true positives", t.TruePositive}, {"false positives", t.FalsePositive}, {"false negatives", t.FalseNegative}, {"true negatives", t.TrueNegative}} {
		if c.n < 0 {
			return fmt.Errorf("%d %s: counts cannot be negative", c.n, c.name)
		}
	}
	return nil
}

// A ProportionPair is one proportion with its Wilson and its exact interval.
type ProportionPair struct{ Wilson, Exact Estimate }

// Accuracy is how well a test did on units whose truth is known for all.
type Accuracy struct {
	Sensitivity, Specificity, PPV, NPV ProportionPair
	LRPositive, LRNegative, OddsRatio  Estimate
	Youden, Correct                    float64 // sensitivity + specificity - 1; share of right calls
	Warnings                           []string
}

// DiagnosticAccuracy reads a two by two table:
//
//	sensitivity TP/(TP+FN), specificity TN/(TN+FP), PPV TP/(TP+FP), NPV TN/(TN+FN),
//	LR+ = sens/(1-spec), LR- = (1-sens)/spec, odds ratio TP·TN/(FP·FN)
//
// with Wilson and Clopper-Pearson intervals for the proportions, log-method intervals for the
// likelihood ratios (Simel et al. 1991, J Clin Epidemiol 44:763-770) and Woolf's for the odds ratio
// (1955, Ann Hum Genet 19:251-253). It assumes that units are independent and that whether a unit's
// truth became known had nothing to do with the call; else see PartialVerification.
//
// A figure over an empty margin and an interval over an empty cell are NaN beside a warning.
func DiagnosticAccuracy(t TwoByTwo, conf float64) (Accuracy, error) {
	err := t.check()
	if err == nil {
		err = checkConf(conf)
	}
	if err != nil {
		return Accuracy{}, fmt.Errorf("diagnostic accuracy: %w", err)
	}
	tp, fp, fn, tn := t.TruePositive, t.FalsePositive, t.FalseNegative, t.TrueNegative
	a, b, c, d := float64(tp), float64(fp), float64(fn), float64(tn)
	out := Accuracy{
		LRPositive: logRatio(quotient(a*(b+d), b*(a+c)), conf, 1/a-1/(a+c)+1/b-1/(b+d)),
		LRNegative: logRatio(quotient(c*(b+d), d*(a+c)), conf, 1/c-1/(a+c)+1/d-1/(b+d)),
		OddsRatio:  logRatio(quotient(a*d, b*c), conf, 1/a+1/b+1/c+1/d),
		Correct:    quotient(a+d, a+b+c+d),
	}
	for _, f := range []struct {
		to   *ProportionPair
		x, n int
	}{{&out.Sensitivity, tp, tp + fn}, {&out.Specificity, tn, tn + fp}, {&out.PPV, tp, tp + fp}, {&out.NPV, tn, tn + fn}} {
		if *f.to, err = proportionPair(f.x, f.n, conf); err != nil {
			return Accuracy{}, err
		}
	}
	out.Youden = out.Sensitivity.Wilson.Value + out.Specificity.Wilson.Value - 1
	if min(tp, fp, fn, tn) == 0 {
		out.Warnings = append(out.Warnings, "a cell of the table is empty: some ratios or their intervals cannot be said")
	}
	return out, nil
}

func proportionPair(x, n int, conf float64) (ProportionPair, error) {
	w, err := Wilson(x, n, conf)
	if err != nil {
		return ProportionPair{}, err
	}
	e, err := ClopperPearson(x, n, conf)
	return ProportionPair{w, e}, err
}

// logRatio puts a normal interval around the log of a ratio with the given variance of the log.
func logRatio(ratio, conf, variance float64) Estimate {
	half := normalCritical(conf) * math.Sqrt(variance)
	out := Estimate{Value: ratio, Low: ratio * math.Exp(-half), High: ratio * math.Exp(half), Conf: conf}
	if !(ratio > 0) || math.IsInf(variance, 0) || math.IsNaN(variance) {
		out.Low, out.High = math.NaN(), math.NaN()
	}
	return out
}
