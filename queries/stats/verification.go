package stats

import (
	"errors"
	"fmt"
	"math"
)

// A TestArm is the units with one result of the test: those later found to have the condition,
// those found not to, and those never checked.
type TestArm struct{ Condition, NoCondition, Unverified int }

func (a TestArm) verified() int { return a.Condition + a.NoCondition }
func (a TestArm) total() int    { return a.verified() + a.Unverified }

// A VerificationStratum is one level of a covariate that drives both who is checked and how the
// test does, such as the size class of a finding.
type VerificationStratum struct{ Positive, Negative TestArm }

// Plus is the units of both.
func (s VerificationStratum) Plus(o VerificationStratum) VerificationStratum {
	return VerificationStratum{Positive: s.Positive.plus(o.Positive), Negative: s.Negative.plus(o.Negative)}
}

func (a TestArm) plus(b TestArm) TestArm {
	return TestArm{a.Condition + b.Condition, a.NoCondition + b.NoCondition, a.Unverified + b.Unverified}
}

// A Corrected is one corrected proportion with its standard error and intervals.
type Corrected struct {
	Value, StdErr float64
	Wald          Interval // value ± z se, which may leave 0 to 1
	Logit         Interval // expit(logit value ± z se of the logit)
}

// Verified is test accuracy corrected for units never checked, beside what the checked alone say.
type Verified struct {
	NaiveSensitivity, NaiveSpecificity float64
	Sensitivity, Specificity           Corrected
	PPV, NPV, Prevalence               float64
	Warnings                           []string
}

// PartialVerification corrects sensitivity and specificity when only some units were checked (Begg
// & Greenes 1983, Biometrics 39:207-215). With n_tk units of result t in stratum k and f_tk the
// share with the condition among the checked of that cell, A = sum n_1k f_1k and B = sum n_0k f_0k,
//
//	sensitivity = A/(A+B)
//	var(logit sensitivity) = sum n_1k f_1k²/A² + sum n_0k f_0k²/B² + sum (n_tk/A or B)² f(1-f)/v_tk
//
// by the delta method with v_tk checked; specificity likewise with 1-f. For one stratum it is the
// variance of Zhou (1993, Commun Stat Theory Methods 22:3177-3198). It assumes that, within a
// stratum and result, whether a unit was checked had nothing to do with its condition.
//
// Where a cell with units has none checked, nothing corrected can be said (NaN, with a warning); a
// corrected value of 0 or 1 has no standard error.
func PartialVerification(strata []VerificationStratum, conf float64) (Verified, error) {
	err := checkConf(conf)
	if len(strata) == 0 {
		err = errors.New("no strata; give at least one")
	}
	for k, s := range strata {
		for _, n := range []int{s.Positive.Condition, s.Positive.NoCondition, s.Positive.Unverified, s.Negative.Condition, s.Negative.NoCondition, s.Negative.Unverified} {
			if n < 0 {
				err = fmt.Errorf("stratum %d holds the count %d: counts cannot be negative", k, n)
			}
		}
	}
	if err != nil {
		return Verified{}, fmt.Errorf("partial verification: %w", err)
	}
	var out Verified
	var tp, fp, fn, tn int
	for k, s := range strata {
		tp, fp = tp+s.Positive.Condition, fp+s.Positive.NoCondition
		fn, tn = fn+s.Negative.Condition, tn+s.Negative.NoCondition
		for _, a := range []TestArm{s.Positive, s.Negative} {
			if a.verified() == 0 && a.total() > 0 {
				out.Warnings = append(out.Warnings, fmt.Sprintf("stratum %d has a result of which no unit was checked: no correction can be made", k))
			}
		}
	}
	out.NaiveSensitivity = quotient(float64(tp), float64(tp+fn))
	out.NaiveSpecificity = quotient(float64(tn), float64(tn+fp))
	posWith, posWithout, nPos := armSums(strata, func(s VerificationStratum) TestArm { return s.Positive })
	negWith, negWithout, nNeg := armSums(strata, func(s VerificationStratum) TestArm { return s.Negative })
	out.Sensitivity = correctedShare(posWith, negWith, conf)
	out.Specificity = correctedShare(negWithout, posWithout, conf)
	out.PPV = quotient(posWith.expected, nPos)
	out.NPV = quotient(negWithout.expected, nNeg)
	out.Prevalence = quotient(posWith.expected+negWith.expected, nPos+nNeg)
	return out, nil
}

// armSum is the expected number of units with one result and one truth, and the variance of its
// log (short of the term that all such sums share).
type armSum struct{ expected, logVariance float64 }

// armSums adds up one result over strata: units expected with and without the condition, and all.
func armSums(strata []VerificationStratum, arm func(VerificationStratum) TestArm) (with, without armSum, total float64) {
	for _, s := range strata {
		a := arm(s)
		n, v := float64(a.total()), float64(a.verified())
		if n == 0 {
			continue
		}
		total += n
		f := quotient(float64(a.Condition), v)
		between := n * n * f * (1 - f) / v
		with = armSum{with.expected + n*f, with.logVariance + n*f*f + between}
		without = armSum{without.expected + n*(1-f), without.logVariance + n*(1-f)*(1-f) + between}
	}
	with.logVariance /= with.expected * with.expected
	without.logVariance /= without.expected * without.expected
	return with, without, total
}

// correctedShare is of/(of+rest).
func correctedShare(of, rest armSum, conf float64) Corrected {
	p := quotient(of.expected, of.expected+rest.expected)
	logitSE := math.Sqrt(of.logVariance + rest.logVariance)
	out := Corrected{Value: p, StdErr: math.NaN()}
	out.Wald = Interval{math.NaN(), math.NaN()}
	out.Logit = out.Wald
	if p > 0 && p < 1 {
		z := normalCritical(conf)
		out.StdErr = p * (1 - p) * logitSE
		out.Wald = Interval{p - z*out.StdErr, p + z*out.StdErr}
		centre := math.Log(of.expected / rest.expected)
		out.Logit = Interval{expit(centre - z*logitSE), expit(centre + z*logitSE)}
	}
	return out
}
