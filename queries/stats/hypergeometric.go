package stats

import (
	"fmt"
	"math"
	"sort"
)

// HypergeometricTails are the chances of a draw without replacement.
type HypergeometricTails struct {
	Upper float64 // P(X >= observed)
	Lower float64 // P(X <= observed)
	Point float64 // P(X = observed)
}

// Hypergeometric gives the chance of observed marked items in a sample drawn without replacement
// from a population with marked marked ones:
// P(X=x) = C(marked,x) C(population-marked,sample-x) / C(population,sample). Exact. Source: any text;
// notation of Johnson, Kotz and Kemp (1992). A count that cannot occur is an error.
func Hypergeometric(population, marked, sample, observed int) (HypergeometricTails, error) {
	if err := checkCounts("population, marked, sample, observed", population, marked, sample, observed); err != nil {
		return HypergeometricTails{}, err
	}
	if marked > population || sample > population {
		return HypergeometricTails{}, fmt.Errorf("%d marked and a sample of %d from a population of %d: neither can be larger than it",
			marked, sample, population)
	}
	low, high := max(0, marked+sample-population), min(marked, sample)
	if observed < low || observed > high {
		return HypergeometricTails{}, fmt.Errorf("observed is %d: only %d to %d can occur", observed, low, high)
	}
	d := newExactTable(marked, sample, population, 1)
	return HypergeometricTails{Upper: d.above(observed), Lower: d.below(observed), Point: d.at(observed)}, nil
}

// exactTable is the distribution of one cell of a two-by-two table given its margins and odds
// ratio: the noncentral hypergeometric of Fisher. p[0] belongs to the value first; values outside
// have a chance below the smallest float.
type exactTable struct {
	first int
	p     []float64
}

// newExactTable walks out from the mode by the ratio of neighbours, so every chance has full
// relative precision and nothing overflows.
func newExactTable(row, col, total int, odds float64) exactTable {
	low, high := max(0, row+col-total), min(row, col)
	ratio := func(k int) float64 { // P(k+1) / P(k)
		return odds * float64(row-k) / float64(k+1) * float64(col-k) / float64(total-row-col+k+1)
	}
	mode := low + sort.Search(high-low, func(i int) bool { return ratio(low+i) <= 1 })
	first, last := mode, mode
	var below, above []float64
	for w := 1 / ratio(first-1); first > low && w > 0; w /= ratio(first - 1) {
		below = append(below, w)
		first--
	}
	for w := ratio(last); last < high && w > 0; w *= ratio(last) {
		above = append(above, w)
		last++
	}
	d := exactTable{first: first, p: make([]float64, 0, last-first+1)}
	for i := range below {
		d.p = append(d.p, below[len(below)-1-i])
	}
	d.p = append(append(d.p, 1), above...)
	total1 := 0.0
	for _, w := range d.p {
		total1 += w
	}
	for i := range d.p {
		d.p[i] /= total1
	}
	return d
}

func (d exactTable) at(x int) float64 {
	if i := x - d.first; i >= 0 && i < len(d.p) {
		return d.p[i]
	}
	return 0
}

// below is P(X <= x), summed from the far end so that small chances are not lost.
func (d exactTable) below(x int) float64 {
	sum := 0.0
	for i := 0; i < len(d.p) && d.first+i <= x; i++ {
		sum += d.p[i]
	}
	return math.Min(1, sum)
}

// above is P(X >= x), summed from the far end.
func (d exactTable) above(x int) float64 {
	sum := 0.0
	for i := len(d.p) - 1; i >= 0 && d.first+i >= x; i-- {
		sum += d.p[i]
	}
	return math.Min(1, sum)
}

func (d exactTable) mean() float64 {
	sum := 0.0
	for i, p := range d.p {
		sum += p * float64(i)
	}
	return float64(d.first) + sum
}
