package stats

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestAdjustedPProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SliceOfN(rapid.Float64Range(0, 1), 1, 30).Draw(t, "p")
		perm := rapid.Permutation(indices(len(p))).Draw(t, "order")
		shuffled := make([]float64, len(p))
		for i, from := range perm {
			shuffled[i] = p[from]
		}
		r, s := must(AdjustPValues(p))(t), must(AdjustPValues(shuffled))(t)
		for _, pair := range [][2][]float64{
			{r.BenjaminiHochberg, s.BenjaminiHochberg}, {r.BenjaminiYekutieli, s.BenjaminiYekutieli},
			{r.Holm, s.Holm}, {r.Bonferroni, s.Bonferroni},
		} {
			for i, from := range perm {
				if pair[1][i] != pair[0][from] {
					t.Fatalf("order matters: %v and %v", pair[0], pair[1])
				}
			}
			checkAdjusted(t, p, pair[0])
		}
		for i := range p {
			if r.BenjaminiHochberg[i] > r.Holm[i]*(1+1e-12) || r.Holm[i] > r.Bonferroni[i] || r.BenjaminiHochberg[i] > r.BenjaminiYekutieli[i] {
				t.Fatalf("a stricter method gave a smaller p: %+v", r)
			}
		}
	})
}

// checkAdjusted holds adjusted p-values to p <= adjusted <= 1, and to the order of the p-values.
func checkAdjusted(t rapid.TB, p, adjusted []float64) {
	t.Helper()
	for i := range p {
		if adjusted[i] < p[i]*(1-1e-12) || adjusted[i] > 1 {
			t.Fatalf("%v became %v", p[i], adjusted[i])
		}
		for j := range p {
			if p[i] < p[j] && adjusted[i] > adjusted[j] {
				t.Fatalf("%v and %v changed places: %v, %v", p[i], p[j], adjusted[i], adjusted[j])
			}
		}
	}
}

func indices(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

func TestMissingPIsNotCounted(t *testing.T) {
	with := must(AdjustPValues([]float64{0.01, math.NaN(), 0.04}))(t)
	without := must(AdjustPValues([]float64{0.01, 0.04}))(t)
	if !slices.Equal([]float64{with.Holm[0], with.Holm[2]}, without.Holm) || !math.IsNaN(with.Holm[1]) {
		t.Errorf("got %v, want %v with NaN between", with.Holm, without.Holm)
	}
}

func TestRejectedAtTheLevel(t *testing.T) {
	adjusted := must(AdjustPValues([]float64{0.15 / 3, 0.9, 0.95}))(t).Bonferroni // 0.15 up to rounding
	if got := Rejected(adjusted, 0.15); got != 1 {
		t.Errorf("rejected %d at exactly the level, want 1", got)
	}
	if got := Rejected(adjusted, 0.1499); got != 0 {
		t.Errorf("rejected %d above the level, want 0", got)
	}
}
