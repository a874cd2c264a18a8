package stats

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// TestChancesBySize: by hand. Sizes 1, 1, 2, 6 and 2 drawn: 6·2/10 is over 1, so the last is certain and
// the other three share one draw as 1/4, 1/4, 1/2.
func TestChancesBySize(t *testing.T) {
	got, err := ChancesBySize([]int{1, 1, 2, 6}, 2)
	if want := []uint64{WholeChance / 4, WholeChance / 4, WholeChance / 2, WholeChance}; err != nil || !slices.Equal(got, want) {
		t.Errorf("got %v (%v), want %v", got, err, want)
	}
	for _, bad := range []struct {
		sizes []int
		n     int
	}{{[]int{-1, 2}, 1}, {[]int{1, 0}, 2}, {[]int{1}, -1}, {[]int{WholeChance - 1, 1}, 1}, {[]int{WholeChance}, 1}} {
		if _, err := ChancesBySize(bad.sizes, bad.n); err == nil {
			t.Errorf("accepted: %d of %v", bad.n, bad.sizes)
		}
	}
}

// TestChancesBySizeAddUp: to the sample size exactly, none over 1, in proportion but for certain units.
func TestChancesBySizeAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sizes := rapid.SliceOfN(rapid.IntRange(0, 50), 1, 200).Draw(t, "sizes")
		units := 0
		for _, s := range sizes {
			units += min(s, 1)
		}
		n := rapid.IntRange(0, units).Draw(t, "n")
		chances, err := ChancesBySize(sizes, n)
		if err != nil {
			t.Fatal(err)
		}
		var sum, rate uint64 // rate: chance of a unit of size 1, where one is not certain
		for i, c := range chances {
			sum += c
			if c > WholeChance || sizes[i] == 0 && c != 0 || sizes[i] > 0 && n > 0 && c == 0 {
				t.Fatalf("size %d has chance %d", sizes[i], c)
			}
			if c < WholeChance && sizes[i] > 0 {
				rate = c / uint64(sizes[i])
			}
		}
		for i, c := range chances {
			if c < WholeChance && math.Abs(float64(c)-float64(rate)*float64(sizes[i])) > 101 {
				t.Fatalf("size %d has chance %d, another of size 1 %d", sizes[i], c, rate)
			}
		}
		if sum != uint64(n)*WholeChance {
			t.Fatalf("the chances add up to %g, not %d", float64(sum)/WholeChance, n)
		}
	})
}

// TestSystematicHits tries many evenly spread starts: every start hits the same number, each unit at most
// once, and each unit as often as its chance says.
func TestSystematicHits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sizes := rapid.SliceOfN(rapid.IntRange(1, 20), 1, 40).Draw(t, "sizes")
		n := rapid.IntRange(0, len(sizes)).Draw(t, "n")
		chances, err := ChancesBySize(sizes, n)
		if err != nil {
			t.Fatal(err)
		}
		const starts = 1 << 10
		times := make([]int, len(sizes))
		for s := range uint64(starts) {
			hits := SystematicHits(chances, s*(WholeChance/starts))
			if len(hits) != n {
				t.Fatalf("start %d hits %d units, want %d", s, len(hits), n)
			}
			for _, i := range hits {
				times[i]++
			}
		}
		for i, c := range chances {
			if want := float64(c) / WholeChance * starts; math.Abs(float64(times[i])-want) > 1+1e-6 {
				t.Fatalf("unit %d was hit %d times of %d, want %.2f", i, times[i], starts, want)
			}
		}
	})
}
