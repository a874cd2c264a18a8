package patterns

import (
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync"

	"scanledger/queries/stats"
)

// Options bound the search and say what is adjusted for.
type Options struct {
	MinVerified int     // fewest checked calls of a pattern
	MinExcess   float64 // fewest wrong calls beyond the expected
	MinOdds     float64 // least ratio of the odds of being wrong, observed to expected
	Q           float64 // share of false discoveries borne
	MaxFound    int     // most patterns looked for

	Makers     []string // factors that are people and units: their patterns are adjusted for Conditions
	Conditions []string
	Usual      []string // what all other patterns are adjusted for
	Spread     []string // factors whose values differ somewhat anyway; a pattern must stand clear of that too
}

// Pattern is one that was found.
type Pattern struct {
	Terms    []Term
	Members  []int     // calls
	Chance   []float64 // of each member to be wrong, had it gone as the others
	Verified int
	Wrong    int
	Expected float64 // sum of Chance
	P        float64 // one-sided, given the patterns found before
	Q        float64 // after control of the false discovery rate over every pattern tried (Benjamini and Hochberg 1995)
	Same     [][]Term
}

// Found is what a search found, in the order it was found: the clearest first.
type Found struct {
	Patterns     []Pattern
	Tried        [3]int // singles, pairs, triples
	Calls, Wrong int
	Alike        float64 // correlation of two calls of one site, given the conditions
}

// explained is the p above which a child is no worse than its parent, and a pattern is explained by the
// others. rescored is the p above which a pattern is not looked at again in later rounds.
const (
	explained = 0.05
	rescored  = 0.05
	standsOut = 0.001
)

// search is the state of one search.
type search struct {
	calls    *Calls
	opt      Options
	items    []item
	patterns []pattern
	nth      map[string]int // pattern by its items
	found    []taken        // in the order found
	models   models
	between  map[string]float64 // per spread factor, standard deviation of its values, log-odds
	spread   map[int]spread     // per item, by how much its fellows differ; for singles
}

// models are those fitted to what is known so far, by what they adjust for; of finds them by the factors of a pattern, since
// to name what each of thousands of patterns is adjusted for takes longer than to look it up.
type models struct {
	fitted map[string]*model
	of     map[factorNumbers]*model
}

// factorNumbers are the factors of a pattern's items, by number from 1; 0 where there are fewer.
type factorNumbers [3]int

func (s *search) factorNumbers(items []int) (of factorNumbers) {
	for k, i := range items {
		of[k] = s.items[i].factor + 1
	}
	return of
}

// refit forgets the models, which what has become known since would change.
func (s *search) refit() { s.models = models{map[string]*model{}, map[factorNumbers]*model{}} }

// taken is a pattern that was found.
type taken struct {
	pattern int
	members set
	shown   Pattern
}

// Search looks for patterns in the calls. It returns an error for calls that do not fit together.
func Search(c Calls, opt Options) (Found, error) {
	if err := c.check(); err != nil {
		return Found{}, fmt.Errorf("search for patterns: %w", err)
	}
	s := &search{calls: &c, opt: opt, nth: map[string]int{}}
	out := Found{Calls: len(c.Wrong), Wrong: c.wrong()}
	if out.Wrong == 0 || out.Wrong == out.Calls {
		return out, nil // nothing to tell apart
	}
	s.enumerate()
	for i, p := range s.patterns {
		s.nth[key(p.items)] = i
		out.Tried[len(p.items)-1]++
	}
	if len(s.patterns) == 0 {
		return out, nil // too few calls of any kind
	}
	if err := s.look(); err != nil {
		return out, fmt.Errorf("search for patterns: %w", err)
	}
	if err := s.review(); err != nil {
		return out, fmt.Errorf("search for patterns: %w", err)
	}
	s.refit()
	base, err := s.model(nil)
	if err != nil {
		return out, fmt.Errorf("search for patterns: %w", err)
	}
	out.Alike = base.alike
	for _, f := range s.found {
		out.Patterns = append(out.Patterns, f.shown)
	}
	return out, nil
}

// Each tests every value of every factor by itself, in the order given; q is over those tested. The chances
// are those of all calls, as a value may be that of most. Values with fewer calls than MinVerified are left
// out.
func Each(c Calls, opt Options) ([]Pattern, error) {
	if err := c.check(); err != nil {
		return nil, fmt.Errorf("test each circumstance: %w", err)
	}
	s := &search{calls: &c, opt: opt}
	s.refit()
	if n := c.wrong(); n == 0 || n == len(c.Wrong) {
		return nil, nil
	}
	s.listItems()
	if len(s.items) == 0 {
		return nil, nil
	}
	which := make([]int, len(s.items))
	for i, it := range s.items {
		which[i] = i
		s.patterns = append(s.patterns, pattern{items: []int{i}, n: it.n})
	}
	if err := s.scoreAll(which); err != nil {
		return nil, fmt.Errorf("test each circumstance: %w", err)
	}
	if err := s.adjust(); err != nil {
		return nil, fmt.Errorf("test each circumstance: %w", err)
	}
	var out []Pattern
	for i, p := range s.patterns {
		m, err := s.model(p.items)
		if err != nil {
			return nil, fmt.Errorf("test each circumstance: %w", err)
		}
		out = append(out, s.shown(i, s.items[i].set, m))
	}
	return out, nil
}

// look finds one pattern after the other: the clearest is taken into the models, so that what it explains
// is not found again under other names.
func (s *search) look() error {
	all := make([]int, len(s.patterns))
	for i := range all {
		all[i] = i
	}
	again := all
	for len(s.found) < s.opt.MaxFound {
		s.refit()
		if err := s.scoreAll(again); err != nil {
			return err
		}
		if len(s.found) == 0 {
			again = nil
			for i := range s.patterns {
				p := &s.patterns[i]
				if p.first = p.score; p.p <= rescored {
					again = append(again, i)
				}
			}
		}
		if err := s.adjust(); err != nil {
			return err
		}
		next, err := s.clearest()
		if err != nil || next == nil {
			return err
		}
		s.take(*next)
	}
	return nil
}

// take adds a pattern to those found, with the nearly identical ones merged into it.
func (s *search) take(f taken) {
	s.patterns[f.pattern].out = true
	for i := range s.patterns {
		p := &s.patterns[i]
		if !p.out && p.q <= s.opt.Q && s.members(p.items).overlap(f.members) > alikeShare {
			p.out = true
			f.shown.Same = append(f.shown.Same, s.terms(p.items))
		}
	}
	s.found = append(s.found, f)
}

// scoreAll scores the patterns, each against the model it is adjusted by. Values of a spread
// factor that stand out are scored once more with that spread.
func (s *search) scoreAll(which []int) error {
	s.spread = map[int]spread{}
	if err := s.measureBetween(); err != nil {
		return err
	}
	for _, i := range which { // models are fitted one by one, patterns then scored side by side
		if _, err := s.model(s.patterns[i].items); err != nil {
			return err
		}
	}
	s.scoreEach(which)
	var again []int
	for _, i := range which {
		if s.patterns[i].p > standsOut {
			continue
		}
		if own := s.patterns[i].items; len(own) == 1 && slices.Contains(s.opt.Spread, s.factor(own[0]).Name) {
			again = append(again, i)
		}
	}
	for _, i := range again {
		item := s.patterns[i].items[0]
		among, err := s.spreadBeside(item)
		if err != nil {
			return err
		}
		s.spread[item] = among
	}
	s.scoreEach(again)
	return nil
}

// scoreEach scores the patterns by the models and spreads there are, on every core.
func (s *search) scoreEach(which []int) {
	var wait sync.WaitGroup
	workers := runtime.GOMAXPROCS(0)
	for w := range workers {
		wait.Go(func() {
			var t tally
			members := newSet(len(s.calls.Wrong))
			for k := w; k < len(which); k += workers {
				p := &s.patterns[which[k]]
				copy(members, s.items[p.items[0]].set)
				for _, i := range p.items[1:] {
					members.and(members, s.items[i].set)
				}
				p.score = t.score(s.calls, s.models.of[s.factorNumbers(p.items)], members, s.spreadOf(p.items))
				p.p = p.score.p
			}
		})
	}
	wait.Wait()
}

// adjust turns the p of every pattern tried into q. Singles, pairs and triples share the error evenly:
// the many triples must not drown the few singles (p weighted by order: Genovese, Roeder and Wasserman
// 2006, Biometrika 93:509-524).
func (s *search) adjust() error {
	var tried [3]float64
	orders := 0.0
	for i := range s.patterns {
		k := len(s.patterns[i].items) - 1
		if tried[k] == 0 {
			orders++
		}
		tried[k]++
	}
	p := make([]float64, len(s.patterns))
	for i := range s.patterns {
		weight := float64(len(p)) / (orders * tried[len(s.patterns[i].items)-1])
		p[i] = min(1, s.patterns[i].p/weight)
	}
	adjusted, err := stats.AdjustPValues(p)
	if err != nil {
		return err
	}
	for i := range s.patterns {
		s.patterns[i].q = adjusted.BenjaminiHochberg[i]
	}
	return nil
}

// adjuster is a factor adjusted for, and the spread its effects are given.
type adjuster struct {
	*Factor
	spread float64
}

// model is the model a pattern is adjusted by.
func (s *search) model(items []int) (*model, error) {
	of := s.factorNumbers(items)
	if m := s.models.of[of]; m != nil {
		return m, nil
	}
	adjust := s.adjusters(items)
	k := modelKey(adjust)
	m := s.models.fitted[k]
	if m == nil {
		m = newModel(s.calls, adjust, s.foundSets(-1))
		if err := m.fit(); err != nil {
			return nil, err
		}
		m.measureLikeness(s.calls)
		s.models.fitted[k] = m
	}
	s.models.of[of] = m
	return m, nil
}

func modelKey(adjust []adjuster) string {
	var names []string
	for _, a := range adjust {
		names = append(names, fmt.Sprint(a.Name, a.spread))
	}
	return strings.Join(names, " ")
}

// adjusters are conditions for patterns of people and units, and the usual factors for others. A pattern is
// never adjusted for a factor of its own, but a pair or triple with a person, unit or region: it must stand
// out beyond what these show anyway, which is as much as they differ among themselves.
func (s *search) adjusters(items []int) []adjuster {
	names := s.opt.Usual
	own := map[string]bool{}
	for _, i := range items {
		own[s.factor(i).Name] = true
		if slices.Contains(s.opt.Makers, s.factor(i).Name) {
			names = s.opt.Conditions
		}
	}
	var out []adjuster
	for _, factors := range [][]Factor{s.calls.Factors, s.calls.Adjust} {
		for f := range factors {
			name := factors[f].Name
			switch {
			case !own[name] && slices.Contains(names, name):
				out = append(out, adjuster{&factors[f], levelSpread})
			case own[name] && len(items) > 1 && s.between[name] > 0:
				out = append(out, adjuster{&factors[f], s.between[name]})
			}
		}
	}
	return out
}

func (s *search) factor(item int) *Factor { return &s.calls.Factors[s.items[item].factor] }

func key(items []int) string { return fmt.Sprint(items) }
