package stats

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// slowLimit follows the formula of Spiegelhalter (2005) word for word, adding the law term by term.
func slowLimit(p, target float64, n int) float64 {
	law := distuv.Binomial{N: float64(n), P: target}
	sum := 0.0
	for r := 0; ; r++ {
		below := sum
		sum += law.Prob(float64(r))
		if sum >= p || r == n {
			return max(0, float64(r)-(sum-p)/(sum-below)) / float64(n)
		}
	}
}

func TestBinomialLimitsFollowTheFormula(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 400).Draw(t, "n")
		target := rapid.Float64Range(0.001, 0.999).Draw(t, "target")
		got, err := BinomialLimits(target, n)
		if err != nil {
			t.Fatal(err)
		}
		want := limitsOf(func(p float64) float64 { return slowLimit(p, target, n) })
		if !within(got.Low998, want.Low998, 1e-7) || !within(got.Low95, want.Low95, 1e-7) ||
			!within(got.High95, want.High95, 1e-7) || !within(got.High998, want.High998, 1e-7) {
			t.Fatalf("got %v, want %v", got, want)
		}
	})
}

// Where the chance of a unit with nothing but one outcome is below the tails, the limits hold the
// target between them, and a unit of four times the size has narrower ones.
func TestBinomialLimitsBracketTheTargetAndShrink(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		target := rapid.Float64Range(0.02, 0.98).Draw(t, "target")
		n := rapid.IntRange(500, 20_000).Draw(t, "n")
		small, _ := BinomialLimits(target, n)
		large, err := BinomialLimits(target, 4*n)
		if err != nil {
			t.Fatal(err)
		}
		if !(small.Low998 < small.Low95 && small.Low95 < target && target < small.High95 && small.High95 < small.High998) {
			t.Fatalf("%v around %v", small, target)
		}
		if large.High998-large.Low998 >= small.High998-small.Low998 || large.High95-large.Low95 >= small.High95-small.Low95 {
			t.Fatalf("%v is not within %v", large, small)
		}
	})
}

func TestPoissonFunnelShrinksAround1(t *testing.T) {
	f, err := PoissonFunnel([]float64{8, 32, 128, 2048, MaxCount})
	if err != nil {
		t.Fatal(err)
	}
	for i, l := range f.Interpolated {
		c := f.ChiSquare[i]
		if !(l.Low998 < l.Low95 && l.Low95 < 1 && 1 < l.High95 && l.High95 < l.High998) {
			t.Errorf("limits %v do not bracket 1", l)
		}
		if !(c.Low < 1 && 1 < c.High) {
			t.Errorf("chi-square limits %v do not bracket 1", c)
		}
		if i > 0 && l.High998-l.Low998 >= f.Interpolated[i-1].High998-f.Interpolated[i-1].Low998 {
			t.Errorf("limits %v wider than those of a smaller unit", l)
		}
	}
}

func drawUnits(t *rapid.T, least, most int) (events, totals []int) {
	for range rapid.IntRange(least, most).Draw(t, "units") {
		n := rapid.IntRange(1, 200).Draw(t, "n")
		totals = append(totals, n)
		events = append(events, rapid.IntRange(0, n).Draw(t, "x"))
	}
	return events, totals
}

func TestBinomialFunnelIgnoresOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		events, totals := drawUnits(t, 2, 15)
		order := rapid.Permutation(indices(len(events))).Draw(t, "order")
		a, err := BinomialFunnel(events, totals, 0.1)
		if err != nil {
			t.Fatal(err)
		}
		b, err := BinomialFunnel(pick(events, order), pick(totals, order), 0.1)
		if err != nil {
			t.Fatal(err)
		}
		if !within(a.Spread.Phi, b.Spread.Phi, 1e-9) || !within(a.Spread.Tau2, b.Spread.Tau2, 1e-9) {
			t.Fatalf("%v and %v", a.Spread, b.Spread)
		}
		for to, from := range order {
			if a.Limits[from] != b.Limits[to] || !within(a.ZAdditive[from], b.ZAdditive[to], 1e-9) {
				t.Fatalf("unit %d changed with the order", from)
			}
		}
	})
}

func pick(values, order []int) []int {
	out := make([]int, len(order))
	for to, from := range order {
		out[to] = values[from]
	}
	return out
}

// Calling the other outcome the event turns the funnel upside down.
func TestBinomialFunnelOfTheOtherOutcome(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		events, totals := drawUnits(t, 2, 15)
		others := make([]int, len(events))
		for i, x := range events {
			others[i] = totals[i] - x
		}
		a, _ := BinomialFunnel(events, totals, 0.1)
		b, err := BinomialFunnel(others, totals, 0.1)
		if err != nil || !within(a.Target, 1-b.Target, 1e-12) || !within(a.Spread.Phi, b.Spread.Phi, 1e-8) {
			t.Fatalf("%v and %v (%v)", a.Spread, b.Spread, err)
		}
		for i := range a.Z {
			if !within(a.Z[i], -b.Z[i], 1e-8) {
				t.Fatalf("z %v and %v", a.Z[i], b.Z[i])
			}
		}
	})
}

func TestBinomialFunnelOfSteadyUnitsIsNotWidened(t *testing.T) {
	f, err := BinomialFunnel([]int{10, 20, 30}, []int{100, 200, 300}, 0.1)
	if err != nil {
		t.Fatal(err)
	}
	if f.Spread.Tau2 != 0 || len(f.Flagged) != 0 {
		t.Errorf("tau2 %v, flagged %v; want none", f.Spread.Tau2, f.Flagged)
	}
	for i := range f.Limits {
		half := 1.959963984540054 * math.Sqrt(0.1*0.9/float64(100*(i+1)))
		if !within(f.Multiplicative[i].High, 0.1+half, 1e-12) || !within(f.Additive[i].High, 0.1+half, 1e-12) {
			t.Errorf("unit %d: limits %v, %v; want the plain ones, up to %v", i, f.Multiplicative[i], f.Additive[i], 0.1+half)
		}
	}
}

func TestMeasureOverdispersionAgreesWithTheFunnel(t *testing.T) {
	events, totals := []int{3, 12, 9, 40}, []int{50, 60, 70, 80}
	f, err := BinomialFunnel(events, totals, 0.2)
	if err != nil {
		t.Fatal(err)
	}
	se := make([]float64, len(totals))
	for i, n := range totals {
		se[i] = math.Sqrt(f.Target * (1 - f.Target) / float64(n))
	}
	o, err := MeasureOverdispersion(f.Z, se, 0.2)
	if err != nil || o.Phi != f.Spread.Phi || o.Tau2 != f.Spread.Tau2 {
		t.Errorf("got %v (%v), want %v", o, err, f.Spread)
	}
}

func TestFunnelRefuses(t *testing.T) {
	for name, call := range map[string]func() error{
		"no units":        func() error { _, err := BinomialFunnel(nil, nil, 0.1); return err },
		"unequal lengths": func() error { _, err := BinomialFunnel([]int{1}, []int{2, 3}, 0.1); return err },
		"no trials":       func() error { _, err := BinomialFunnel([]int{0}, []int{0}, 0.1); return err },
		"x above n":       func() error { _, err := BinomialFunnel([]int{3}, []int{2}, 0.1); return err },
		"negative":        func() error { _, err := BinomialFunnel([]int{-1}, []int{2}, 0.1); return err },
		"winsorise half":  func() error { _, err := BinomialFunnel([]int{1}, []int{2}, 0.5); return err },
		"target":          func() error { _, err := BinomialLimits(math.NaN(), 5); return err },
		"total":           func() error { _, err := BinomialLimits(0.5, 0); return err },
		"no expected":     func() error { _, err := PoissonFunnel(nil); return err },
		"expected 0":      func() error { _, err := PoissonFunnel([]float64{0}); return err },
		"expected NaN":    func() error { _, err := PoissonFunnel([]float64{math.NaN()}); return err },
		"se 0":            func() error { _, err := MeasureOverdispersion([]float64{1}, []float64{0}, 0.1); return err },
		"z infinite":      func() error { _, err := MeasureOverdispersion([]float64{math.Inf(1)}, []float64{1}, 0.1); return err },
	} {
		if call() == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// technicians are the inspections of 500 technicians over some years.
func technicians() []int {
	random := rand.New(rand.NewPCG(1, 2))
	totals := make([]int, 500)
	for i := range totals {
		totals[i] = 20 + random.IntN(5000)
	}
	return totals
}

// The funnel of a whole firm is drawn on every build: all exact limits of 500 technicians are to
// take under 50 ms.
func BenchmarkBinomialLimits500Technicians(b *testing.B) {
	totals := technicians()
	for b.Loop() {
		for _, n := range totals {
			if _, err := BinomialLimits(0.12, n); err != nil {
				b.Fatal(err)
			}
		}
	}
	if each := b.Elapsed() / time.Duration(b.N); each > 50*time.Millisecond {
		b.Errorf("500 technicians took %v, over 50ms", each)
	}
}

func ExampleBinomialLimits() {
	l, err := BinomialLimits(0.1196, 143)
	fmt.Printf("%.3f %.3f %.3f %.3f %v\n", l.Low998, l.Low95, l.High95, l.High998, err)
	// Output: 0.040 0.065 0.172 0.207 <nil>
}
