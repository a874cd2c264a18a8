package patterns

import "math/bits"

// set is a set of calls by number.
type set []uint64

func newSet(n int) set { return make(set, (n+63)/64) }

func (s set) add(i int) { s[i/64] |= 1 << (i % 64) }

func (s set) has(i int) bool { return s[i/64]&(1<<(i%64)) != 0 }

func (s set) size() int {
	n := 0
	for _, w := range s {
		n += bits.OnesCount64(w)
	}
	return n
}

// common is how many calls are in both.
func (s set) common(o set) int {
	n := 0
	for i, w := range s {
		n += bits.OnesCount64(w & o[i])
	}
	return n
}

// and sets s to the calls in both a and b.
func (s set) and(a, b set) {
	for i := range s {
		s[i] = a[i] & b[i]
	}
}

// each visits the calls of the set in order.
func (s set) each(visit func(i int)) {
	for k, w := range s {
		for ; w != 0; w &= w - 1 {
			visit(k*64 + bits.TrailingZeros64(w))
		}
	}
}

// overlap is the share of calls of either set that are in both (Jaccard 1901).
func (s set) overlap(o set) float64 {
	both, either := 0, 0
	for i, w := range s {
		both += bits.OnesCount64(w & o[i])
		either += bits.OnesCount64(w | o[i])
	}
	if either == 0 {
		return 0
	}
	return float64(both) / float64(either)
}
