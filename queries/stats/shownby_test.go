package stats

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func shownBy(t interface{ Fatal(...any) }, steps int, ladders []Ladder) []ClusterEstimate {
	e, n, err := ShownBy(steps, ladders, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if len(e) != steps || len(n) != steps {
		t.Fatal("not one estimate a step", len(e), len(n))
	}
	return e
}

// TestShownByKaplanMeier: the remission times of 21 patients treated with 6-mercaptopurine (Freireich
// et al. 1963), the first four times with an event: 6 (3 events), 7, 10, 13 give survival 0.857, 0.807,
// 0.753, 0.690 (Collett, Modelling Survival Data in Medical Research; from memory, and recomputed here:
// 18/21, times 16/17, times 14/15, times 11/12). A patient censored between events was last seen
// without one at the step before.
func TestShownByKaplanMeier(t *testing.T) {
	var ladders []Ladder
	add := func(n, unshown, shown int) { ladders = append(ladders, Ladder{len(ladders), unshown, shown, n, 1}) }
	add(3, -1, 0) // events at 6
	add(1, 0, 4)  // censored at 6
	add(1, 0, 1)  // event at 7
	add(1, 1, 4)  // censored at 9
	add(1, 1, 2)  // event at 10
	add(2, 2, 4)  // censored at 10 and 11
	add(1, 2, 3)  // event at 13
	add(11, 3, 4) // later
	got := shownBy(t, 4, ladders)
	survival := 1.0
	for i, events := range []struct{ n, of float64 }{{3, 21}, {1, 17}, {1, 15}, {1, 12}} {
		survival *= 1 - events.n/events.of
		if math.Abs(1-got[i].P-survival) > 1e-6 {
			t.Errorf("step %d: survival %.6f, want %.6f", i, 1-got[i].P, survival)
		}
	}
	if math.Abs(survival-0.690) > 5e-4 {
		t.Errorf("survival %.4f, want 0.690", survival)
	}
}

// TestShownByOneStepEach: points tried at one step each give the shares that showed, made to rise by
// pooling neighbours that do not (isotonic regression): 2 of 10, 6 of 10, 5 of 10, 9 of 10 give 0.2,
// 0.55, 0.55, 0.9.
func TestShownByOneStepEach(t *testing.T) {
	var ladders []Ladder
	for step, shown := range []int{2, 6, 5, 9} {
		ladders = append(ladders, Ladder{step, -1, step, shown, 2.5}, Ladder{step + 4, step, 4, 10 - shown, 2.5})
	}
	got := shownBy(t, 4, ladders)
	for i, want := range []float64{0.2, 0.55, 0.55, 0.9} {
		if math.Abs(got[i].P-want) > 1e-4 {
			t.Errorf("step %d: %.5f, want %.2f", i, got[i].P, want)
		}
	}
}

// TestShownByOneStepIsAProportion: with one step it is the weighted share, and the jackknife of as
// many groups as clusters is close to the linearised variance.
func TestShownByOneStepIsAProportion(t *testing.T) {
	var ladders []Ladder
	clusters := make([]WeightedCluster, 16)
	for i := range clusters {
		shown := 1 + i*7%5
		ladders = append(ladders, Ladder{i, -1, 0, shown, 1}, Ladder{i, 0, 1, 6 - shown, 3})
		clusters[i].Add(shown, shown, 1)
		clusters[i].Add(6-shown, 0, 3)
	}
	got := shownBy(t, 1, ladders)[0]
	want, _, err := WeightedClusterProportion(clusters, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(got.P-want.P) > 1e-9 || math.Abs(got.StdErr/want.StdErr-1) > 0.05 {
		t.Errorf("%g ± %g, want %g ± %g", got.P, got.StdErr, want.P, want.StdErr)
	}
}

func TestShownByProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		steps := rapid.IntRange(1, 6).Draw(t, "steps")
		var ladders []Ladder
		for i := range rapid.IntRange(1, 30).Draw(t, "ladders") {
			unshown := rapid.IntRange(-1, steps-1).Draw(t, "unshown")
			ladders = append(ladders, Ladder{i, unshown, rapid.IntRange(unshown+1, steps).Draw(t, "shown"),
				rapid.IntRange(1, 50).Draw(t, "points"), rapid.Float64Range(0.5, 50).Draw(t, "weight")})
		}
		last := 0.0
		for i, e := range shownBy(t, steps, ladders) {
			if !(e.P >= last-1e-9 && e.P <= 1) || e.Variance < 0 || math.IsInf(e.Variance, 0) {
				t.Fatalf("step %d: %+v after %g", i, e, last)
			}
			last = e.P
		}
	})
}

func TestShownByFaults(t *testing.T) {
	good := Ladder{0, -1, 0, 1, 1}
	for _, c := range []struct {
		steps   int
		ladders []Ladder
		conf    float64
	}{{0, []Ladder{good}, 0.95}, {1, nil, 0.95}, {1, []Ladder{good}, 1}, {1, []Ladder{{0, 0, 0, 1, 1}}, 0.95}, {1, []Ladder{{0, -2, 0, 1, 1}}, 0.95},
		{1, []Ladder{{0, -1, 2, 1, 1}}, 0.95}, {1, []Ladder{{0, -1, 0, 0, 1}}, 0.95}, {1, []Ladder{{0, -1, 0, 1, math.NaN()}}, 0.95}, {1, []Ladder{{0, -1, 0, 1, math.Inf(1)}}, 0.95}} {
		if _, _, err := ShownBy(c.steps, c.ladders, c.conf); err == nil {
			t.Errorf("accepted %+v", c)
		}
	}
}
