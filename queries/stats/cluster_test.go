package stats

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

func clustersOf(t interface{ Fatal(...any) }, sizes, events []int, population int) ClusterEstimate {
	s, err := SumClusters(sizes, events)
	if err != nil {
		t.Fatal(err)
	}
	e, err := ClusterProportion(s, population, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func drawClusters(t *rapid.T) (sizes, events []int) {
	for range rapid.IntRange(2, 40).Draw(t, "clusters") {
		n := rapid.IntRange(1, 60).Draw(t, "n")
		sizes = append(sizes, n)
		events = append(events, rapid.IntRange(0, n).Draw(t, "x"))
	}
	return sizes, events
}

func TestClusterProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sizes, events := drawClusters(t)
		e := clustersOf(t, sizes, events, 0)
		// Wald is left out: it may leave 0 to 1. NaN limits come with a warning.
		for name, ci := range map[string]Interval{"z": e.WilsonZ, "t": e.WilsonT, "exact": e.KornGraubard, "logit": e.Logit, "arcsine": e.Arcsine} {
			said := 0 <= ci.Low && ci.Low <= e.P+1e-12 && e.P-1e-12 <= ci.High && ci.High <= 1
			if !said && len(e.Warnings) == 0 {
				t.Fatalf("%s: %+v around %g", name, ci, e.P)
			}
		}
		shuffled := rand.New(rand.NewPCG(1, 2))
		shuffled.Shuffle(len(sizes), func(i, j int) {
			sizes[i], sizes[j] = sizes[j], sizes[i]
			events[i], events[j] = events[j], events[i]
		})
		if o := clustersOf(t, sizes, events, 0); o.Variance != e.Variance || o.KornGraubard != e.KornGraubard && e.Variance > 0 {
			t.Fatalf("order matters: %+v and %+v", e, o)
		}
		for i := range events {
			events[i] = sizes[i] - events[i]
		}
		if c := clustersOf(t, sizes, events, 0); math.Abs(c.Variance-e.Variance) > 1e-15 || math.Abs(c.P+e.P-1) > 1e-12 {
			t.Fatalf("relabelling events: %+v and %+v", e, c)
		}
		if f := clustersOf(t, sizes, events, 2*len(sizes)); math.Abs(f.Variance-e.Variance/2) > 1e-15 {
			t.Fatalf("half the population sampled: variance %g, not half of %g", f.Variance, e.Variance)
		}
	})
}

// Clusters of one unit are a simple sample: the variance is p(1-p)/(n-1).
func TestClustersOfOne(t *testing.T) {
	sizes, events := make([]int, 50), make([]int, 50)
	for i := range sizes {
		sizes[i] = 1
		events[i] = i % 5 / 4
	}
	e := clustersOf(t, sizes, events, 0)
	near(t, "variance", e.Variance, 0.2*0.8/49, 1e-16)
	near(t, "design effect", e.DesignEffectReplace, 1, 1e-14)
	near(t, "effective n", e.EffectiveN, 49, 1e-12)
}

func TestClusterEdges(t *testing.T) {
	one := clustersOf(t, []int{20}, []int{5}, 0)
	if !math.IsNaN(one.Variance) || !math.IsNaN(one.KornGraubard.Low) || len(one.Warnings) == 0 {
		t.Errorf("one cluster: %+v", one)
	}
	none := clustersOf(t, []int{20, 30, 50}, []int{0, 0, 0}, 0)
	exact := estimateOf(t, ClopperPearson, 0, 100, 0.95)
	if !math.IsNaN(none.EffectiveN) || !(none.KornGraubard.High > exact.High) || none.KornGraubard.Low != 0 {
		t.Errorf("no events: %+v, exact %+v", none, exact)
	}
	alike := clustersOf(t, []int{3, 6, 9}, []int{1, 2, 3}, 0)
	if alike.Variance != 0 || !math.IsNaN(alike.EffectiveN) || len(alike.Warnings) == 0 {
		t.Errorf("clusters alike: %+v", alike)
	}
	census := clustersOf(t, []int{3, 6, 9}, []int{0, 2, 3}, 3)
	if census.Variance != 0 || len(census.Warnings) == 0 {
		t.Errorf("all clusters sampled: %+v", census)
	}
}

func TestClusterRefuses(t *testing.T) {
	for _, c := range []struct{ sizes, events []int }{
		{[]int{1}, nil}, {[]int{0}, []int{0}}, {[]int{2}, []int{3}}, {[]int{2}, []int{-1}}, {[]int{math.MaxInt}, []int{1}},
	} {
		if s, err := SumClusters(c.sizes, c.events); err == nil {
			t.Errorf("accepted %v: %+v", c, s)
		}
	}
	good := ClusterSums{Clusters: 3, Units: 12, Events: 3, EventsSquared: 5, EventsUnits: 10, UnitsSqrd: 50}
	if _, err := ClusterProportion(good, 0, 0.95); err != nil {
		t.Fatal(err)
	}
	for name, spoil := range map[string]func(*ClusterSums){
		"no clusters":       func(s *ClusterSums) { s.Clusters = 0 },
		"too many events":   func(s *ClusterSums) { s.Events = 13 },
		"too few squares":   func(s *ClusterSums) { s.EventsSquared = 2 },
		"too few products":  func(s *ClusterSums) { s.EventsUnits = 4 },
		"negative variance": func(s *ClusterSums) { s.EventsUnits = 49 },
		"too many units":    func(s *ClusterSums) { s.Units = math.MaxInt },
	} {
		s := good
		spoil(&s)
		if e, err := ClusterProportion(s, 0, 0.95); err == nil {
			t.Errorf("%s: accepted: %+v", name, e)
		}
	}
	if _, err := ClusterProportion(good, 2, 0.95); err == nil {
		t.Error("accepted more clusters than the population holds")
	}
	if _, err := ClusterProportion(good, 0, 1); err == nil {
		t.Error("accepted full confidence")
	}
}
