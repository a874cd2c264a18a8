package stats

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// clusterCell is what one cluster holds of one stratum.
type clusterCell struct{ n, x int }

// drawStrataInClusters gives clusters by strata; a cluster may lack a stratum.
func drawStrataInClusters(t *rapid.T, strata int) [][]clusterCell {
	clusters := rapid.IntRange(2, 12).Draw(t, "clusters")
	out := make([][]clusterCell, clusters)
	for i := range out {
		for k := range strata {
			low := 0
			if i == k%clusters {
				low = 1 // every stratum has units
			}
			n := rapid.IntRange(low, 9).Draw(t, "n")
			out[i] = append(out[i], clusterCell{n, rapid.IntRange(0, n).Draw(t, "x")})
		}
	}
	return out
}

func stratify(clusters [][]clusterCell, weights []float64) ([]StratumSums, []PairSums) {
	strata := make([]StratumSums, len(weights))
	var pairs []PairSums
	for a := range weights {
		strata[a].Weight = weights[a]
		for b := range weights {
			p := PairSums{A: a, B: b}
			for _, c := range clusters {
				p.EventsEvents += c[a].x * c[b].x
				p.EventsUnits += c[a].x * c[b].n
				p.UnitsEvents += c[a].n * c[b].x
				p.UnitsUnits += c[a].n * c[b].n
			}
			pairs = append(pairs, p)
		}
		for _, c := range clusters {
			strata[a].Units += c[a].n
			strata[a].Events += c[a].x
		}
	}
	return strata, pairs
}

// TestStandardisedVariance holds the variance from sums to the definition, cluster by cluster.
func TestStandardisedVariance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		clusters := drawStrataInClusters(t, 3)
		weights := []float64{0.5, 0.3, 0.2}
		strata, pairs := stratify(clusters, weights)
		got, err := StandardisedProportion(strata, pairs, len(clusters), 0.95)
		if err != nil {
			t.Fatal(err)
		}
		want, p := 0.0, 0.0
		for _, c := range clusters {
			score := 0.0
			for k, s := range strata {
				rate := float64(s.Events) / float64(s.Units)
				score += weights[k] * (float64(c[k].x) - rate*float64(c[k].n)) / float64(s.Units)
			}
			want += score * score
		}
		for k, s := range strata {
			p += weights[k] * float64(s.Events) / float64(s.Units)
		}
		m := float64(len(clusters))
		want *= m / (m - 1)
		if math.Abs(got.P-p) > 1e-12 || math.Abs(got.Variance-want) > 1e-10 {
			t.Fatalf("got %v with variance %v, want %v with %v", got.P, got.Variance, p, want)
		}
		if ci := got.KornGraubard; !math.IsNaN(ci.Low) && !(0 <= ci.Low && ci.Low <= got.P+1e-12 && got.P-1e-12 <= ci.High && ci.High <= 1) {
			t.Fatalf("%v lies outside %v", got.P, ci)
		}
	})
}

// TestStandardisedOneStratum: with one stratum it is the plain proportion of clusters.
func TestStandardisedOneStratum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		clusters := drawStrataInClusters(t, 1)
		strata, pairs := stratify(clusters, []float64{1})
		got, err := StandardisedProportion(strata, pairs, len(clusters), 0.95)
		if err != nil {
			t.Fatal(err)
		}
		want, err := ClusterProportion(ClusterSums{Clusters: len(clusters), Units: strata[0].Units, Events: strata[0].Events,
			EventsSquared: pairs[0].EventsEvents, EventsUnits: pairs[0].EventsUnits, UnitsSqrd: pairs[0].UnitsUnits}, 0, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		same := func(a, b float64) bool { return math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) < 1e-9 }
		if !same(got.P, want.P) || !same(got.Variance, want.Variance) || !same(got.KornGraubard.Low, want.KornGraubard.Low) ||
			!same(got.KornGraubard.High, want.KornGraubard.High) || !same(got.DesignEffect, want.DesignEffect) {
			t.Fatalf("got %+v, want %+v", got, want)
		}
	})
}

func TestStandardisedRefuses(t *testing.T) {
	one := []StratumSums{{1, 10, 5}}
	for name, err := range map[string]error{
		"nothing":         errorOf(StandardisedProportion(nil, nil, 3, 0.95)),
		"weights":         errorOf(StandardisedProportion([]StratumSums{{0.5, 10, 5}}, nil, 3, 0.95)),
		"too many events": errorOf(StandardisedProportion([]StratumSums{{1, 10, 11}}, nil, 3, 0.95)),
		"unknown stratum": errorOf(StandardisedProportion(one, []PairSums{{A: 0, B: 1}}, 3, 0.95)),
		"one way round":   errorOf(StandardisedProportion(one, []PairSums{{A: 0, B: 0, EventsUnits: 99}}, 3, 0.95)),
		"confidence":      errorOf(StandardisedProportion(one, nil, 3, 1)),
	} {
		if err == nil {
			t.Errorf("%s: taken", name)
		}
	}
}

func errorOf(_ ClusterEstimate, err error) error { return err }

// TestSquareAndAdd: with the Wilson intervals of 56 of 70 and 48 of 80 it gives Newcombe's published
// example (1998, Stat Med 17:873-890, table II (a), method 10): 0.2000, 0.0524 to 0.3339.
func TestSquareAndAdd(t *testing.T) {
	a, err := Wilson(56, 70, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Wilson(48, 80, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	ci := SquareAndAdd(a.Value, Interval{a.Low, a.High}, b.Value, Interval{b.Low, b.High})
	if math.Abs(ci.Low-0.0524) > 5e-5 || math.Abs(ci.High-0.3339) > 5e-5 {
		t.Errorf("got %v", ci)
	}
}

// TestEWMAOfEqualSigmas: a sigma for each value, all alike, is the chart with one sigma.
func TestEWMAOfEqualSigmas(t *testing.T) {
	in := EWMAInput{X: []float64{52, 47, 53, 49.3, 58}, Target: 50, Sigma: 2, Lambda: 0.3, L: 3}
	want, err := NewEWMA(in)
	if err != nil {
		t.Fatal(err)
	}
	in.Sigma, in.Sigmas = math.NaN(), []float64{2, 2, 2, 2, 2}
	got, err := NewEWMA(in)
	if err != nil {
		t.Fatal(err)
	}
	for i := range in.X {
		if got.EWMA[i] != want.EWMA[i] || math.Abs(got.Exact[i].High-want.Exact[i].High) > 1e-12 {
			t.Errorf("value %d: got %v %v, want %v %v", i, got.EWMA[i], got.Exact[i], want.EWMA[i], want.Exact[i])
		}
	}
	if len(got.SignalsExact) != len(want.SignalsExact) || !math.IsNaN(got.Asymptotic.Low) {
		t.Errorf("got %+v", got)
	}
	for _, bad := range [][]float64{{1}, {1, 1, 1, 1, 0}, {1, 1, 1, 1, math.NaN()}} {
		in.Sigmas = bad
		if _, err := NewEWMA(in); err == nil {
			t.Errorf("took sigmas %v", bad)
		}
	}
}

// TestLimitsAt: for a size the chart was made from, the limits are those of the chart.
func TestLimitsAt(t *testing.T) {
	c, err := NewPChart([]int{3, 5, 1}, []int{40, 50, 60}, 3)
	if err != nil {
		t.Fatal(err)
	}
	for i, n := range []int{40, 50, 60} {
		if plain, laney := c.LimitsAt(n, 3); plain != c.Limits[i] || laney != c.Laney[i] {
			t.Errorf("size %d: %v and %v, want %v and %v", n, plain, laney, c.Limits[i], c.Laney[i])
		}
	}
}

// TestHarmonicWidened: a design effect of 4 doubles standard errors and quarters tests; one below 1
// changes nothing.
func TestHarmonicWidened(t *testing.T) {
	angles := make([]float64, 12)
	for m := range angles {
		angles[m] = MonthAngle(m+1, 0.5)
	}
	f, err := LogisticHarmonic([]int{5, 6, 8, 9, 12, 14, 13, 11, 9, 8, 6, 5}, []int{50, 50, 50, 50, 50, 50, 50, 50, 50, 50, 50, 50}, angles)
	if err != nil {
		t.Fatal(err)
	}
	w := f.Widened(4)
	if w.AmplitudeSE != 2*f.AmplitudeSE || w.PeakRadiansSE != 2*f.PeakRadiansSE || w.LikelihoodRatio.Statistic != f.LikelihoodRatio.Statistic/4 ||
		w.Amplitude != f.Amplitude || !(w.LikelihoodRatio.P > f.LikelihoodRatio.P) {
		t.Errorf("got %+v from %+v", w, f)
	}
	if f.Widened(0.5).AmplitudeSE != f.AmplitudeSE || f.Widened(math.NaN()).AmplitudeSE != f.AmplitudeSE {
		t.Error("a design effect that is no more than 1 changed the fit")
	}
	limits := f.AmplitudeLimits(0.95)
	if math.Abs((limits.Low+limits.High)/2-f.Amplitude) > 1e-12 || math.Abs(limits.High-f.Amplitude-1.959964*f.AmplitudeSE) > 1e-6 {
		t.Errorf("limits %v around %v", limits, f.Amplitude)
	}
	if peak := f.Linear(f.PeakRadians); math.Abs(peak-f.Coef[0]-f.Amplitude) > 1e-9 {
		t.Errorf("at the peak the wave is %v, not %v above %v", peak, f.Amplitude, f.Coef[0])
	}
	if !math.IsNaN(f.Widened(1e6).PeakHalfWidth(0.95)) {
		t.Error("an interval of the peak wider than the circle is given as known")
	}
}
