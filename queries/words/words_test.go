package words

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestPercent(t *testing.T) {
	for rate, want := range map[float64]string{
		0: "0%", 0.0001: "<0.1%", 0.0005: "0.1%", 0.074: "7.4%", 0.0994: "9.9%", 0.0996: "10%", 0.1: "10%", 0.511: "51%",
		0.994: "99%", 0.996: "99.6%", 0.99949: "99.9%", 0.9996: ">99.9%", 1: "100%",
	} {
		if got := Percent(rate); got != want {
			t.Errorf("Percent(%v) = %q, want %q", rate, got, want)
		}
	}
	if got := Percent(math.NaN()); got != "–" {
		t.Errorf("Percent(NaN) = %q", got)
	}
}

// The written percentage is never further from the rate than half of its last
// decimal, and never claims certainty.
func TestPercentIsNear(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rate := rapid.Float64Range(0, 1).Draw(t, "rate")
		got := Percent(rate)
		if (got == "0%") != (rate == 0) || (got == "100%") != (rate == 1) {
			t.Fatalf("Percent(%v) = %q", rate, got)
		}
		v, err := strconv.ParseFloat(strings.Trim(got, "<>%"), 64)
		if err != nil {
			t.Fatal(err)
		}
		off := 0.5
		if strings.Contains(got, ".") {
			off = 0.1
		}
		if math.Abs(v-100*rate) > off+1e-9 {
			t.Errorf("Percent(%v) = %q", rate, got)
		}
	})
}

func TestCountAndRatio(t *testing.T) {
	for n, want := range map[int]string{0: "0", 999: "999", 9999: "9999", 12345: "12\u00a0345", -1234567: "-1\u00a0234\u00a0567", math.MinInt64: "-9\u00a0223\u00a0372\u00a0036\u00a0854\u00a0775\u00a0808"} {
		if got := Count(n); got != want {
			t.Errorf("Count(%d) = %q, want %q", n, got, want)
		}
	}
	for v, want := range map[float64]string{0.734: "0.73", 9.994: "9.99", 9.996: "10.0", 12.34: "12.3", 99.96: "100", 1234: "1234", math.Inf(1): "–"} {
		if got := Ratio(v); got != want {
			t.Errorf("Ratio(%v) = %q, want %q", v, got, want)
		}
	}
}
