package stats

import (
	"fmt"
	"math/bits"
)

// WholeChance is the chance 1. Chances of selection are whole numbers of its parts, so that they add up
// to a sample size exactly and a drawn start decides without rounding.
const WholeChance = 1 << 32

// ChancesBySize gives each unit its chance of being among n drawn, in parts of WholeChance: in
// proportion to its size, and 1 for units so large that proportion would give more, with the rest
// shared out again (Särndal, Swensson & Wretman 1992, Model Assisted Survey Sampling, section 3.6.2).
// The chances add up to n exactly; each is within one part of the quotient. A unit of size 0 has none.
// A negative size, sizes that add up to 2^32 or more, and fewer units with a size than n are errors.
func ChancesBySize(sizes []int, n int) ([]uint64, error) {
	units := 0
	var sum uint64
	for i, s := range sizes {
		if s < 0 || s >= WholeChance {
			return nil, fmt.Errorf("chances by size: size %d is %d; give whole numbers of 0 to 2^32", i+1, s)
		}
		if s > 0 {
			units++
		}
		sum += uint64(s)
	}
	if sum >= WholeChance || n < 0 || n > units {
		return nil, fmt.Errorf("chances by size: %d of %d units with sizes that add up to %d; draw from none to all, of less than 2^32", n, units, sum)
	}
	out := make([]uint64, len(sizes))
	for rest := uint64(n); ; {
		certain, size := settleCertain(sizes, out, rest, sum)
		if certain == 0 {
			break
		}
		rest, sum = rest-certain, sum-size
	}
	return out, nil
}

// settleCertain gives chance 1 to the units whose share of n is that or more, and returns how many they
// are and their size. Where there are none, it shares n among the rest by cumulative rounding.
func settleCertain(sizes []int, chances []uint64, n, sum uint64) (certain, size uint64) {
	for i, s := range sizes {
		if s > 0 && chances[i] != WholeChance && n*uint64(s) >= sum {
			chances[i] = WholeChance
			certain, size = certain+1, size+uint64(s)
		}
	}
	if certain > 0 || sum == 0 {
		return certain, size
	}
	var upTo, last uint64
	for i, s := range sizes {
		if chances[i] == WholeChance {
			continue
		}
		upTo += uint64(s)
		high, low := bits.Mul64(upTo, n*WholeChance)
		now, _ := bits.Div64(high, low, sum)
		chances[i], last = now-last, now
	}
	return 0, 0
}

// SystematicHits lists, in order, the units hit by systematic sampling with unequal chances (Madow 1949,
// Ann Math Stat 20:333-354): their chances are laid end to end, and every whole step from start on hits
// the unit it falls in. start is drawn evenly from 0 to WholeChance less one; then each unit is hit
// with its chance exactly, at most once, and the number of hits is the sum of the chances, which must be a
// whole number for it to be the same for every start.
func SystematicHits(chances []uint64, start uint64) []int {
	var hits []int
	next, upTo := start, uint64(0)
	for i, c := range chances {
		if upTo += c; next < upTo {
			hits = append(hits, i)
			next += WholeChance
		}
	}
	return hits
}
