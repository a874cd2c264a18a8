package patterns

import (
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"
	"testing"
)

// proofWorlds is how many worlds each proof looks at.
const proofWorlds = 200

// everyWorld runs do for every seed, side by side.
func everyWorld(do func(seed uint64)) {
	var wait sync.WaitGroup
	next := make(chan uint64)
	for range runtime.GOMAXPROCS(0) {
		wait.Go(func() {
			for seed := range next {
				do(seed)
			}
		})
	}
	for i := range proofWorlds {
		next <- uint64(i)
	}
	close(next)
	wait.Wait()
}

// TestNullWorlds: where nothing goes with false alarms, at most one world in ten shows a pattern at q 0.10;
// also where sites differ widely among themselves.
func TestNullWorlds(t *testing.T) {
	for _, w := range []struct {
		name string
		world
	}{
		{"sites alike", world{inspections: 6000, points: 6, active: 0.1, seen: 0.8, still: 0.02}},
		{"sites differ", world{inspections: 6000, points: 6, active: 0.1, seen: 0.8, still: 0.02, siteSpread: 0.8}},
	} {
		var mu sync.Mutex
		flagged, tried := 0, 0
		everyWorld(func(seed uint64) {
			f, err := Search(w.calls(seed), worldOptions())
			mu.Lock()
			defer mu.Unlock()
			if err != nil {
				t.Error(err)
			}
			tried += f.Tried[0] + f.Tried[1] + f.Tried[2]
			if len(f.Patterns) > 0 {
				flagged++
			}
		})
		t.Logf("%s: %d of %d worlds show a pattern; %d patterns tried in each on average", w.name, flagged, proofWorlds, tried/proofWorlds)
		if flagged > proofWorlds/10 {
			t.Errorf("%s: %d of %d worlds show a pattern", w.name, flagged, proofWorlds)
		}
		if tried < proofWorlds*10_000 {
			t.Errorf("%s: only %d patterns tried", w.name, tried)
		}
	}
}

// TestPlantedWorlds: one or two planted patterns (the chance of a false alarm three to five times as high in
// 2 to 6 % of calls) come out among the first, or one circumstance more or fewer does; hardly anything else
// is shown.
func TestPlantedWorlds(t *testing.T) {
	var mu sync.Mutex
	planted, recovered, shown, unrelated := 0, 0, 0, 0
	everyWorld(func(seed uint64) {
		w := world{inspections: 6000, points: 6, active: 0.1, seen: 0.8, still: 0.02, siteSpread: 0.4}
		w.plants = draw(w, rand.New(rand.NewPCG(seed, 99)), 1+int(seed%2))
		f, err := Search(w.calls(seed), worldOptions())
		mu.Lock()
		defer mu.Unlock()
		if err != nil {
			t.Error(err)
		}
		top := f.Patterns[:min(len(f.Patterns), len(w.plants))]
		for _, p := range w.plants {
			planted++
			if slices.ContainsFunc(top, func(s Pattern) bool { return related(s.Terms, p.terms) }) {
				recovered++
			}
		}
		for _, s := range f.Patterns {
			shown++
			if !slices.ContainsFunc(w.plants, func(p plant) bool { return related(s.Terms, p.terms) }) {
				unrelated++
			}
		}
	})
	t.Logf("%d of %d planted patterns recovered; %d of %d shown are unrelated", recovered, planted, unrelated, shown)
	if float64(recovered) < 0.9*float64(planted) {
		t.Errorf("%d of %d planted patterns recovered", recovered, planted)
	}
	if float64(unrelated) > 0.1*float64(shown) {
		t.Errorf("%d of %d patterns shown are unrelated to what was planted", unrelated, shown)
	}
}

// related tells whether a pattern shown is the planted one, or has one circumstance more or fewer.
func related(shown, planted []Term) bool {
	common := 0
	for _, x := range shown {
		if slices.ContainsFunc(planted, func(y Term) bool { return near(x, y) }) {
			common++
		}
	}
	d := len(shown) - len(planted)
	return common == min(len(shown), len(planted)) && d >= -1 && d <= 1
}

// near tells whether two terms are the same, or cuts next to one another.
func near(x, y Term) bool {
	if x.Factor != y.Factor || x.Value == y.Value {
		return x.Factor == y.Factor
	}
	a, isCut := cutOf(x.Value)
	b, isToo := cutOf(y.Value)
	cuts := worldCuts[x.Factor]
	d := slices.Index(cuts, a) - slices.Index(cuts, b)
	return isCut && isToo && d >= -1 && d <= 1
}

// draw plants patterns that hold for 2 to 6 % of calls.
func draw(w world, r *rand.Rand, n int) []plant {
	w.inspections, w.active, w.seen, w.still, w.plants = 600, 1, 1, 0, nil
	c := w.calls(r.Uint64())
	var out []plant
	for len(out) < n {
		order := 1 + r.IntN(3)
		var terms []Term
		var sets []set
		for _, f := range r.Perm(len(c.Factors))[:order] {
			v := r.IntN(len(c.Factors[f].values))
			terms = append(terms, Term{c.Factors[f].Name, c.Factors[f].values[v]})
			sets = append(sets, c.Factors[f].sets[v])
		}
		all := slices.Clone(sets[0])
		fit := true
		for _, s := range sets {
			all.and(all, s)
			fit = fit && float64(s.size()) < mostShare*float64(len(c.Wrong))
		}
		if share := float64(all.size()) / float64(len(c.Wrong)); fit && share >= 0.02 && share <= 0.06 {
			out = append(out, plant{terms, 3 + 2*r.Float64()})
		}
	}
	return out
}
