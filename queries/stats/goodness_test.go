package stats

import "testing"

func TestGoodnessOfFitPublished(t *testing.T) {
	for _, c := range []struct {
		source string
		counts []int
		shares []float64
		chi    float64
	}{
		{"D. E. Knuth, The Art of Computer Programming vol. 2, 3.3.1: 144 throws of two dice, V = 7 7/48 (from memory)",
			[]int{2, 4, 10, 12, 22, 29, 21, 15, 14, 9, 6}, []float64{1, 2, 3, 4, 5, 6, 5, 4, 3, 2, 1}, 7 + 7.0/48},
		{"first thousand decimals of pi, digits 0 to 9, as often tabulated; 4.74 by hand",
			[]int{93, 116, 103, 102, 93, 97, 94, 95, 101, 106}, []float64{1, 1, 1, 1, 1, 1, 1, 1, 1, 1}, 4.74},
	} {
		got, err := GoodnessOfFit(c.counts, c.shares)
		if err != nil || got.DF != len(c.counts)-1 {
			t.Fatalf("%s: %+v, %v", c.source, got, err)
		}
		near(t, c.source, got.Statistic, c.chi, 1e-9)
	}
	// The help of R's chisq.test, counts A 20, B 15, C 25 against even shares: X-squared 2.5, df 2, p-value 0.2865.
	got, err := GoodnessOfFit([]int{20, 15, 25}, []float64{1, 1, 1})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "R, chisq.test", got.Statistic, 2.5, 1e-12)
	near(t, "R, chisq.test", got.P, 0.2865, 5e-5)
}

func TestGoodnessOfFitRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		counts []int
		shares []float64
	}{"one category": {[]int{1}, []float64{1}}, "lengths": {[]int{1, 2}, []float64{1}}, "negative": {[]int{-1, 2}, []float64{1, 1}}, "no share": {[]int{1, 2}, []float64{1, 0}}} {
		if _, err := GoodnessOfFit(c.counts, c.shares); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}
