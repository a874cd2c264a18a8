// Package agreement says how far technicians agree with one another and with themselves.
//
// In: calls of two people on the same points, and repeated readings of one person at one point. Out:
// agreement, kappa and AC1 with intervals, who calls more, one coefficient for all technicians together,
// and how far repeated readings scatter; sites are the clusters throughout. It never runs SQL, knows
// what is behind a wall, or ranks anyone.
package agreement

import (
	"slices"
	"strings"

	"scanledger/queries/stats"
)

// Calls of a point; any other word is neither.
const (
	Active = "active"
	Clear  = "clear"
)

// Pair is one point called in an inspection and again, blind, in its recheck.
type Pair struct {
	Site, Point       string // a point's name is unique within its site
	Visit             string // the first inspection
	First, Second     string // technicians
	Before, Afterward string // their calls
}

// decided tells whether both calls say something.
func (p Pair) decided() bool { return says(p.Before) && says(p.Afterward) }

func says(call string) bool { return call == Active || call == Clear }

// seenBy is the pair with the technician's call first; ok is false where the pair is not theirs.
func (p Pair) seenBy(technician string) (_ Pair, ok bool) {
	if p.Second == technician {
		p.First, p.Second, p.Before, p.Afterward = p.Second, p.First, p.Afterward, p.Before
	}
	return p, p.First == technician
}

// Of are the pairs of one technician, whose own call comes first in each.
func Of(technician string, pairs []Pair) []Pair {
	var out []Pair
	for _, p := range pairs {
		if turned, ok := p.seenBy(technician); ok {
			out = append(out, turned)
		}
	}
	return out
}

// Measured is how far two calls on the same points agree. In each pair one side comes first: a
// technician with the others second, or the first inspection with the recheck second.
type Measured struct {
	Pairs, Unsure, Sites int // pairs with two calls that say something; pairs with one that does not
	Both, OnlyFirst      int // called active
	OnlySecond, Neither  int
	Agreed               stats.ClusterSums // pairs that agree, out of Pairs
	Calls                stats.ClusteredAgreement
	DirectionP           float64 // of calling active equally often, exact on sites
}

// Measure compares the two calls of each pair. Without a pair that says something all coefficients are
// left out: Pairs is 0.
func Measure(pairs []Pair, conf float64) (Measured, error) {
	sites := tables(pairs)
	out := Measured{Sites: len(sites)}
	var sizes, agreed, differences []int
	for _, t := range sites {
		out.Both, out.OnlyFirst, out.OnlySecond, out.Neither = out.Both+t.A, out.OnlyFirst+t.B, out.OnlySecond+t.C, out.Neither+t.D
		sizes = append(sizes, t.A+t.B+t.C+t.D)
		agreed = append(agreed, t.A+t.D)
		differences = append(differences, t.B-t.C)
	}
	out.Pairs = out.Both + out.OnlyFirst + out.OnlySecond + out.Neither
	out.Unsure = len(pairs) - out.Pairs
	if out.Pairs == 0 {
		return out, nil
	}
	var err error
	if out.Agreed, err = stats.SumClusters(sizes, agreed); err != nil {
		return out, err
	}
	if out.DirectionP, err = stats.ClusteredMcNemar(differences); err != nil {
		return out, err
	}
	out.Calls, err = stats.AgreementInClusters(sites, conf)
	return out, err
}

// tables are the two-by-two tables of the sites, in the order of their names.
func tables(pairs []Pair) []stats.Table2x2 {
	at := map[string]int{}
	var out []stats.Table2x2
	for _, p := range bySite(pairs) {
		if !p.decided() {
			continue
		}
		i, ok := at[p.Site]
		if !ok {
			i = len(out)
			at[p.Site] = i
			out = append(out, stats.Table2x2{})
		}
		*cell(&out[i], p)++
	}
	return out
}

func cell(t *stats.Table2x2, p Pair) *int {
	switch {
	case p.Before == Active && p.Afterward == Active:
		return &t.A
	case p.Before == Active:
		return &t.B
	case p.Afterward == Active:
		return &t.C
	}
	return &t.D
}

func bySite(pairs []Pair) []Pair {
	return slices.SortedStableFunc(slices.Values(pairs), func(a, b Pair) int { return strings.Compare(a.Site, b.Site) })
}
