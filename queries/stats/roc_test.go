package stats

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"pgregory.net/rapid"
)

func rocOf(t interface{ Fatal(...any) }, positive []bool, score []float64) AUC {
	a, err := ROC(positive, score, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func drawScores(t *rapid.T) (positive []bool, score []float64) {
	n := rapid.IntRange(2, 60).Draw(t, "n")
	positive = append(rapid.SliceOfN(rapid.Bool(), n, n).Draw(t, "truth"), true, true, false, false)
	score = rapid.SliceOfN(rapid.Map(rapid.IntRange(-9, 9), func(i int) float64 { return float64(i) }), n+4, n+4).Draw(t, "score")
	return positive, score
}

func TestROCProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		positive, score := drawScores(t)
		a := rocOf(t, positive, score)
		if !(0 <= a.Low && a.Low <= a.Value && a.Value <= a.High && a.High <= 1) {
			t.Fatalf("%+v", a)
		}
		// The area is the share of pairs ranked rightly, counted one by one.
		var right, pairs float64
		for i, p := range positive {
			for j, q := range positive {
				if p && !q {
					pairs++
					if score[i] > score[j] {
						right++
					} else if score[i] == score[j] {
						right += 0.5
					}
				}
			}
		}
		if math.Abs(a.Value-right/pairs) > 1e-12 {
			t.Fatalf("area %g, by pairs %g", a.Value, right/pairs)
		}
		turned, stretched, other := make([]float64, len(score)), make([]float64, len(score)), make([]bool, len(score))
		for i, s := range score {
			turned[i], stretched[i], other[i] = -s, s*s*s+2*s, !positive[i]
		}
		if b := rocOf(t, positive, turned); math.Abs(a.Value+b.Value-1) > 1e-12 || math.Abs(a.Variance-b.Variance) > 1e-12 {
			t.Fatalf("turned: %+v and %+v", a, b)
		}
		if b := rocOf(t, other, turned); math.Abs(a.Value-b.Value) > 1e-12 || math.Abs(a.Variance-b.Variance) > 1e-12 {
			t.Fatalf("relabelled: %+v and %+v", a, b)
		}
		if b := rocOf(t, positive, stretched); a.Value != b.Value || a.Youden != b.Youden || len(a.BestCuts) != len(b.BestCuts) {
			t.Fatalf("stretched: %+v and %+v", a, b)
		}
		for _, c := range a.BestCuts {
			if math.Abs(c.Sensitivity+c.Specificity-1-a.Youden) > 1e-12 {
				t.Fatalf("cut %+v does not reach %g", c, a.Youden)
			}
		}
		if d, err := CompareAUC(positive, score, stretched, 0.95); err != nil || d.Difference.Value != 0 || d.StdErr > 1e-7 {
			t.Fatalf("against itself: %+v, %v", d, err)
		}
	})
}

// Two markers of the aSAH data: Z = 2.209, P = 0.02718, 95 % interval of the difference 0.0104 to
// 0.1742, as printed on the help page of the pROC package (Robin et al. 2011, BMC Bioinformatics
// 12:77); values from memory.
func TestCompareAUC(t *testing.T) {
	raw, err := os.ReadFile("../../testdata/published.json")
	if err != nil {
		t.Fatal(err)
	}
	var examples []struct {
		ID    string
		Input json.RawMessage
	}
	if err := json.Unmarshal(raw, &examples); err != nil {
		t.Fatal(err)
	}
	scores := make(map[string][]float64)
	var positive []bool
	for _, e := range examples {
		if e.ID != "asah-wfns" && e.ID != "asah-s100b" {
			continue
		}
		var in struct {
			Truth []int
			Score []float64
		}
		if err := json.Unmarshal(e.Input, &in); err != nil {
			t.Fatal(err)
		}
		positive = positive[:0]
		for _, y := range in.Truth {
			positive = append(positive, y == 1)
		}
		scores[e.ID] = in.Score
	}
	d, err := CompareAUC(positive, scores["asah-wfns"], scores["asah-s100b"], 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Z", d.Z, 2.209, 5e-4)
	near(t, "P", d.P, 0.02718, 5e-6)
	near(t, "low", d.Difference.Low, 0.0104, 5e-5)
	near(t, "high", d.Difference.High, 0.1742, 5e-5)
}

func TestROCEdges(t *testing.T) {
	apart := rocOf(t, []bool{false, false, true, true}, []float64{1, 2, 3, 4})
	if apart.Value != 1 || apart.Variance != 0 || len(apart.Warnings) == 0 || apart.BestCuts[0] != (Cut{2.5, 1, 1}) {
		t.Errorf("no overlap: %+v", apart)
	}
	wrong := rocOf(t, []bool{true, true, false, false}, []float64{1, 2, 3, 4})
	if wrong.Youden != 0 || len(wrong.BestCuts) != 2 || !math.IsInf(wrong.BestCuts[0].Threshold, -1) {
		t.Errorf("no cut helps: %+v", wrong)
	}
	if one := rocOf(t, []bool{false, true}, []float64{1, 2}); !math.IsNaN(one.StdErr) || len(one.Warnings) == 0 {
		t.Errorf("one of a kind: %+v", one)
	}
	for _, c := range []struct {
		positive []bool
		score    []float64
	}{{nil, nil}, {[]bool{true}, []float64{1, 2}}, {[]bool{true, true}, []float64{1, 2}}, {[]bool{true, false}, []float64{1, math.NaN()}}} {
		if a, err := ROC(c.positive, c.score, 0.95); err == nil {
			t.Errorf("accepted %+v: %+v", c, a)
		}
	}
	if d, err := CompareAUC([]bool{true, false}, []float64{1, 2}, []float64{1}, 0.95); err == nil {
		t.Errorf("accepted scores of unequal length: %+v", d)
	}
}
