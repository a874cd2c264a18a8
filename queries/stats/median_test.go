package stats

import (
	"math"
	"testing"
)

// TestMedianLimits: the ranks of the 95 % limits are those of the tables of binomial confidence limits for
// the median (Conover 1999, Practical Nonparametric Statistics, table A3, from memory): 6 values 1 and 6,
// 10 values 2 and 9, 20 values 6 and 15.
func TestMedianLimits(t *testing.T) {
	for n, rank := range map[int]int{6: 1, 10: 2, 20: 6} {
		var values []float64
		for i := n; i > 0; i-- {
			values = append(values, float64(i))
		}
		got, err := Median(values, 0.95)
		if err != nil || got.Low != float64(rank) || got.High != float64(n+1-rank) || got.Value != float64(n+1)/2 {
			t.Errorf("%d values: %+v, %v", n, got, err)
		}
	}
	if few, err := Median([]float64{1, 2, 3}, 0.95); err != nil || !math.IsNaN(few.Low) || few.Value != 2 {
		t.Errorf("three values: %+v, %v", few, err)
	}
	if _, err := Median(nil, 0.95); err == nil {
		t.Error("no values were taken")
	}
}
