package stats

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// gammaLogLik is the log-likelihood written with gamma functions, as in Skellam (1948): another
// form than the one maximized.
func gammaLogLik(events, totals []int, prior BetaPrior) float64 {
	beta := func(a, b float64) float64 { return logGamma(a) + logGamma(b) - logGamma(a+b) }
	sum := 0.0
	for i, x := range events {
		k, n := float64(x), float64(totals[i])
		sum += beta(k+prior.Alpha, n-k+prior.Beta) - beta(prior.Alpha, prior.Beta)
		sum += logGamma(n+1) - logGamma(k+1) - logGamma(n-k+1)
	}
	return sum
}

func TestBetaBinomialIsTheMaximum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		events, totals := drawUnits(t, 2, 15)
		fit, err := BetaBinomial(events, totals)
		if err != nil {
			t.Fatal(err)
		}
		if fit.LogLik < fit.BinomialLogLik-1e-9 {
			t.Fatalf("log-likelihood %v below that of one rate %v", fit.LogLik, fit.BinomialLogLik)
		}
		if a := fit.Prior.Alpha + fit.Prior.Beta; a > 0 && a < 1e4 && !within(fit.LogLik, gammaLogLik(events, totals, fit.Prior), 1e-7) {
			t.Fatalf("log-likelihood %v, by gamma functions %v", fit.LogLik, gammaLogLik(events, totals, fit.Prior))
		}
		alpha := rapid.Float64Range(0.05, 50).Draw(t, "alpha")
		beta := rapid.Float64Range(0.05, 50).Draw(t, "beta")
		if other := gammaLogLik(events, totals, BetaPrior{alpha, beta}); other > fit.LogLik+1e-7*math.Abs(fit.LogLik) {
			t.Fatalf("prior (%v, %v) has %v, above the maximum %v", alpha, beta, other, fit.LogLik)
		}
	})
}

func TestShrinkageLiesBetweenRawAndMean(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		events, totals := drawUnits(t, 2, 15)
		fit, err := BetaBinomial(events, totals)
		if err != nil {
			t.Fatal(err)
		}
		for i, x := range events {
			raw := float64(x) / float64(totals[i])
			if p := fit.Posterior[i]; p < min(raw, fit.Mean)-1e-9 || p > max(raw, fit.Mean)+1e-9 {
				t.Fatalf("unit %d: %v is not between %v and %v", i, p, raw, fit.Mean)
			}
			if p := fit.Moments.Posterior[i]; p < min(raw, fit.Moments.Mean)-1e-9 || p > max(raw, fit.Moments.Mean)+1e-9 {
				t.Fatalf("unit %d: moment %v is not between %v and %v", i, p, raw, fit.Moments.Mean)
			}
			if ci := fit.Prior.Interval(x, totals[i], 0.95); !math.IsNaN(ci.Low) && !(0 <= ci.Low && ci.Low <= ci.High && ci.High <= 1) {
				t.Fatalf("unit %d: interval %v", i, ci)
			}
		}
	})
}

func TestBetaBinomialIgnoresOrderAndNames(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		events, totals := drawUnits(t, 2, 12)
		order := rapid.Permutation(indices(len(events))).Draw(t, "order")
		others := make([]int, len(events))
		for i, x := range events {
			others[i] = totals[i] - x
		}
		a, _ := BetaBinomial(events, totals)
		b, err := BetaBinomial(pick(events, order), pick(totals, order))
		if err != nil || !within(a.LogLik, b.LogLik, 1e-9) || !within(a.Rho, b.Rho, 1e-5) {
			t.Fatalf("order: rho %v and %v (%v)", a.Rho, b.Rho, err)
		}
		c, err := BetaBinomial(others, totals)
		if err != nil || !within(a.LogLik, c.LogLik, 1e-9) || !within(a.Mean, 1-c.Mean, 1e-5) {
			t.Fatalf("other outcome: mean %v and %v (%v)", a.Mean, c.Mean, err)
		}
	})
}

func TestBetaBinomialOnTheEdge(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name           string
		events, totals []int
		mean, rho      float64
		posterior      float64 // of the first unit
	}{
		{"alike units", []int{2, 2, 2}, []int{5, 5, 5}, 0.4, 0, 0.4},
		{"one unit", []int{2}, []int{5}, 0.4, 0, 0.4},
		{"all or nothing", []int{0, 5, 7}, []int{5, 5, 7}, 2.0 / 3, 1, 0},
		{"no events", []int{0, 0}, []int{5, 7}, 0, nan, nan},
		{"only events", []int{5, 7}, []int{5, 7}, 1, nan, nan},
		{"single trials", []int{1, 0, 1, 0}, []int{1, 1, 1, 1}, 0.5, nan, nan},
	} {
		fit, err := BetaBinomial(c.events, c.totals)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if !within(fit.Mean, c.mean, 1e-12) || !within(fit.Rho, c.rho, 0) || !within(fit.Posterior[0], c.posterior, 1e-12) {
			t.Errorf("%s: mean %v rho %v posterior %v", c.name, fit.Mean, fit.Rho, fit.Posterior[0])
		}
		if !math.IsNaN(fit.SELogitRho) || !math.IsNaN(fit.SELogitMean) {
			t.Errorf("%s: standard errors on the edge: %v, %v", c.name, fit.SELogitMean, fit.SELogitRho)
		}
	}
}

func TestBetaBinomialAtItsSizeLimit(t *testing.T) {
	n := MaxBetaBinomialTrials
	began := time.Now()
	fit, err := BetaBinomial([]int{n - 1, n / 2, 3, n / 3}, []int{n, n, 5, n})
	if err != nil || !(fit.Rho > 0 && fit.Rho < 1) {
		t.Errorf("rho %v (%v)", fit.Rho, err)
	}
	if took := time.Since(began); took > 10*time.Second {
		t.Errorf("took %v", took)
	}
	if _, err := BetaBinomial([]int{1}, []int{n + 1}); err == nil {
		t.Error("a unit above the limit: no error")
	}
}
