package stats

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// TestWeightedClusterByHand: three sites with units of weight 1 and 4.
//
//	site 1: 2 units w 1, 2 events           units 2, events 2
//	site 2: 1 unit w 1 event, 1 unit w 4    units 5, events 1
//	site 3: 1 unit w 4, event               units 4, events 4
//
// p = 7/11. Deviations d = events - p units: 8/11, -24/11, 16/11; sum of squares (64+576+256)/121.
// Variance 3/2 * (896/121) / 121. Kish n = 11² / (1+1+1+16+16) = 121/35.
func TestWeightedClusterByHand(t *testing.T) {
	var sites [3]WeightedCluster
	sites[0].Add(2, 2, 1)
	sites[1].Add(1, 1, 1)
	sites[1].Add(1, 0, 4)
	sites[2].Add(1, 1, 4)
	e, n, err := WeightedClusterProportion(sites[:], 0.95)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		what      string
		got, want float64
	}{{"p", e.P, 7.0 / 11}, {"variance", e.Variance, 1.5 * 896 / 121 / 121}, {"Kish n", n, 121.0 / 35}} {
		if math.Abs(c.got-c.want) > 1e-12 {
			t.Errorf("%s is %g, want %g", c.what, c.got, c.want)
		}
	}
}

func TestWeightedClusterProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sizes, events := drawClusters(t)
		want := clustersOf(t, sizes, events, 0)
		weight := rapid.Float64Range(0.01, 1000).Draw(t, "weight")
		clusters := make([]WeightedCluster, len(sizes))
		for i := range sizes {
			clusters[i].Add(sizes[i], events[i], weight)
		}
		got, n, err := WeightedClusterProportion(clusters, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		// Equal weights change nothing, whatever they are.
		near := func(a, b float64) bool {
			return math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) <= 1e-9*(1+math.Abs(b))
		}
		total := 0
		for _, s := range sizes {
			total += s
		}
		if !near(got.P, want.P) || !near(got.Variance, want.Variance) || !near(got.EffectiveN, want.EffectiveN) || !near(n, float64(total)) ||
			!near(got.KornGraubard.Low, want.KornGraubard.Low) || !near(got.WilsonT.High, want.WilsonT.High) {
			t.Fatalf("weight %g: %+v, unweighted %+v", weight, got, want)
		}
	})
}

// TestWeightedClusterScale: only how weights stand to one another matters, and the capped interval lies around
// the share and is never shorter than that of so many independent units.
func TestWeightedClusterScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sizes, events := drawClusters(t)
		factor := rapid.Float64Range(0.01, 1000).Draw(t, "factor")
		plain, scaled := make([]WeightedCluster, len(sizes)), make([]WeightedCluster, len(sizes))
		for i := range sizes {
			weight := rapid.Float64Range(0.1, 50).Draw(t, "weight")
			plain[i].Add(sizes[i], events[i], weight)
			scaled[i].Add(sizes[i], events[i], weight*factor)
		}
		a, n, err := WeightedClusterProportion(plain, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		b, m, err := WeightedClusterProportion(scaled, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		near := func(a, b float64) bool {
			return math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) <= 1e-7*(1+math.Abs(b))
		}
		cases := 0.0
		for _, size := range sizes {
			cases += float64(size)
		}
		one, two := a.KornGraubardAtMost(cases, 0.95), b.KornGraubardAtMost(cases, 0.95)
		if !near(a.P, b.P) || !near(a.Variance, b.Variance) || !near(n, m) || !near(one.Low, two.Low) || !near(one.High, two.High) {
			t.Fatalf("times %g: %+v became %+v, capped %+v became %+v", factor, a, b, one, two)
		}
		if one.Low > a.P || one.High < a.P || a.EffectiveN <= cases && a.DF > 0 && a.P > 0 && a.P < 1 && !near(one.Low, a.kornGraubard(a.EffectiveN, cases, 0.95).Low) {
			t.Fatalf("%+v capped at %g: %+v", a, cases, one)
		}
	})
}

// TestWeightedCoverage opens 60% of the points called active and 6% of those called clear, and estimates what
// share of active points was called active. The interval to show covers it as it promises; with the n of Kish
// (1965) for a bound it would cover far more, as weights go with the call.
func TestWeightedCoverage(t *testing.T) {
	const worlds, shown, unshown = 2000, 120, 200 // active points called active, of 200, and called clear, of 12 000
	rng := rand.New(rand.NewPCG(1, 2))
	opened := func(points int, share float64) (n int) {
		for range points {
			if rng.Float64() < share {
				n++
			}
		}
		return n
	}
	var covered, held int
	for range worlds {
		hits, misses := opened(shown, 0.6), opened(unshown, 0.06)
		calledActive, calledClear := 200/float64(hits+opened(200-shown, 0.6)), 12_000/float64(misses+opened(12_000-unshown, 0.06))
		sites := make([]WeightedCluster, hits+misses) // each point of a site of its own
		for i := range sites {
			if i < hits {
				sites[i].Add(1, 1, calledActive)
				continue
			}
			sites[i].Add(1, 0, calledClear)
		}
		e, kish, err := WeightedClusterProportion(sites, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		within := func(n float64) bool {
			i := e.KornGraubardAtMost(n, 0.95)
			return i.Low <= shown/float64(shown+unshown) && i.High >= shown/float64(shown+unshown)
		}
		if within(float64(len(sites))) {
			covered++
		}
		if within(kish) {
			held++
		}
	}
	if share := float64(covered) / worlds; share < 0.95 || share > 0.99 {
		t.Errorf("with n at most the cases, intervals of 95%% cover %v", share)
	}
	if share := float64(held) / worlds; share < 0.99 {
		t.Errorf("with n at most Kish's, intervals of 95%% cover %v: it is a bound after all", share)
	}
}

func TestWeightedClusterFaults(t *testing.T) {
	for _, clusters := range [][]WeightedCluster{nil, {{}}, {{Units: 1, Events: 2, WeightsSquared: 1}}, {{Units: -1, WeightsSquared: 1}},
		{{Units: math.NaN(), WeightsSquared: 1}}, {{Units: math.Inf(1), WeightsSquared: math.Inf(1)}}} {
		if _, _, err := WeightedClusterProportion(clusters, 0.95); err == nil {
			t.Errorf("accepted %+v", clusters)
		}
	}
	if e, _, err := WeightedClusterProportion([]WeightedCluster{{Units: 2, Events: 1, WeightsSquared: 2}}, 0.95); err != nil || !math.IsNaN(e.Variance) || len(e.Warnings) == 0 {
		t.Errorf("one cluster: %+v, %v", e, err)
	}
}

// TestSumOfEstimates: with factors 1 and the second estimate mirrored, it is Newcombe's difference of
// two independent Wilson intervals: 56/70 against 48/80 gives 0.2, 0.0524 to 0.3339 (Newcombe 1998,
// Stat Med 17:873-890, table II, example a, method 10).
func TestSumOfEstimates(t *testing.T) {
	a, err := Wilson(56, 70, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Wilson(80-48, 80, 0.95) // 1 - 48/80
	if err != nil {
		t.Fatal(err)
	}
	got := SumOfEstimates(a, 1, b, 1)
	if math.Abs(got.Value-1-0.2) > 1e-12 || math.Abs(got.Low-1-0.0524) > 5e-5 || math.Abs(got.High-1-0.3339) > 5e-5 {
		t.Errorf("%+v", got)
	}
}
