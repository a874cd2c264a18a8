package habits

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// TestExcessIsFishersTest: the tea tasting of Fisher (1935), 3 of 4 against 1 of 4, one-sided p 17/70.
func TestExcessIsFishersTest(t *testing.T) {
	p, err := Excess(Cases{4, 3}, Cases{4, 1}, 1, 0)
	if err != nil || math.Abs(p-17.0/70) > 1e-12 {
		t.Errorf("p %v (%v), want %v", p, err, 17.0/70)
	}
}

func TestExcess(t *testing.T) {
	if p, err := Excess(Cases{}, Cases{40, 1}, 1, 0); err != nil || !math.IsNaN(p) {
		t.Errorf("no cases: %v, %v", p, err)
	}
	if _, err := Excess(Cases{3, 4}, Cases{40, 1}, 1, 0); err == nil {
		t.Error("more breaches than chances were accepted")
	}
	plain, _ := Excess(Cases{400, 80}, Cases{4000, 400}, 1, 0)
	clustered, _ := Excess(Cases{400, 80}, Cases{4000, 400}, 8, 0)
	if !(plain < 1e-6 && clustered > plain) {
		t.Errorf("design effect: %v, then %v", plain, clustered)
	}
	bare, _ := Excess(Cases{1000, 4}, Cases{10000, 0}, 1, 0)
	floored, _ := Excess(Cases{1000, 4}, Cases{10000, 0}, 1, 0.004)
	if !(bare < 0.001 && floored > 0.3) {
		t.Errorf("floor: %v, then %v", bare, floored)
	}
}

func TestExcessIsAChance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, m := rapid.IntRange(0, 3000).Draw(t, "n"), rapid.IntRange(0, 3000).Draw(t, "m")
		own, others := Cases{n, rapid.IntRange(0, n).Draw(t, "x")}, Cases{m, rapid.IntRange(0, m).Draw(t, "y")}
		p, err := Excess(own, others, rapid.Float64Range(0, 50).Draw(t, "effect"), rapid.Float64Range(0, 0.05).Draw(t, "floor"))
		if err != nil || math.IsNaN(p) != (n == 0 || m == 0) || p < 0 || p > 1 {
			t.Fatalf("%v against %v: %v, %v", own, others, p, err)
		}
	})
}

// TestExcessUnderTheNull: of people like the others, at most so many fall below a p as it says.
func TestExcessUnderTheNull(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 11)) //nolint:gosec // a seeded test
	draw := func(n int) Cases {
		c := Cases{Chances: n}
		for range n {
			if r.Float64() < 0.05 {
				c.Breaches++
			}
		}
		return c
	}
	const worlds = 2000
	below := 0
	for range worlds {
		if p, err := Excess(draw(300), draw(3000), 1, 0); err != nil || p < 0.05 {
			below++
		}
	}
	if below > worlds*5/100 {
		t.Errorf("%d of %d null worlds below 0.05", below, worlds)
	}
}

func even(n int) (d Digits) {
	for i := range d {
		d[i] = n + i%3 - 1
	}
	return d
}

func TestPrefer(t *testing.T) {
	rounded, coarse := even(20), Digits{500, 0, 0, 0, 0, 500}
	rounded[0], rounded[5] = 90, 80
	for name, c := range map[string]struct {
		own, others Digits
		small       bool
	}{
		"even":                         {even(30), even(300), false},
		"rounds to fives":              {rounded, even(300), true},
		"so do all":                    {rounded, Digits{900, 200, 200, 200, 200, 800, 200, 200, 200, 200}, false},
		"the model shows fives only":   {Digits{50, 0, 0, 0, 0, 50}, coarse, false},
		"one digit, like all":          {Digits{100}, Digits{900}, false},
		"even where others are uneven": {even(30), rounded, false},
	} {
		got, err := Prefer(c.own, c.others)
		if err != nil || math.IsNaN(got.P) || (got.P < 0.001) != c.small {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
	}
	if got := TooOften(rounded, even(300)); !slices.Equal(got, []int{0, 5}) {
		t.Errorf("digits used too often: %v", got)
	}
	if got := TooOften(even(30), even(300)); len(got) != 0 {
		t.Errorf("even digits, yet %v are used too often", got)
	}
}
