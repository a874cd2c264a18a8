// Package patterns finds the circumstances in which calls go wrong more often than elsewhere.
//
// In: checked calls with their circumstances, whether each went wrong, and the site it was made at. Out:
// the patterns (one to three circumstances together) that chance does not explain, the clearest first,
// each with what was observed, what the other calls lead to expect, and p and q. It never sees a record,
// and it never takes a pattern for a cause.
package patterns

import (
	"errors"
	"fmt"
)

// Calls are the calls searched. Those of one site stand together.
type Calls struct {
	Wrong   []bool // false alarm or, in the mirror, missed
	Site    []int  // a number per site
	Factors []Factor
	Adjust  []Factor // further factors that may be adjusted for but make no pattern
}

// Factor is one circumstance. A pattern names at most one of its values.
type Factor struct {
	Name   string
	values []string
	level  []int // per call, its own value; -1: none
	sets   []set // per value, the calls that have it
}

// Term is a factor with a value.
type Term struct{ Factor, Value string }

// Kinds makes a factor whose values are those that occur, in the order given by rank. A value of ""
// stands for what is not known: it takes part in no pattern.
func Kinds(name string, values, rank []string) Factor {
	f := Factor{Name: name, level: make([]int, len(values))}
	nth := map[string]int{}
	for _, v := range rank {
		nth[v] = len(f.values)
		f.values = append(f.values, v)
		f.sets = append(f.sets, newSet(len(values)))
	}
	for i, v := range values {
		at, ok := nth[v]
		if !ok {
			f.level[i] = -1
			continue
		}
		f.level[i] = at
		f.sets[at].add(i)
	}
	return f
}

// OrMore adds a value for every cut: the calls whose number is at or above it. A number below every
// sensible one (NaN) stands for what is not known. say writes a cut as a value.
func (f Factor) OrMore(numbers, cuts []float64, say func(cut float64) string) Factor {
	for _, cut := range cuts {
		s := newSet(len(numbers))
		for i, x := range numbers {
			if x >= cut {
				s.add(i)
			}
		}
		f.values = append(f.values, say(cut))
		f.sets = append(f.sets, s)
	}
	return f
}

// levels is how many values a call can have as its own.
func (f *Factor) levels() int {
	most := -1
	for _, l := range f.level {
		most = max(most, l)
	}
	return most + 1
}

// check tells whether the calls are fit to be searched.
func (c *Calls) check() error {
	if len(c.Site) != len(c.Wrong) {
		return fmt.Errorf("%d sites for %d calls; give one each", len(c.Site), len(c.Wrong))
	}
	left := map[int]bool{}
	for i := 1; i < len(c.Site); i++ {
		if c.Site[i] == c.Site[i-1] {
			continue
		}
		left[c.Site[i-1]] = true
		if left[c.Site[i]] {
			return fmt.Errorf("calls of site %d do not stand together; order them by site", c.Site[i])
		}
	}
	names := map[string]bool{}
	for _, f := range c.Factors {
		if names[f.Name] {
			return fmt.Errorf("factor %s is given twice", f.Name)
		}
		names[f.Name] = true
		for _, s := range f.sets {
			if len(s) != (len(c.Wrong)+63)/64 {
				return fmt.Errorf("factor %s is not of %d calls", f.Name, len(c.Wrong))
			}
		}
	}
	if len(c.Factors) == 0 {
		return errors.New("no factors; give at least one")
	}
	return nil
}

func (c *Calls) wrong() int {
	n := 0
	for _, w := range c.Wrong {
		if w {
			n++
		}
	}
	return n
}
