package stats

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func firthOf(t interface{ Fatal(...any) }, in GLMInput) FirthFit {
	f, err := FitFirth(in, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// drawBinary draws a 0/1 data set with a constant and two columns of full rank.
func drawBinary(t *rapid.T) GLMInput {
	in := GLMInput{X: [][]float64{{1, 0, 0}, {1, 3, 0}, {1, 0, 3}}, Y: []float64{0, 1, 1}}
	for range rapid.IntRange(4, 25).Draw(t, "n") {
		a, b := rapid.IntRange(0, 6).Draw(t, "a"), rapid.IntRange(0, 6).Draw(t, "b")
		in.X = append(in.X, []float64{1, float64(a), float64(b)})
		in.Y = append(in.Y, float64(rapid.IntRange(0, 1).Draw(t, "y")))
	}
	return in
}

func TestFirthProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawBinary(t)
		f := firthOf(t, in)
		m, err := newGLM(in)
		if err != nil {
			t.Fatal(err)
		}
		for j, b := range f.Coef {
			// The estimate is the top of its own profile, and the limits lie where the profile
			// has dropped by the critical value.
			drop := func(v float64) float64 { return m.firthDrop(&f, j, v, f.Coef) }
			if top := drop(b); top > 1e-8 {
				t.Fatalf("coefficient %d: profile at the estimate is %g below the top", j, top)
			}
			for _, limit := range []float64{f.Low[j], f.High[j]} {
				if d := drop(limit); math.Abs(d-3.841459) > 1e-4 && len(f.Warnings) == 0 {
					t.Fatalf("coefficient %d: drop %g at the limit %g of %+v", j, d, limit, f)
				}
			}
			if !(f.Low[j] < b && b < f.High[j]) {
				t.Fatalf("coefficient %d: %g not within %g to %g", j, b, f.Low[j], f.High[j])
			}
			if inside := f.Low[j] < 0 && 0 < f.High[j]; inside != (f.P[j] > 0.05) && len(f.Warnings) == 0 {
				t.Fatalf("coefficient %d: P %g disagrees with %g to %g", j, f.P[j], f.Low[j], f.High[j])
			}
		}
		// Calling events non-events turns every sign; the order of rows means nothing.
		turned := in
		turned.X, turned.Y = slices.Clone(in.X), slices.Clone(in.Y)
		slices.Reverse(turned.X)
		slices.Reverse(turned.Y)
		for i, y := range turned.Y {
			turned.Y[i] = 1 - y
		}
		g := firthOf(t, turned)
		for j := range f.Coef {
			scale := 1 + math.Abs(f.Low[j]) + math.Abs(f.High[j])
			if math.Abs(f.Coef[j]+g.Coef[j]) > 1e-6*scale || math.Abs(f.Low[j]+g.High[j]) > 1e-5*scale {
				t.Fatalf("relabelled: %+v and %+v", f, g)
			}
		}
	})
}

// Six rows whose profile has two peaks below -3.5: the limit is on the one that is reached from the
// estimate, and a warning tells of the other.
func TestFirthProfileWithTwoPeaks(t *testing.T) {
	f := firthOf(t, GLMInput{
		X: [][]float64{{1, 0, 0}, {1, 3, 0}, {1, 0, 3}, {1, 0, 4}, {1, 0, 1}, {1, 3, 0}},
		Y: []float64{0, 1, 1, 1, 1, 0},
	})
	near(t, "lower limit", f.Low[0], -3.747, 1e-3)
	if len(f.Warnings) == 0 {
		t.Error("no warning of several peaks")
	}
}

// In a saturated model the estimate is that of maximum likelihood after adding 1/2 to every cell
// (Firth 1993, section 3); Trials, Weights and rows are three ways to say the same counts.
func TestFirthClosedForm(t *testing.T) {
	want := []float64{math.Log(0.5 / 10.5), math.Log(4.5/6.5) - math.Log(0.5/10.5)}
	grouped := firthOf(t, GLMInput{X: withConstant([]float64{0, 1}), Y: []float64{0, 4}, Trials: []float64{10, 10}})
	weighted := firthOf(t, GLMInput{X: withConstant([]float64{0, 0, 1, 1}), Y: []float64{0, 1, 0, 1}, Weights: []float64{10, 0, 6, 4}})
	for _, f := range []FirthFit{grouped, weighted} {
		near(t, "intercept", f.Coef[0], want[0], 1e-9)
		near(t, "slope", f.Coef[1], want[1], 1e-9)
		near(t, "penalised log-likelihood", f.PenalisedLogLik, -7.17318186327998, 1e-9)
	}
	// One column: profile limits of a single log odds.
	single := firthOf(t, GLMInput{X: [][]float64{{1}}, Y: []float64{0}, Trials: []float64{10}})
	near(t, "single", single.Coef[0], math.Log(0.5/10.5), 1e-9)
}

func TestFitLogisticChooses(t *testing.T) {
	overlap, err := FitLogistic(GLMInput{X: withConstant(beetles.dose), Y: beetles.killed, Trials: beetles.exposed}, 0.95)
	if err != nil || overlap.Penalised {
		t.Fatalf("%+v, %v", overlap, err)
	}
	in := GLMInput{X: withConstant([]float64{1, 2, 3, 4, 5, 6}), Y: []float64{0, 0, 0, 1, 1, 1}}
	fit, err := FitLogistic(in, 0.95)
	if err != nil || !fit.Penalised || len(fit.Warnings) == 0 {
		t.Fatalf("%+v, %v", fit, err)
	}
	f := firthOf(t, in)
	near(t, "slope", fit.Coef[1], f.Coef[1], 0)
	near(t, "deviance limit", fit.Deviance, 0, 1e-9)
	near(t, "test against no covariates", fit.ChiSquared, 12*math.Ln2, 1e-9)
	if !math.IsNaN(fit.Z[1]) || !(fit.Low[1] > 0) {
		t.Errorf("%+v", fit)
	}
	// With much data the penalty no longer matters.
	big := GLMInput{X: withConstant(beetles.dose), Y: make([]float64, 8), Trials: make([]float64, 8)}
	for i := range big.Y {
		big.Y[i], big.Trials[i] = 1e6*beetles.killed[i], 1e6*beetles.exposed[i]
	}
	ml, err := FitLogistic(big, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	p := firthOf(t, big)
	near(t, "slope with much data", p.Coef[1], ml.Coef[1], 1e-5)
	near(t, "low limit with much data", p.Low[1], ml.Low[1], 1e-5)
}

func TestLogisticRefuses(t *testing.T) {
	good := GLMInput{X: withConstant([]float64{1, 2, 3}), Y: []float64{0, 1, 0}}
	if _, err := FitLogistic(good, 1); err == nil {
		t.Error("full confidence accepted")
	}
	if _, err := FitFirth(good, 0); err == nil {
		t.Error("no confidence accepted")
	}
	probit := good
	probit.Link = LinkProbit
	if _, err := FitFirth(probit, 0.95); err == nil {
		t.Error("probit accepted")
	}
	if _, err := FitLogistic(GLMInput{}, 0.95); err == nil {
		t.Error("nothing accepted")
	}
}

// TestFirthTakesAlikeRowsTogether: rows given one by one and the same rows as counts give the same fit.
func TestFirthTakesAlikeRowsTogether(t *testing.T) {
	counts := GLMInput{X: [][]float64{{1, 0}, {1, 1}}, Y: []float64{0, 4}, Trials: []float64{10, 10}, Family: Binomial}
	single := GLMInput{Family: Binomial}
	for i, row := range counts.X {
		for k := range 10 {
			y := 0.0
			if float64(k) < counts.Y[i] {
				y = 1
			}
			single.X, single.Y = append(single.X, row), append(single.Y, y)
		}
	}
	a, err := FitFirth(counts, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	b, err := FitFirth(single, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	for j := range a.Coef {
		closeTo(t, "coefficient", b.Coef[j], a.Coef[j], 1e-9)
		closeTo(t, "limit", b.High[j], a.High[j], 1e-6)
	}
	if len(b.Fitted) != len(single.Y) || b.Fitted[0] != b.Fitted[9] || b.Fitted[0] == b.Fitted[10] {
		t.Errorf("fitted values are not those of the rows: %v", b.Fitted)
	}
}

// TestFirthRefusesWhatWouldTakeTooLong: columns that differ in every row cannot be taken together.
func TestFirthRefusesWhatWouldTakeTooLong(t *testing.T) {
	in := GLMInput{Family: Binomial}
	for i := range 40_000 {
		x := float64(i) / 40_000
		in.X, in.Y = append(in.X, []float64{1, x, x * x, x * x * x}), append(in.Y, float64(i%2))
	}
	if _, err := FitFirth(in, 0.95); err == nil || !strings.Contains(err.Error(), "too many for profile limits") {
		t.Errorf("got %v", err)
	}
}

// TestFirthEndsASearchThatTakesTooLong: with all work done a limit is NaN beside a warning, and an
// estimate is an error.
func TestFirthEndsASearchThatTakesTooLong(t *testing.T) {
	in := GLMInput{X: withConstant([]float64{1, 2, 3, 4, 5, 6}), Y: []float64{0, 0, 1, 0, 1, 1}}
	f := firthOf(t, in)
	m, err := newGLM(in)
	if err != nil {
		t.Fatal(err)
	}
	m.visits = firthWork
	ended := FirthFit{Coef: f.Coef, StdErr: f.StdErr, PenalisedLogLik: f.PenalisedLogLik, information: f.information}
	m.firthProfiles(&ended, 0.95)
	if !math.IsNaN(ended.Low[1]) || !math.IsNaN(ended.P[1]) || !strings.Contains(strings.Join(ended.Warnings, " "), "took too long") {
		t.Errorf("%+v", ended)
	}
	if _, err := m.firthSearch(-1, f.Coef, f.information); err == nil {
		t.Error("the search went on")
	}
}
