package patterns

import (
	"slices"
)

// clearest is the pattern to take next, or nil. Going from the smallest q on, each is given up for the
// nearly identical one of fewest circumstances, and for its parent where it is no worse than that. One
// that matters too little is passed over.
func (s *search) clearest() (*taken, error) {
	for {
		best := -1
		for i := range s.patterns {
			if s.candidate(i) && (best < 0 || s.clearer(i, best)) {
				best = i
			}
		}
		if best < 0 {
			return nil, nil
		}
		kept, err := s.settle(best)
		if err != nil {
			return nil, err
		}
		s.patterns[best].out = true
		if kept < 0 {
			continue
		}
		s.patterns[kept].out = true
		f, err := s.describe(kept)
		if err != nil {
			return nil, err
		}
		if f.shown.matters(s.opt) {
			return f, nil
		}
	}
}

// matters tells whether a pattern is large enough to be shown. Odds, since a share that is high already
// cannot be multiplied.
func (p *Pattern) matters(o Options) bool {
	wrong, n := float64(p.Wrong), float64(p.Verified)
	return wrong-p.Expected >= o.MinExcess && wrong*(n-p.Expected) >= o.MinOdds*p.Expected*(n-wrong)
}

// candidate tells whether chance does not explain a pattern.
func (s *search) candidate(i int) bool { return !s.patterns[i].out && s.patterns[i].q <= s.opt.Q }

// clearer orders candidates: smaller q, then smaller p, fewer circumstances, and the order of listing.
func (s *search) clearer(i, j int) bool {
	a, b := &s.patterns[i], &s.patterns[j]
	switch {
	case a.q != b.q:
		return a.q < b.q
	case len(a.items) != len(b.items):
		return len(a.items) < len(b.items)
	case a.p != b.p:
		return a.p < b.p
	}
	return i < j
}

// settle walks from a pattern to the one that says the same most plainly; -1 where that is none.
func (s *search) settle(i int) (int, error) {
	for {
		next, err := s.plainer(i)
		if err != nil || next == i || next < 0 {
			return next, err
		}
		i = next
	}
}

// plainer is the pattern to show instead of i, i itself, or -1.
func (s *search) plainer(i int) (int, error) {
	if same := s.alike(i); same >= 0 {
		return same, nil
	}
	items := s.patterns[i].items
	if len(items) == 1 {
		return i, nil
	}
	m, err := s.model(items)
	if err != nil {
		return -1, err
	}
	var t tally
	child, best, worse := s.members(items), -1, true
	for drop := range items {
		parent := slices.Delete(slices.Clone(items), drop, drop+1)
		if t.within(s.calls, m, s.members(parent), child).p <= explained {
			continue
		}
		worse = false
		if k, ok := s.nth[key(parent)]; ok && s.candidate(k) && (best < 0 || s.clearer(k, best)) {
			best = k
		}
	}
	if worse {
		return i, nil
	}
	return best, nil
}

// alike is a candidate of fewer circumstances that overlaps the pattern nearly wholly, or -1.
func (s *search) alike(i int) int {
	members, best := s.members(s.patterns[i].items), -1
	for k := range s.patterns {
		if len(s.patterns[k].items) >= len(s.patterns[i].items) || !s.candidate(k) {
			continue
		}
		if n, m := float64(s.patterns[k].n), float64(s.patterns[i].n); min(n, m) <= alikeShare*max(n, m) {
			continue // sizes too different to overlap so much
		}
		if s.members(s.patterns[k].items).overlap(members) > alikeShare && (best < 0 || s.clearer(k, best)) {
			best = k
		}
	}
	return best
}

// review drops, one by one, found patterns that those found after them explain.
func (s *search) review() error {
	var t tally
	for {
		drop, least := -1, explained
		for k, f := range s.found {
			items := s.patterns[f.pattern].items
			m := newModel(s.calls, s.adjusters(items), s.foundSets(k))
			if err := m.fit(); err != nil {
				return err
			}
			m.measureLikeness(s.calls)
			if sc := t.score(s.calls, m, f.members, s.spreadOf(items)); sc.p > least {
				drop, least = k, sc.p
			}
		}
		if drop < 0 {
			return nil
		}
		s.found = slices.Delete(s.found, drop, drop+1)
	}
}

// foundSets lists the members of the found patterns but the one at except.
func (s *search) foundSets(except int) []set {
	var out []set
	for k, f := range s.found {
		if k != except {
			out = append(out, f.members)
		}
	}
	return out
}

// describe says of a pattern what the calls outside it lead to expect inside it.
func (s *search) describe(i int) (*taken, error) {
	items := s.patterns[i].items
	members := s.members(items)
	m, err := newModel(s.calls, s.adjusters(items), nil).without(s.calls, members)
	if err != nil {
		return nil, err
	}
	return &taken{pattern: i, members: members, shown: s.shown(i, members, m)}, nil
}

// shown is a pattern set against a model's chances.
func (s *search) shown(i int, members set, m *model) Pattern {
	p := &s.patterns[i]
	out := Pattern{Terms: s.terms(p.items), Verified: p.n, P: p.p, Q: p.q}
	members.each(func(c int) {
		out.Members = append(out.Members, c)
		out.Chance = append(out.Chance, m.cells[m.cellOf[c]].p)
		out.Expected += m.cells[m.cellOf[c]].p
		if s.calls.Wrong[c] {
			out.Wrong++
		}
	})
	return out
}
