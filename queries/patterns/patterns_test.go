package patterns

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"

	"scanledger/queries/stats"
)

// TestScoreIsCochranMantelHaenszel: with the strata as the adjusting factor, the score test of a pattern is
// the Cochran-Mantel-Haenszel test without continuity correction, but for n-1 in place of n in the variance
// of a stratum and the slight hold on the strata. The published chi-squares are those of testdata, each with
// its source: UCB admissions (Bickel, Hammel & O'Connell 1975), smoking and lung cancer in China (Liu 1992)
// and migraine (SAS/STAT).
func TestScoreIsCochranMantelHaenszel(t *testing.T) {
	raw, err := os.ReadFile("../../testdata/published.json")
	if err != nil {
		t.Fatal(err)
	}
	var examples []struct {
		Method, ID, Source string
		Input              struct{ Strata [][4]int }
		Expected           map[string]any
	}
	if err := json.Unmarshal(raw, &examples); err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, e := range examples {
		if e.Method != "07-cochran-mantel-haenszel" {
			continue
		}
		seen++
		c, exposed := stratified(e.Input.Strata)
		m := newModel(&c, []adjuster{{&c.Factors[0], levelSpread}}, nil)
		if err := m.fit(); err != nil {
			t.Fatal(err)
		}
		var scratch tally
		s := scratch.score(&c, m, exposed, spread{})
		got, want := s.excess()*s.excess()/s.variance, e.Expected["cmh_chisq_uncorrected"].(float64)
		if math.Abs(got/want-1) > 0.05 {
			t.Errorf("%s (%s): chi-square %g, published %g", e.ID, e.Source, got, want)
		}
	}
	if seen < 3 {
		t.Errorf("%d published examples seen", seen)
	}
}

// stratified lays tables [[a b] [c d]] out as calls, a site each: the first row is the exposed, the first
// column the wrong.
func stratified(strata [][4]int) (Calls, set) {
	c := Calls{}
	var stratum []string
	var exposed []int
	for k, s := range strata {
		for cell, n := range s {
			for range n {
				if cell < 2 {
					exposed = append(exposed, len(c.Wrong))
				}
				stratum = append(stratum, fmt.Sprint(k))
				c.Site = append(c.Site, len(c.Site))
				c.Wrong = append(c.Wrong, cell%2 == 0)
			}
		}
	}
	rank := slices.Compact(slices.Clone(stratum))
	c.Factors = []Factor{Kinds("stratum", stratum, rank)}
	members := newSet(len(c.Wrong))
	for _, i := range exposed {
		members.add(i)
	}
	return c, members
}

// TestEnumerationAgainstCounting: every single, pair and triple that is listed has the members a plain count
// gives, and every one left out is left out for one of the stated reasons.
func TestEnumerationAgainstCounting(t *testing.T) {
	c := world{inspections: 400, points: 6, active: 0.3, seen: 0.8, still: 0.02}.calls(3)
	c.Factors = c.Factors[:7]
	s := &search{calls: &c, opt: Options{MinVerified: 25}, nth: map[string]int{}}
	s.enumerate()
	listed := map[string]int{}
	for _, p := range s.patterns {
		listed[key(p.items)] = p.n
	}
	holds := func(i int, items []int) bool {
		return !slices.ContainsFunc(items, func(k int) bool { return !s.items[k].set.has(i) })
	}
	size := func(items []int) int {
		n := 0
		for i := range c.Wrong {
			if holds(i, items) {
				n++
			}
		}
		return n
	}
	checked := 0
	var walk func(items []int)
	walk = func(items []int) {
		for next := 0; next < len(s.items) && len(items) < 3; next++ {
			more := append(slices.Clone(items), next)
			if len(items) > 0 && next <= items[len(items)-1] || sameFactor(s, more) {
				continue
			}
			n, ok := size(more), true
			for drop := range more {
				if parent := slices.Delete(slices.Clone(more), drop, drop+1); len(parent) > 0 {
					ok = ok && !nearly(n, size(parent))
				}
			}
			got, in := listed[key(more)]
			if want := ok && n >= 25 && float64(n) <= mostShare*float64(len(c.Wrong)); want != in || in && got != n {
				// a triple of a pair that was not worth looking at is not looked at either
				if len(more) != 3 || !want || in {
					t.Errorf("%v: %d calls, listed %v with %d", s.terms(more), n, in, got)
				}
			}
			checked++
			walk(more)
		}
	}
	walk(nil)
	if checked < 1000 || len(listed) < 100 {
		t.Errorf("%d checked, %d listed", checked, len(listed))
	}
}

func sameFactor(s *search, items []int) bool {
	seen := map[int]bool{}
	for _, i := range items {
		if seen[s.items[i].factor] {
			return true
		}
		seen[s.items[i].factor] = true
	}
	return false
}

// plain is calls of two-valued factors a to d, wrong with the chance that says gives.
func plain(n int, seed uint64, says func(values [4]bool) float64) Calls {
	r := rand.New(rand.NewPCG(seed, 1))
	c := Calls{}
	var columns [4][]string
	for i := range n {
		var values [4]bool
		for k := range values {
			values[k] = r.Float64() < 0.3
			columns[k] = append(columns[k], map[bool]string{true: "yes", false: ""}[values[k]])
		}
		c.Wrong = append(c.Wrong, r.Float64() < says(values))
		c.Site = append(c.Site, i/2)
	}
	for k, name := range []string{"a", "b", "c", "d"} {
		c.Factors = append(c.Factors, Kinds(name, columns[k], []string{"yes"}))
	}
	return c
}

func shownTerms(f Found) []string {
	var out []string
	for _, p := range f.Patterns {
		var names []string
		for _, t := range p.Terms {
			names = append(names, t.Factor)
		}
		out = append(out, strings.Join(names, "&"))
	}
	return out
}

var bounds = Options{MinVerified: 30, MinExcess: 5, MinOdds: 1.5, Q: 0.1, MaxFound: 20}

// TestRedundancy: what holds for one circumstance is shown as one, what needs two as two, and each once.
func TestRedundancy(t *testing.T) {
	for _, c := range []struct {
		name string
		says func(v [4]bool) float64
		want []string
	}{
		{"one", func(v [4]bool) float64 { return when(v[0], 0.4) }, []string{"a"}},
		{"two together", func(v [4]bool) float64 { return when(v[0] && v[1], 0.6) }, []string{"a&b"}},
		{"three together", func(v [4]bool) float64 { return when(v[0] && v[1] && v[2], 0.8) }, []string{"a&b&c"}},
		{"two apart", func(v [4]bool) float64 { return max(when(v[0], 0.5), when(v[2] && v[3], 0.6)) }, []string{"a", "c&d"}},
		{"none", func([4]bool) float64 { return 0.1 }, nil},
	} {
		f, err := Search(plain(4000, 5, c.says), bounds)
		got := shownTerms(f)
		slices.Sort(got)
		if err != nil || !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, %v; want %v", c.name, got, err, c.want)
		}
	}
}

func when(holds bool, chance float64) float64 {
	if holds {
		return chance
	}
	return 0.1
}

// TestMerged: two factors that say nearly the same make one pattern, under the clearest wording.
func TestMerged(t *testing.T) {
	c := plain(4000, 6, func(v [4]bool) float64 { return when(v[0], 0.4) })
	copied := make([]string, len(c.Wrong))
	for i := range copied {
		if c.Factors[0].sets[0].has(i) && i%10 != 0 {
			copied[i] = "yes"
		}
	}
	c.Factors = append(c.Factors, Kinds("nearly_a", copied, []string{"yes"}))
	f, err := Search(c, bounds)
	if err != nil || len(f.Patterns) != 1 || len(f.Patterns[0].Same) == 0 {
		t.Errorf("%v, %v", shownTerms(f), err)
	}
}

// TestExpected: the expected comes from the calls outside the pattern alone.
func TestExpected(t *testing.T) {
	c := plain(20_000, 8, func(v [4]bool) float64 { return when(v[0], 0.4) })
	f, err := Search(c, bounds)
	if err != nil || len(f.Patterns) != 1 {
		t.Fatal(f.Patterns, err)
	}
	p := f.Patterns[0]
	if rate := p.Expected / float64(p.Verified); math.Abs(rate-0.1) > 0.01 {
		t.Errorf("expected share %g; the calls outside are wrong at 0.1", rate)
	}
	sum := 0.0
	for _, chance := range p.Chance {
		sum += chance
	}
	if len(p.Members) != p.Verified || math.Abs(sum-p.Expected) > 1e-9 || p.P > 1e-6 || p.Q < p.P {
		t.Errorf("%d members of %d, chances sum to %g of %g, p %g, q %g", len(p.Members), p.Verified, sum, p.Expected, p.P, p.Q)
	}
}

// TestSitesCount: the same wrong calls in clumps of one site each say less than scattered ones.
func TestSitesCount(t *testing.T) {
	c := plain(2000, 9, func([4]bool) float64 { return 0.1 })
	for i := range c.Wrong { // whole sites of ten are wrong or right
		c.Site[i] = i / 10
		c.Wrong[i] = c.Site[i]%9 == 0
	}
	m := newModel(&c, nil, nil)
	if err := m.fit(); err != nil {
		t.Fatal(err)
	}
	m.measureLikeness(&c)
	whole := newSet(len(c.Wrong))
	for i := range 200 {
		whole.add(i)
	}
	var scratch tally
	clumped := scratch.score(&c, m, whole, spread{})
	m.alike = 0
	if free := scratch.score(&c, m, whole, spread{}); m.alike != 0 || clumped.variance < 9*free.variance {
		t.Errorf("variance %g with sites, %g without", clumped.variance, free.variance)
	}
}

// TestSpreadWidens: a person beyond the usual is less of a surprise where people differ anyway.
func TestSpreadWidens(t *testing.T) {
	s := spread{variance: 0.04, df: 12}
	if p := s.widen(0.001, 30, 60); p <= 0.001 || p > 0.02 {
		t.Errorf("p of 0.001 becomes %g", p)
	}
	if p := (spread{}).widen(0.001, 30, 60); p != 0.001 {
		t.Errorf("without spread p becomes %g", p)
	}
}

func TestSameBytesOnAnyNumberOfCores(t *testing.T) {
	w := world{inspections: 2000, points: 6, active: 0.1, seen: 0.8, still: 0.03, plants: []plant{{[]Term{{"material", "M1"}}, 4}}}
	c := w.calls(4)
	one := runtime.GOMAXPROCS(1)
	a, err := Search(c, worldOptions())
	runtime.GOMAXPROCS(max(2, one))
	b, errB := Search(c, worldOptions())
	runtime.GOMAXPROCS(one)
	if err != nil || errB != nil || !reflect.DeepEqual(a, b) || len(a.Patterns) == 0 {
		t.Errorf("%v and %v, %v, %v", shownTerms(a), shownTerms(b), err, errB)
	}
}

// TestEach: every value is tested, found or not.
func TestEach(t *testing.T) {
	got, err := Each(plain(4000, 5, func(v [4]bool) float64 { return when(v[0], 0.4) }), Options{MinVerified: 30})
	if err != nil || len(got) != 4 || got[0].Q > 0.001 || got[1].Q < 0.05 {
		t.Errorf("%v, %v", got, err)
	}
}

// TestNothingToSearch: no calls, none wrong, all wrong and too few of any kind find nothing.
func TestNothingToSearch(t *testing.T) {
	for name, c := range map[string]Calls{
		"no calls":  plain(0, 1, func([4]bool) float64 { return 0 }),
		"none":      plain(500, 1, func([4]bool) float64 { return 0 }),
		"all":       plain(500, 1, func([4]bool) float64 { return 1 }),
		"too few":   plain(40, 1, func([4]bool) float64 { return 0.5 }),
		"same site": {Wrong: []bool{true, false}, Site: []int{1, 1}, Factors: []Factor{Kinds("a", []string{"x", "x"}, []string{"x"})}},
	} {
		f, err := Search(c, bounds)
		each, errEach := Each(c, bounds)
		if err != nil || errEach != nil || len(f.Patterns) != 0 || name != "none" && name != "all" && len(each) != 0 {
			t.Errorf("%s: %v, %v, %v, %v", name, shownTerms(f), err, each, errEach)
		}
	}
}

func TestUnfitCalls(t *testing.T) {
	a := Kinds("a", []string{"x", "y", "x"}, []string{"x", "y"})
	for want, c := range map[string]Calls{
		"3 sites for 2 calls; give one each":    {Wrong: make([]bool, 2), Site: []int{1, 2, 3}, Factors: []Factor{a}},
		"calls of site 1 do not stand together": {Wrong: make([]bool, 3), Site: []int{1, 2, 1}, Factors: []Factor{a}},
		"factor a is given twice":               {Wrong: make([]bool, 3), Site: []int{1, 1, 1}, Factors: []Factor{a, a}},
		"no factors; give at least one":         {Wrong: make([]bool, 3), Site: []int{1, 1, 1}},
		"factor a is not of 100 calls":          {Wrong: make([]bool, 100), Site: make([]int, 100), Factors: []Factor{a}},
	} {
		_, err := Search(c, bounds)
		_, errEach := Each(c, bounds)
		if err == nil || !strings.Contains(err.Error(), want) || errEach == nil {
			t.Errorf("%v and %v; want %q", err, errEach, want)
		}
	}
}

// TestDrawnIn: the variance of a standard normal drawn in at its 10 % quantiles, by sampling quantiles.
func TestDrawnIn(t *testing.T) {
	const n = 20_000
	z, se := make([]float64, n), make([]float64, n)
	r := rand.New(rand.NewPCG(1, 2))
	for i := range z {
		z[i], se[i] = r.NormFloat64(), 1
	}
	o, err := stats.MeasureOverdispersion(z, se, winsorised)
	if err != nil || math.Abs(o.Phi-drawnIn) > 0.02 {
		t.Errorf("phi %g, %v; want %g", o.Phi, err, drawnIn)
	}
}
