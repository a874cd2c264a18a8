package stats

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// beetles is Bliss (1935) as in Dobson (2002) Table 7.2: log10 dose, killed, exposed.
var beetles = struct{ dose, killed, exposed []float64 }{
	[]float64{1.6907, 1.7242, 1.7552, 1.7842, 1.8113, 1.8369, 1.861, 1.8839},
	[]float64{6, 13, 18, 28, 52, 53, 61, 60},
	[]float64{59, 60, 62, 56, 63, 59, 62, 60},
}

func withConstant(x []float64) [][]float64 {
	rows := make([][]float64, len(x))
	for i, v := range x {
		rows[i] = []float64{1, v}
	}
	return rows
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.12g, want %.12g within %g", what, got, want, tol)
	}
}

// Deviances of the three links: Dobson (2002) Table 7.3 prints 11.23, 10.12, 3.45; coefficients
// as printed there: logit -60.717, 34.270; probit -34.935, 19.728; cloglog -39.572, 22.041.
func TestFitGLMBeetles(t *testing.T) {
	for _, c := range []struct {
		link                    Link
		intercept, slope, devia float64
	}{
		{"", -60.717, 34.270, 11.23},
		{LinkProbit, -34.935, 19.728, 10.12},
		{LinkCloglog, -39.572, 22.041, 3.45},
	} {
		fit, err := FitGLM(GLMInput{X: withConstant(beetles.dose), Y: beetles.killed, Trials: beetles.exposed, Link: c.link})
		if err != nil {
			t.Fatal(err)
		}
		near(t, string(c.link)+" intercept", fit.Coef[0], c.intercept, 6e-4)
		near(t, string(c.link)+" slope", fit.Coef[1], c.slope, 6e-4)
		near(t, string(c.link)+" deviance", fit.Deviance, c.devia, 6e-3)
		near(t, string(c.link)+" null deviance", fit.NullDeviance, 284.2024, 1e-3)
		if fit.DFResidual != 6 || fit.Separated || len(fit.Warnings) > 0 {
			t.Errorf("%s: df %d, warnings %v", c.link, fit.DFResidual, fit.Warnings)
		}
	}
}

// Dobson (1990) p. 93, the example of R's help page for glm: counts of a randomized trial;
// coefficients 3.0445, -0.4543, -0.2930, 0, 0, residual deviance 5.1291, null 10.5814.
func TestFitGLMPoisson(t *testing.T) {
	y := []float64{18, 17, 15, 20, 10, 20, 25, 13, 12}
	x := make([][]float64, 9)
	for i := range x {
		x[i] = []float64{1, 0, 0, 0, 0}
		if i%3 > 0 {
			x[i][i%3] = 1
		}
		if i/3 > 0 {
			x[i][2+i/3] = 1
		}
	}
	fit, err := FitGLM(GLMInput{X: x, Y: y, Family: Poisson})
	if err != nil {
		t.Fatal(err)
	}
	for j, want := range []float64{3.0445, -0.4543, -0.2930, 0, 0} {
		near(t, "coefficient", fit.Coef[j], want, 6e-5)
	}
	near(t, "deviance", fit.Deviance, 5.1291, 6e-5)
	near(t, "null deviance", fit.NullDeviance, 10.5814, 6e-5)
}

// With one group column a log-link model has the ratio of proportions (or rates) as exp(slope).
func TestFitGLMLogLinkGivesRatios(t *testing.T) {
	x := withConstant([]float64{0, 1})
	risk, err := FitGLM(GLMInput{X: x, Y: []float64{10, 36}, Trials: []float64{40, 40}, Link: LinkLog})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "log risk ratio", risk.Coef[1], math.Log(3.6), 1e-9)
	near(t, "its error", risk.StdErr[1], math.Sqrt(1./10-1./40+1./36-1./40), 1e-9)
	rate, err := FitGLM(GLMInput{X: x, Y: []float64{7, 5}, Offset: []float64{math.Log(100), math.Log(20)}, Family: Poisson})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "log rate ratio", rate.Coef[1], math.Log(5./20*100/7), 1e-9)
	near(t, "null deviance", rate.NullDeviance, 2*(7*math.Log(7/10.)+5*math.Log(5/2.)), 1e-9)
	near(t, "saturated deviance", rate.Deviance, 0, 1e-9)
}

func TestFitGLMSeparation(t *testing.T) {
	for name, in := range map[string]GLMInput{
		"complete":            {X: withConstant([]float64{1, 2, 3, 4}), Y: []float64{0, 0, 1, 1}},
		"quasi":               {X: withConstant([]float64{1, 2, 2, 3}), Y: []float64{0, 0, 1, 1}},
		"empty cell":          {X: withConstant([]float64{0, 1}), Y: []float64{0, 4}, Trials: []float64{10, 10}},
		"empty cell, probit":  {X: withConstant([]float64{0, 1}), Y: []float64{0, 4}, Trials: []float64{10, 10}, Link: LinkProbit},
		"empty cell, cloglog": {X: withConstant([]float64{0, 1}), Y: []float64{0, 4}, Trials: []float64{10, 10}, Link: LinkCloglog},
		"empty cell, loglog":  {X: withConstant([]float64{0, 1}), Y: []float64{0, 4}, Trials: []float64{10, 10}, Link: LinkLoglog},
		"empty cell, log":     {X: withConstant([]float64{0, 1}), Y: []float64{0, 4}, Trials: []float64{10, 10}, Link: LinkLog},
		"no events":           {X: [][]float64{{1}, {1}}, Y: []float64{0, 0}},
		"all events":          {X: [][]float64{{1}, {1}}, Y: []float64{1, 1}},
		"empty Poisson group": {X: withConstant([]float64{0, 0, 1, 1}), Y: []float64{3, 5, 0, 0}, Family: Poisson},
	} {
		fit, err := FitGLM(in)
		if err != nil {
			t.Errorf("%s: %v", name, err)
		} else if !fit.Separated || len(fit.Warnings) == 0 {
			t.Errorf("%s: separation not seen: %+v", name, fit)
		}
	}
}

// A steep fit with overlap is not separated however small its fitted tails are.
func TestFitGLMSteepIsNotSeparated(t *testing.T) {
	for _, link := range []Link{LinkLogit, LinkProbit, LinkCloglog, LinkLoglog, LinkCauchit} {
		fit, err := FitGLM(GLMInput{X: withConstant([]float64{-90, 1, 1.01, 1.02, 1.03, 90}), Y: []float64{0, 0, 1, 0, 1, 1}, Link: link})
		if err != nil {
			t.Fatal(err)
		}
		if fit.Separated {
			t.Errorf("%s: called separated at %v", link, fit.Coef)
		}
	}
}

func TestFitGLMRefuses(t *testing.T) {
	one := [][]float64{{1}, {1}}
	for name, in := range map[string]GLMInput{
		"nothing":            {},
		"rows":               {X: one, Y: []float64{1}},
		"ragged":             {X: [][]float64{{1}, {1, 2}}, Y: []float64{1, 0}},
		"no columns":         {X: [][]float64{{}, {}}, Y: []float64{1, 0}},
		"nan":                {X: one, Y: []float64{math.NaN(), 0}},
		"inf column":         {X: [][]float64{{1}, {math.Inf(1)}}, Y: []float64{1, 0}},
		"over trials":        {X: one, Y: []float64{2, 0}},
		"negative":           {X: one, Y: []float64{-1, 0}, Family: Poisson},
		"negative weight":    {X: one, Y: []float64{1, 0}, Weights: []float64{1, -1}},
		"trials length":      {X: one, Y: []float64{1, 0}, Trials: []float64{1}},
		"combination":        {X: [][]float64{{1, 2}, {1, 2}, {1, 2}}, Y: []float64{1, 0, 1}},
		"zero column":        {X: [][]float64{{1, 0}, {1, 0}, {1, 0}}, Y: []float64{1, 0, 1}},
		"more columns":       {X: [][]float64{{1, 2}}, Y: []float64{1}},
		"no weight":          {X: one, Y: []float64{1, 0}, Weights: []float64{0, 0}},
		"link":               {X: one, Y: []float64{1, 0}, Link: "power"},
		"logit for counts":   {X: one, Y: []float64{1, 0}, Family: Poisson, Link: LinkLogit},
		"log, no constant":   {X: [][]float64{{1}, {2}}, Y: []float64{1, 0}, Link: LinkLog},
		"hidden combination": {X: [][]float64{{1, 0}, {1, 0}, {1, 1}}, Y: []float64{1, 0, 1}, Weights: []float64{1, 1, 0}},
	} {
		if fit, err := FitGLM(in); err == nil {
			t.Errorf("%s: accepted: %+v", name, fit)
		}
	}
}

// At the estimate the score is zero; order of rows, splitting of groups and the unit of a column
// change nothing but that column's coefficient.
func TestFitGLMProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(4, 30).Draw(t, "n")
		in := GLMInput{Family: rapid.SampledFrom([]Family{Binomial, Poisson}).Draw(t, "family")}
		for i := range n {
			in.X = append(in.X, []float64{1, float64(i)})
			in.Trials = append(in.Trials, 20)
			in.Y = append(in.Y, float64(rapid.IntRange(1, 19).Draw(t, "y")))
		}
		fit, err := FitGLM(in)
		if err != nil || len(fit.Warnings) > 0 {
			t.Fatal(err, fit.Warnings)
		}
		scale := 1.0
		if in.Family == Binomial {
			scale = 20
		}
		for j := range 2 {
			var score float64
			for i, x := range in.X {
				score += x[j] * (in.Y[i] - scale*fit.Fitted[i])
			}
			if math.Abs(score) > 1e-6*float64(n*n) {
				t.Fatalf("score %d is %g at the estimate", j, score)
			}
		}
		if fit.Deviance > fit.NullDeviance+1e-9 {
			t.Fatalf("deviance %g, without covariates %g", fit.Deviance, fit.NullDeviance)
		}
		other := in
		other.X, other.Y = nil, slices.Clone(in.Y)
		slices.Reverse(other.Y)
		for i := range n {
			other.X = append(other.X, []float64{1, 1000 * float64(n-1-i)})
		}
		again, err := FitGLM(other)
		if err != nil || math.Abs(again.Coef[1]*1000-fit.Coef[1]) > 1e-7 || math.Abs(again.StdErr[1]*1000-fit.StdErr[1]) > 1e-7 || math.Abs(again.LogLik-fit.LogLik) > 1e-7 {
			t.Fatalf("%+v\n%+v\n%v", fit, again, err)
		}
	})
}

// TestGLMRefusesWhatWouldTakeTooLong: the error says how many rows of so many columns there may be.
func TestGLMRefusesWhatWouldTakeTooLong(t *testing.T) {
	in := GLMInput{Y: make([]float64, glmMost/(500*600)+1)}
	for range in.Y {
		in.X = append(in.X, make([]float64, 500))
	}
	if _, err := FitGLM(in); err == nil || !strings.Contains(err.Error(), "at most 333 rows") {
		t.Errorf("got %v", err)
	}
}
