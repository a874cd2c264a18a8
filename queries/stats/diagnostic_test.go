package stats

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"
)

func accuracyOf(t interface{ Fatal(...any) }, table TwoByTwo) Accuracy {
	a, err := DiagnosticAccuracy(table, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func TestDiagnosticAccuracyRelabelling(t *testing.T) {
	cell := rapid.IntRange(1, 900)
	rapid.Check(t, func(t *rapid.T) {
		table := TwoByTwo{cell.Draw(t, "tp"), cell.Draw(t, "fp"), cell.Draw(t, "fn"), cell.Draw(t, "tn")}
		a := accuracyOf(t, table)
		// Calling the condition its absence swaps the two error rates.
		b := accuracyOf(t, TwoByTwo{table.TrueNegative, table.FalseNegative, table.FalsePositive, table.TruePositive})
		if a.Sensitivity.Exact.Low != b.Specificity.Exact.Low || a.PPV.Wilson.High != b.NPV.Wilson.High || math.Abs(a.OddsRatio.Value-b.OddsRatio.Value) > 1e-9*a.OddsRatio.Value {
			t.Fatalf("%+v\n%+v", a, b)
		}
		// Turning the test round turns the likelihood ratios over.
		c := accuracyOf(t, TwoByTwo{table.FalseNegative, table.TrueNegative, table.TruePositive, table.FalsePositive})
		if math.Abs(c.LRPositive.Value-a.LRNegative.Value) > 1e-9*a.LRNegative.Value || math.Abs(c.Youden+a.Youden) > 1e-12 {
			t.Fatalf("%+v\n%+v", a, c)
		}
		for name, e := range map[string]Estimate{"LR+": a.LRPositive, "LR-": a.LRNegative, "OR": a.OddsRatio} {
			if !(0 < e.Low && e.Low < e.Value && e.Value < e.High) {
				t.Fatalf("%s: %+v", name, e)
			}
		}
		if d := a.LRPositive.Value / a.LRNegative.Value; math.Abs(d-a.OddsRatio.Value) > 1e-9*d {
			t.Fatalf("odds ratio %g is not the quotient of the likelihood ratios %g", a.OddsRatio.Value, d)
		}
	})
}

func TestDiagnosticAccuracyEmptyCells(t *testing.T) {
	noFalseAlarm := accuracyOf(t, TwoByTwo{5, 0, 2, 9})
	if !math.IsNaN(noFalseAlarm.LRPositive.Value) || noFalseAlarm.Specificity.Wilson.Value != 1 || len(noFalseAlarm.Warnings) == 0 {
		t.Errorf("no false alarm: %+v", noFalseAlarm)
	}
	near(t, "LR-", noFalseAlarm.LRNegative.Value, 2./7, 1e-15)
	allFound := accuracyOf(t, TwoByTwo{5, 3, 0, 9})
	if allFound.LRNegative.Value != 0 || !math.IsNaN(allFound.LRNegative.High) {
		t.Errorf("no miss: %+v", allFound)
	}
	if nothing := accuracyOf(t, TwoByTwo{}); !math.IsNaN(nothing.PPV.Exact.Value) || !math.IsNaN(nothing.Correct) {
		t.Errorf("nothing: %+v", nothing)
	}
	if a, err := DiagnosticAccuracy(TwoByTwo{1, 1, -1, 1}, 0.95); err == nil {
		t.Errorf("accepted a negative count: %+v", a)
	}
}

func verifiedOf(t interface{ Fatal(...any) }, strata ...VerificationStratum) Verified {
	v, err := PartialVerification(strata, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestPartialVerificationProperties(t *testing.T) {
	cell := rapid.IntRange(1, 300)
	rapid.Check(t, func(t *rapid.T) {
		arm := func(name string) TestArm {
			return TestArm{cell.Draw(t, name+" with"), cell.Draw(t, name+" without"), cell.Draw(t, name+" unchecked")}
		}
		a := VerificationStratum{arm("positive"), arm("negative")}
		b := VerificationStratum{arm("positive b"), arm("negative b")}
		v := verifiedOf(t, a)
		for _, c := range []Corrected{v.Sensitivity, v.Specificity} {
			if !(0 < c.Logit.Low && c.Logit.Low < c.Value && c.Value < c.Logit.High && c.Logit.High < 1) {
				t.Fatalf("%+v", c)
			}
		}
		if one, other := verifiedOf(t, a, b), verifiedOf(t, b, a); math.Abs(one.Sensitivity.StdErr-other.Sensitivity.StdErr) > 1e-12 {
			t.Fatalf("order of strata: %+v and %+v", one, other)
		}
		// Two strata alike are one of twice the size.
		double := func(x TestArm) TestArm { return TestArm{2 * x.Condition, 2 * x.NoCondition, 2 * x.Unverified} }
		twice, merged := verifiedOf(t, a, a), verifiedOf(t, VerificationStratum{double(a.Positive), double(a.Negative)})
		if math.Abs(twice.Sensitivity.Value-merged.Sensitivity.Value) > 1e-12 || math.Abs(twice.Specificity.StdErr-merged.Specificity.StdErr) > 1e-12 {
			t.Fatalf("strata alike: %+v and %+v", twice, merged)
		}
		// With every unit checked there is nothing to correct, and the variance is the binomial one.
		a.Positive.Unverified, a.Negative.Unverified = 0, 0
		full := verifiedOf(t, a)
		p := full.NaiveSensitivity
		se := math.Sqrt(p * (1 - p) / float64(a.Positive.Condition+a.Negative.Condition))
		if math.Abs(full.Sensitivity.Value-p) > 1e-12 || math.Abs(full.Sensitivity.StdErr-se) > 1e-12 {
			t.Fatalf("all checked: %+v, binomial error %g", full, se)
		}
	})
}

// TestPartialVerificationVariance holds the stratified standard error, which is derived here and
// not taken from a publication, to the spread of simulated estimates, and the estimate to the truth.
func TestPartialVerificationVariance(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 11))
	// Per stratum: share with the condition, sensitivity, specificity, share checked by result.
	strata := []struct{ prevalence, se, sp, checkedPos, checkedNeg float64 }{{0.5, 0.9, 0.8, 0.7, 0.3}, {0.2, 0.6, 0.95, 0.9, 0.5}}
	var values, errors []float64
	for range 3000 {
		drawn := make([]VerificationStratum, len(strata))
		for range 2000 {
			k := r.IntN(2)
			s := strata[k]
			condition := r.Float64() < s.prevalence
			arm, checked := &drawn[k].Negative, s.checkedNeg
			if condition && r.Float64() < s.se || !condition && r.Float64() >= s.sp {
				arm, checked = &drawn[k].Positive, s.checkedPos
			}
			switch {
			case r.Float64() >= checked:
				arm.Unverified++
			case condition:
				arm.Condition++
			default:
				arm.NoCondition++
			}
		}
		v := verifiedOf(t, drawn...)
		values, errors = append(values, v.Sensitivity.Value), append(errors, v.Sensitivity.StdErr)
	}
	mean, spread := stat.MeanStdDev(values, nil)
	near(t, "mean of estimates", mean, (0.5*0.9+0.2*0.6)/0.7, 0.002)
	near(t, "standard error over spread", stat.Mean(errors, nil)/spread, 1, 0.04)
}

func TestPartialVerificationEdges(t *testing.T) {
	checkedNone := verifiedOf(t, VerificationStratum{TestArm{5, 1, 0}, TestArm{0, 0, 9}})
	if !math.IsNaN(checkedNone.Sensitivity.Value) || !math.IsNaN(checkedNone.Specificity.Logit.Low) || len(checkedNone.Warnings) == 0 {
		t.Errorf("no negative checked: %+v", checkedNone)
	}
	noMiss := verifiedOf(t, VerificationStratum{TestArm{5, 1, 3}, TestArm{0, 4, 9}})
	if noMiss.Sensitivity.Value != 1 || !math.IsNaN(noMiss.Sensitivity.StdErr) {
		t.Errorf("no miss: %+v", noMiss)
	}
	for _, bad := range [][]VerificationStratum{nil, {{TestArm{-1, 1, 1}, TestArm{1, 1, 1}}}} {
		if v, err := PartialVerification(bad, 0.95); err == nil {
			t.Errorf("accepted %v: %+v", bad, v)
		}
	}
}
