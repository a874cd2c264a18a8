package patterns

import (
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"
	"testing"
	"time"
)

func everyWorld(n int, do func(seed uint64)) {
	var wait sync.WaitGroup
	next := make(chan uint64)
	for range runtime.GOMAXPROCS(0) {
		wait.Go(func() {
			for seed := range next {
				do(seed)
			}
		})
	}
	for i := range n {
		next <- uint64(i)
	}
	close(next)
	wait.Wait()
}

func TestNullWorlds(t *testing.T) {
	for name, w := range map[string]world{
		"plain":  {inspections: 6000, points: 6, active: 0.1, seen: 0.8, still: 0.02},
		"sites":  {inspections: 6000, points: 6, active: 0.1, seen: 0.8, still: 0.02, siteSpread: 0.8},
		"people": {inspections: 6000, points: 6, active: 0.1, seen: 0.8, still: 0.02, siteSpread: 0.4, techSpread: 0.3, regionSpread: 0.3},
		"rare":   {inspections: 6000, points: 6, active: 0.1, seen: 0.8, still: 0.006},
	} {
		start := time.Now()
		var mu sync.Mutex
		flagged, rows := 0, 0
		var what [][]Term
		var tried [3]int
		var n, wrong int
		everyWorld(200, func(seed uint64) {
			f, err := Search(w.calls(seed), worldOptions())
			mu.Lock()
			defer mu.Unlock()
			if err != nil {
				t.Error(err)
			}
			tried, n, wrong = f.Tried, f.Calls, f.Wrong
			if len(f.Patterns) > 0 {
				flagged++
			}
			rows += len(f.Patterns)
			for _, p := range f.Patterns {
				what = append(what, p.Terms)
				t.Logf("%s null %d %s n=%d O=%d E=%.1f ratio %.2f p=%.2g q=%.3f", name, len(p.Terms), p.Terms, p.Verified, p.Wrong, p.Expected, float64(p.Wrong)/p.Expected, p.P, p.Q)
			}
		})
		t.Logf("%s: %d of 200 flagged, %d rows, tried %v, calls %d wrong %d, %v", name, flagged, rows, tried, n, wrong, time.Since(start))
		_ = what
	}
}

func related(shown, planted []Term) bool {
	in := func(a, b []Term) int {
		n := 0
		for _, x := range a {
			if slices.ContainsFunc(b, func(y Term) bool { return near(x, y) }) {
				n++
			}
		}
		return n
	}
	n := in(shown, planted)
	if n != min(len(shown), len(planted)) {
		return false
	}
	d := len(shown) - len(planted)
	return d >= -1 && d <= 1
}

// near: the same value, or a cut next to it.
func near(x, y Term) bool {
	if x.Factor != y.Factor {
		return false
	}
	if x.Value == y.Value {
		return true
	}
	a, ok := cutOf(x.Value)
	b, ok2 := cutOf(y.Value)
	if !ok || !ok2 {
		return false
	}
	cuts := worldCuts[x.Factor]
	i, j := slices.Index(cuts, a), slices.Index(cuts, b)
	return i-j <= 1 && j-i <= 1
}

func TestPlantedWorlds(t *testing.T) {
	for name, w := range map[string]world{
		"plain": {inspections: 6000, points: 6, active: 0.1, seen: 0.8, still: 0.02, siteSpread: 0.4},
		"rare":  {inspections: 6000, points: 6, active: 0.1, seen: 0.8, still: 0.008, siteSpread: 0.4},
		"high":  {inspections: 6000, points: 6, active: 0.1, seen: 0.8, still: 0.08, siteSpread: 0.4},
		"share": {inspections: 6000, points: 6, active: 0.1, seen: 0.8, still: 0.1, siteSpread: 0.4, byShare: true},
	} {
		start := time.Now()
		var mu sync.Mutex
		planted, recovered, shown, unrelated := 0, 0, 0, 0
		everyWorld(200, func(seed uint64) {
			w := w
			r := rand.New(rand.NewPCG(seed, 99))
			w.plants = draw(w, r, 1+int(seed%2))
			c := w.calls(seed)
			f, err := Search(c, worldOptions())
			mu.Lock()
			defer mu.Unlock()
			if err != nil {
				t.Error(err)
			}
			for _, p := range w.plants {
				planted++
				top := f.Patterns[:min(len(f.Patterns), len(w.plants))]
				if slices.ContainsFunc(top, func(s Pattern) bool { return related(s.Terms, p.terms) }) {
					recovered++
				} else {
					s := "missed: "
					for _, x := range f.Patterns {
						s += " | "
						for _, y := range x.Terms {
							s += y.Factor + "=" + y.Value + ";"
						}
					}
					t.Log(seed, p, s)
				}
			}
			for _, s := range f.Patterns {
				shown++
				if !slices.ContainsFunc(w.plants, func(p plant) bool { return related(s.Terms, p.terms) }) {
					unrelated++
					t.Log(seed, "unrelated", s.Terms, s.Verified, s.Wrong, s.Expected, s.P, s.Q, w.plants)
				}
			}
		})
		t.Logf("%s: %d of %d recovered, %d of %d unrelated, %v", name, recovered, planted, unrelated, shown, time.Since(start))
	}
}

// draw plants patterns of 2 to 6 % of calls.
func draw(w world, r *rand.Rand, n int) []plant {
	flat := w
	flat.plants, flat.byShare = nil, true
	flat.still, flat.active, flat.seen = 0, 1, 1
	flat.inspections = 600
	c := flat.calls(r.Uint64())
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
		for _, s := range sets[1:] {
			all.and(all, s)
		}
		share := float64(all.size()) / float64(len(c.Wrong))
		ok := share >= 0.02 && share <= 0.06
		for _, s := range sets {
			ok = ok && (len(sets) == 1 || float64(s.size()) < 0.5*float64(len(c.Wrong)))
		}
		if ok {
			out = append(out, plant{terms, 3 + 2*r.Float64()})
		}
	}
	return out
}
