package agreement

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"testing"
)

// example is one worked example of testdata/published.json, with its source.
type example struct {
	Method, ID, Source string
	Input              json.RawMessage
	Expected           map[string]any
	Tolerance          float64
}

// published calls f with each example of a method, its input read into in.
func published[I any](t *testing.T, method string, f func(t *testing.T, e example, in I)) {
	t.Helper()
	raw, err := os.ReadFile("../../testdata/published.json")
	if err != nil {
		t.Fatal(err)
	}
	var all []example
	if err := json.Unmarshal(raw, &all); err != nil {
		t.Fatal(err)
	}
	ran := 0
	for _, e := range all {
		if e.Method != method {
			continue
		}
		ran++
		t.Run(e.ID, func(t *testing.T) {
			t.Logf("source: %s", e.Source)
			var in I
			if err := json.Unmarshal(e.Input, &in); err != nil {
				t.Fatal(err)
			}
			f(t, e, in)
		})
	}
	if ran == 0 {
		t.Errorf("no published example of %s", method)
	}
}

func (e example) holds(t *testing.T, name string, got float64) {
	t.Helper()
	want, ok := e.Expected[name].(float64)
	if !ok || !(math.Abs(got-want) <= e.Tolerance*math.Max(1, math.Abs(want))) {
		t.Errorf("%s: got %v, published %v", name, got, e.Expected[name])
	}
}

// pairsOf writes a two-by-two table as rechecked points, each at a site of its own.
func pairsOf(both, onlyFirst, onlySecond, neither int) []Pair {
	var out []Pair
	add := func(n int, before, after string) {
		for range n {
			id := fmt.Sprintf("S%05d", len(out))
			out = append(out, Pair{Site: id, Point: "P1", Visit: "I" + id, First: "T1", Second: "T2", Before: before, Afterward: after})
		}
	}
	add(both, Active, Active)
	add(onlyFirst, Active, Clear)
	add(onlySecond, Clear, Active)
	add(neither, Clear, Clear)
	return out
}

// ratingsOf writes a square table as subjects rated by two.
func ratingsOf(table [][]int) []Rating {
	var out []Rating
	unit := 0
	for first, row := range table {
		for second, n := range row {
			for range n {
				id := fmt.Sprint(unit)
				out = append(out, Rating{id, id, "R1", float64(first)}, Rating{id, id, "R2", float64(second)})
				unit++
			}
		}
	}
	return out
}

// TestPublishedKappa sends the published two-by-two tables through pairs of calls: agreement, kappa, AC1
// and, but for the factor m/(m-1) of a variance between clusters, their standard errors. Larger tables,
// which pairs of calls cannot hold, go through ratings of two raters.
func TestPublishedKappa(t *testing.T) {
	published(t, "11-kappa", func(t *testing.T, e example, in struct{ Table [][]int }) {
		if len(in.Table) != 2 {
			ratings := ratingsOf(in.Table)
			got, err := Together(ratings, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			n := float64(len(ratings))
			e.holds(t, "scott_pi", 1-(1-got.Value)/(1-1/n)) // alpha less its small-sample term
			return
		}
		got, err := Measure(pairsOf(in.Table[0][0], in.Table[0][1], in.Table[1][0], in.Table[1][1]), 0.95)
		if err != nil {
			t.Fatal(err)
		}
		apart := math.Sqrt(float64(got.Pairs-1) / float64(got.Pairs))
		e.holds(t, "observed_agreement", float64(got.Agreed.Events)/float64(got.Agreed.Units))
		e.holds(t, "kappa", got.Calls.Kappa.Value)
		e.holds(t, "kappa_se", got.Calls.KappaSE*apart)
		e.holds(t, "gwet_ac1", got.Calls.AC1.Value)
		if se := got.Calls.AC1SE * apart; math.Abs(se-e.Expected["gwet_ac1_se_irrCAC_4_or_5_digits"].(float64)) > 1e-4 {
			t.Errorf("AC1 has standard error %v, published %v", se, e.Expected["gwet_ac1_se_irrCAC_4_or_5_digits"])
		}
	})
}

// TestPublishedMcNemar sends published discordant pairs through pairs of calls.
func TestPublishedMcNemar(t *testing.T) {
	type pairs struct {
		BothYes   int `json:"both_yes"`
		FirstYes  int `json:"first_yes_second_no"`
		SecondYes int `json:"first_no_second_yes"`
		BothNo    int `json:"both_no"`
	}
	published(t, "11-mcnemar", func(t *testing.T, e example, in pairs) {
		got, err := Measure(pairsOf(in.BothYes, in.FirstYes, in.SecondYes, in.BothNo), 0.95)
		if err != nil {
			t.Fatal(err)
		}
		e.holds(t, "p_exact", got.DirectionP)
	})
}

// TestPublishedAlpha sends published reliability data, with raters missing, through ratings.
func TestPublishedAlpha(t *testing.T) {
	published(t, "11-krippendorff-alpha", func(t *testing.T, e example, in struct{ Ratings [][]*float64 }) {
		var ratings []Rating
		for r, row := range in.Ratings {
			for u, v := range row {
				if v != nil {
					ratings = append(ratings, Rating{Site: fmt.Sprint(u), Unit: fmt.Sprint(u), Rater: fmt.Sprint(r), Category: *v})
				}
			}
		}
		got, err := Together(ratings, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		e.holds(t, "alpha_nominal", got.Value)
	})
}

// TestPublishedFleiss sends the table of Fleiss (1971) through ratings: alpha is Fleiss' kappa with the
// small-sample term (Krippendorff 2011).
func TestPublishedFleiss(t *testing.T) {
	published(t, "11-fleiss-kappa", func(t *testing.T, e example, in struct{ Counts [][]int }) {
		var ratings []Rating
		for u, row := range in.Counts {
			rater := 0
			for category, n := range row {
				for range n {
					ratings = append(ratings, Rating{Site: fmt.Sprint(u), Unit: fmt.Sprint(u), Rater: fmt.Sprint(rater), Category: float64(category)})
					rater++
				}
			}
		}
		got, err := Together(ratings, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		n := float64(len(ratings))
		e.holds(t, "fleiss_kappa", 1-(1-got.Value)/(1-1/n))
	})
}

// TestPublishedRepeatability sends published replicates through sets of repeated readings.
func TestPublishedRepeatability(t *testing.T) {
	published(t, "20-repeatability-reproducibility", func(t *testing.T, e example, in struct{ Values [][]float64 }) {
		var sets []Repeat
		for i, levels := range in.Values {
			sets = append(sets, Repeat{Site: fmt.Sprint(i), Levels: levels, Clear: len(levels)})
		}
		got, err := Repeatability(sets, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		e.holds(t, "s_r", got.SD.Value)
		e.holds(t, "repeatability_limit_2_8", got.Limit)
		if got.Same.Events != got.Same.Units || got.Same.Units != len(in.Values) || !(got.SD.Low < got.SD.Value && got.SD.Value < got.SD.High) {
			t.Errorf("%d of %d sets called alike, SD %+v", got.Same.Events, got.Same.Units, got.SD)
		}
	})
}
