package stats

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func mixTable(t *rapid.T, most int) [][]int {
	r, c := rapid.IntRange(1, 5).Draw(t, "rows"), rapid.IntRange(1, 6).Draw(t, "columns")
	return rapid.SliceOfN(rapid.SliceOfN(rapid.IntRange(0, most), c, c), r, r).Draw(t, "table")
}

func transposed(table [][]int) [][]int {
	out := make([][]int, len(table[0]))
	for _, row := range table {
		for j, c := range row {
			out[j] = append(out[j], c)
		}
	}
	return out
}

func same(a, b float64) bool {
	return math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) <= 1e-9*(1+math.Abs(a))
}

// The tests do not change when groups or categories are named in another order, or change places,
// or when empty ones are added.
func TestHomogeneityInvariance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		table := mixTable(t, 60)
		rowsTurned := slices.Clone(table)
		slices.Reverse(rowsTurned)
		padded := append(slices.Clone(table), make([]int, len(table[0])))
		want, err := HomogeneityTest(table)
		if err != nil {
			t.Fatal(err)
		}
		columnsTurned := transposed(table)
		slices.Reverse(columnsTurned)
		for name, other := range map[string][][]int{
			"rows turned": rowsTurned, "transposed": transposed(table), "columns turned": transposed(columnsTurned), "padded": padded,
		} {
			got, err := HomogeneityTest(other)
			if err != nil || !same(got.Pearson.Statistic, want.Pearson.Statistic) || !same(got.G.Statistic, want.G.Statistic) || got.Pearson.DF != want.Pearson.DF ||
				!same(got.Williams.Statistic, want.Williams.Statistic) || !same(got.CramerV, want.CramerV) || !same(got.G.P, want.G.P) {
				t.Fatalf("%s: %+v, %v, want %+v", name, got, err, want)
			}
			if name != "transposed" && (!same(got.WeightedJS, want.WeightedJS) || !same(got.EqualJS, want.EqualJS)) {
				t.Fatalf("%s: divergence %+v, want %+v", name, got, want)
			}
		}
	})
}

// G is 2N times the weighted divergence; shares, diversity and V stay in range.
func TestHomogeneityRange(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		table := mixTable(t, 40)
		h, err := HomogeneityTest(table)
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		for i, row := range table {
			n += sumCounts(row)
			if sumCounts(row) == 0 {
				if !math.IsNaN(h.Entropy[i]) || !math.IsNaN(h.GiniSimpson[i]) {
					t.Fatalf("an empty row has diversity: %+v", h)
				}
				continue
			}
			k := float64(len(row))
			if !(h.Entropy[i] >= -1e-12 && h.Entropy[i] <= math.Log(k)+1e-12 && h.GiniSimpson[i] >= -1e-12 && h.GiniSimpson[i] <= 1-1/k+1e-12) {
				t.Fatalf("row %d out of range: %+v", i+1, h)
			}
		}
		if h.Pearson.DF == 0 {
			if !math.IsNaN(h.Pearson.Statistic) || !math.IsNaN(h.G.P) || !math.IsNaN(h.CramerV) {
				t.Fatalf("a test without degrees of freedom: %+v", h)
			}
			return
		}
		if !same(h.G.Statistic, 2*float64(n)*h.WeightedJS) {
			t.Fatalf("G %v is not 2N times %v", h.G.Statistic, h.WeightedJS)
		}
		if !(h.CramerV >= 0 && h.CramerV <= 1 && h.Williams.Statistic <= h.G.Statistic && h.G.P >= 0 && h.G.P <= 1) {
			t.Fatalf("out of range: %+v", h)
		}
	})
}

func TestHomogeneityExtremes(t *testing.T) {
	apart, err := HomogeneityTest([][]int{{9, 0}, {0, 4}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "V of mixes that share nothing", apart.CramerV, 1, 1e-12)
	near(t, "divergence of such, bits", apart.EqualJS/math.Ln2, 1, 1e-12)
	alike, err := HomogeneityTest([][]int{{3, 6, 9}, {5, 10, 15}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "G of one mix", alike.G.Statistic, 0, 1e-12)
	near(t, "P of one mix", alike.Pearson.P, 1, 1e-12)
	for name, table := range map[string][][]int{
		"none": {}, "no categories": {{}, {}}, "ragged": {{1, 2}, {3}}, "negative": {{1, -2}, {3, 4}}, "huge": {{1 << 50, 1}, {1, 1}},
	} {
		if _, err := HomogeneityTest(table); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// Distances are symmetric, in range, and 0 for a mix and itself; Hellinger and total variation
// bound each other (Le Cam 1969): h² <= tv <= h sqrt(2 - h²).
func TestDistanceOfMixes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.IntRange(1, 7).Draw(t, "k")
		counts := rapid.SliceOfN(rapid.IntRange(0, 30), k, k)
		a, b := counts.Draw(t, "a"), counts.Draw(t, "b")
		a[0]++
		b[k-1]++
		p, q := Shares(a), Shares(b)
		d, err := DistanceOfMixes(p, q)
		if err != nil {
			t.Fatal(err)
		}
		back, err := DistanceOfMixes(q, p)
		if err != nil || !same(back.TotalVariation, d.TotalVariation) || !same(back.Hellinger, d.Hellinger) ||
			!same(back.EarthMover, d.EarthMover) || !same(back.JensenShannon, d.JensenShannon) || back.KullbackNats[0] != d.KullbackNats[1] {
			t.Fatalf("not symmetric: %+v, %+v, %v", d, back, err)
		}
		h2 := square(d.Hellinger)
		const slack = 1e-9
		if h2 > d.TotalVariation+slack || d.TotalVariation > d.Hellinger*math.Sqrt(2-h2)+slack ||
			d.EarthMover < d.TotalVariation-slack || d.EarthMover > float64(k-1)+slack ||
			d.JensenShannon < 0 || JensenShannonDistance(d.JensenShannon) > 1+slack || d.KullbackNats[0] < 0 {
			t.Fatalf("out of range: %+v", d)
		}
		self, err := DistanceOfMixes(p, p)
		if err != nil || self != (MixDistance{}) {
			t.Fatalf("a mix is apart from itself: %+v, %v", self, err)
		}
	})
	apart, err := DistanceOfMixes([]float64{1, 0, 0}, []float64{0, 0, 1})
	if err != nil || apart.TotalVariation != 1 || apart.Hellinger != 1 || apart.EarthMover != 2 || !math.IsInf(apart.KullbackNats[0], 1) {
		t.Errorf("mixes that share nothing: %+v, %v", apart, err)
	}
	for name, pair := range map[string][2][]float64{"unequal": {{1}, {0.5, 0.5}}, "none": {{}, {}}, "negative": {{1, 0}, {-1, 2}}} {
		if _, err := DistanceOfMixes(pair[0], pair[1]); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}
