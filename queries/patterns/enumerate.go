package patterns

import "slices"

// item is one value of one factor.
type item struct {
	factor, value int
	set           set
	n             int
}

// pattern is one to three items of different factors. What is known of it before any outcome is looked
// at: its items, its members and how many they are.
type pattern struct {
	items []int // of the search, ascending
	n     int   // members
	score score
	first score // as scored in the first round, over nothing found
	p     float64
	q     float64
	out   bool // found, merged or explained already
}

const (
	// alikeShare of overlap makes two patterns one. (House's choice.)
	alikeShare = 0.8
	// mostShare of the calls is the most a pattern covers: beyond it, it is the rule and not the
	// exception. (House's choice.)
	mostShare = 0.5
)

// items lists the values there are enough calls of, each set of calls once.
func (s *search) listItems() {
	for f := range s.calls.Factors {
		factor := &s.calls.Factors[f]
		for v := range factor.values {
			it := item{f, v, factor.sets[v], factor.sets[v].size()}
			same := func(o item) bool { return o.n == it.n && o.set.common(it.set) == it.n }
			if it.n >= s.opt.MinVerified && it.n < len(s.calls.Wrong) && !slices.ContainsFunc(s.items, same) {
				s.items = append(s.items, it)
			}
		}
	}
}

// enumerate lists every single, pair and triple with enough members that is not nearly all of what one
// item less would take in, nor most of all calls. It looks at no outcome, so that it costs no honesty.
func (s *search) enumerate() {
	s.listItems()
	most := int(mostShare * float64(len(s.calls.Wrong)))
	for a, it := range s.items {
		if it.n <= most {
			s.patterns = append(s.patterns, pattern{items: []int{a}, n: it.n})
		}
	}
	pairs := s.pairs()
	for a := range s.items {
		for _, p := range pairs[a] {
			if p.n <= most {
				s.patterns = append(s.patterns, pattern{items: []int{a, p.with}, n: p.n})
			}
		}
	}
	s.triples(pairs, most)
}

// partner is an item that together with another one makes a pair worth looking at.
type partner struct{ with, n int }

// pairs lists, per item, the later items it makes a pair with.
func (s *search) pairs() [][]partner {
	out := make([][]partner, len(s.items))
	for a, x := range s.items {
		for b := a + 1; b < len(s.items); b++ {
			y := s.items[b]
			if x.factor == y.factor {
				continue
			}
			n := x.set.common(y.set)
			if n >= s.opt.MinVerified && !nearly(n, x.n) && !nearly(n, y.n) {
				out[a] = append(out[a], partner{b, n})
			}
		}
	}
	return out
}

// nearly tells whether n of a parent's calls are nearly all of them.
func nearly(n, of int) bool { return float64(n) > alikeShare*float64(of) }

func (s *search) triples(pairs [][]partner, most int) {
	both := newSet(len(s.calls.Wrong))
	for a := range s.items {
		for k, p := range pairs[a] {
			both.and(s.items[a].set, s.items[p.with].set)
			for _, r := range pairs[a][k+1:] {
				third := s.items[r.with]
				of, ok := among(pairs[p.with], r.with)
				if third.factor == s.items[p.with].factor || !ok {
					continue
				}
				n := both.common(third.set)
				if n >= s.opt.MinVerified && n <= most && !nearly(n, p.n) && !nearly(n, r.n) && !nearly(n, of) {
					s.patterns = append(s.patterns, pattern{items: []int{a, p.with, r.with}, n: n})
				}
			}
		}
	}
}

// among finds the pair with an item; pairs that were not worth looking at make no triple.
func among(pairs []partner, with int) (n int, ok bool) {
	i, ok := slices.BinarySearchFunc(pairs, with, func(p partner, with int) int { return p.with - with })
	if !ok {
		return 0, false
	}
	return pairs[i].n, true
}

// members is the set of calls of a pattern.
func (s *search) members(items []int) set {
	m := slices.Clone(s.items[items[0]].set)
	for _, i := range items[1:] {
		m.and(m, s.items[i].set)
	}
	return m
}

// terms names a pattern's items.
func (s *search) terms(items []int) []Term {
	out := make([]Term, len(items))
	for k, i := range items {
		f := &s.calls.Factors[s.items[i].factor]
		out[k] = Term{f.Name, f.values[s.items[i].value]}
	}
	return out
}
