package agreement

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func drawPairs(t *rapid.T) []Pair {
	call := rapid.SampledFrom([]string{Active, Clear, "unsure"})
	tech := rapid.SampledFrom([]string{"T1", "T2", "T3", "T4"})
	var out []Pair
	for i := range rapid.IntRange(0, 60).Draw(t, "pairs") {
		p := Pair{Site: fmt.Sprint(rapid.IntRange(0, 8).Draw(t, "site")), Point: fmt.Sprint("P", i), Visit: "I", First: tech.Draw(t, "first"), Second: tech.Draw(t, "second"),
			Before: call.Draw(t, "before"), Afterward: call.Draw(t, "after")}
		if p.First != p.Second {
			out = append(out, p)
		}
	}
	return out
}

// TestEveryPairCounts: pairs and unsure ones add up, each pair is that of two technicians, and turning
// the sides round turns what only one called and nothing else.
func TestEveryPairCounts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pairs := drawPairs(t)
		all, err := Measure(pairs, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		own, onlyOwn, onlyOther := 0, 0, 0
		for _, tech := range []string{"T1", "T2", "T3", "T4"} {
			m, err := Measure(Of(tech, pairs), 0.95)
			if err != nil {
				t.Fatal(err)
			}
			own += m.Pairs + m.Unsure
			onlyOwn, onlyOther = onlyOwn+m.OnlyFirst, onlyOther+m.OnlySecond
		}
		if all.Pairs+all.Unsure != len(pairs) || own != 2*len(pairs) || onlyOwn != onlyOther || onlyOwn != all.OnlyFirst+all.OnlySecond {
			t.Fatalf("%d pairs: all %+v; technicians %d, %d and %d", len(pairs), all, own, onlyOwn, onlyOther)
		}
		var turned []Pair
		for _, p := range pairs {
			p.First, p.Second, p.Before, p.Afterward = p.Second, p.First, p.Afterward, p.Before
			turned = append(turned, p)
		}
		slices.Reverse(turned)
		back, err := Measure(turned, 0.95)
		if err != nil || back.OnlyFirst != all.OnlySecond || back.Both != all.Both || back.DirectionP != all.DirectionP || !alike(back.Calls.Kappa.Value, all.Calls.Kappa.Value) ||
			!alike(back.Calls.Kappa.Low, all.Calls.Kappa.Low) {
			t.Fatalf("turned round %+v, was %+v (%v)", back, all, err)
		}
	})
}

func alike(a, b float64) bool {
	return math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) < 1e-9
}

// TestRareMovement: two people who both call one point in a hundred active, and agree at 98 in a
// hundred, have a kappa near 0 and an AC1 near 1 (the paradox of Feinstein and Cicchetti 1990).
func TestRareMovement(t *testing.T) {
	got, err := Measure(pairsOf(0, 1, 1, 98), 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if got.Calls.Kappa.Value > 0 || got.Calls.AC1.Value < 0.97 {
		t.Errorf("kappa %v, AC1 %v", got.Calls.Kappa.Value, got.Calls.AC1.Value)
	}
}

func TestNothingToCompare(t *testing.T) {
	got, err := Measure([]Pair{{Site: "S", First: "A", Second: "B", Before: "unsure", Afterward: Active}}, 0.95)
	if err != nil || got.Pairs != 0 || got.Unsure != 1 {
		t.Errorf("%+v, %v", got, err)
	}
	if _, err := Together(nil, 0.95); err == nil {
		t.Error("no ratings were taken")
	}
	none, err := Repeatability([]Repeat{{Site: "S", Levels: []float64{3}, Clear: 1}}, 0.95)
	if err != nil || none.Sets != 0 || !math.IsNaN(none.SD.Value) || none.Same.Units != 0 {
		t.Errorf("%+v, %v", none, err)
	}
}

// TestAlphaInterval: alpha's interval holds the alpha of a world with many raters about as often as it
// says; in each world 12 technicians recheck one another at 60 sites.
func TestAlphaInterval(t *testing.T) {
	const worlds = 200
	const rate, slip = 0.15, 0.04
	called := rate*(1-slip) + (1-rate)*slip
	both := rate*(1-slip)*(1-slip) + (1-rate)*slip*slip
	truth := 1 - (called-both)/(called*(1-called)) // Scott's pi of raters who are alike
	held := 0
	for seed := range uint64(worlds) {
		r := rand.New(rand.NewPCG(seed, 7))
		call := func(moves bool) string {
			if moves != (r.Float64() < slip) {
				return Active
			}
			return Clear
		}
		var pairs []Pair
		for site := range 60 {
			first := r.IntN(12)
			second := (first + 1 + r.IntN(11)) % 12
			for point := range 8 {
				moves := r.Float64() < rate
				pairs = append(pairs, Pair{Site: fmt.Sprintf("S%02d", site), Point: fmt.Sprint(point), Visit: "I", First: fmt.Sprint(first), Second: fmt.Sprint(second),
					Before: call(moves), Afterward: call(moves)})
			}
		}
		got, err := Together(Ratings(pairs), 0.95)
		if err != nil || got.N != 480 {
			t.Fatalf("%+v, %v", got, err)
		}
		if got.Low <= truth && truth <= got.High {
			held++
		}
	}
	t.Logf("alpha %.3f held in %.1f %% of %d worlds", truth, float64(held)*100/worlds, worlds)
	if held < worlds*90/100 || held > worlds*99/100 {
		t.Errorf("alpha %.3f held in %d of %d worlds", truth, held, worlds)
	}
}
