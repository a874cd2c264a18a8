package people

import (
	"encoding/json"
	"math"
	"os"
	"testing"
)

// TestPublishedFunnel: with nothing to widen them, the limits of a verdict are those of the funnel of twelve
// hospitals' open operations on children under one year, 1991 to 1995 (Spiegelhalter 2005, Statistics in
// Medicine 24:1185, figures as kept in testdata/published.json).
func TestPublishedFunnel(t *testing.T) {
	raw, err := os.ReadFile("../../testdata/published.json")
	if err != nil {
		t.Fatal(err)
	}
	var examples []struct {
		ID       string
		Input    json.RawMessage
		Expected json.RawMessage
	}
	if err := json.Unmarshal(raw, &examples); err != nil {
		t.Fatal(err)
	}
	found := false
	for _, e := range examples {
		if e.ID != "bristol-1991-95-open-under1" {
			continue
		}
		found = true
		var in struct{ Events, Totals []int }
		var want struct {
			Target float64
			Limits [][4]float64 `json:"limits_0_001_0_025_0_975_0_999"`
		}
		if err := json.Unmarshal(e.Input, &in); err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(e.Expected, &want); err != nil {
			t.Fatal(err)
		}
		for i, n := range in.Totals {
			v := Verdict{Measure: Detections, Trials: n, Observed: in.Events[i], Expected: want.Target * float64(n), inflation: 1}
			v.Ratio = float64(v.Observed) / v.Expected
			if err := v.stand(); err != nil {
				t.Fatal(err)
			}
			got := [4]float64{v.Limits.Low998, v.Limits.Low95, v.Limits.High95, v.Limits.High998}
			for k := range got {
				if math.Abs(got[k]*want.Target-want.Limits[i][k]) > 1e-9 {
					t.Errorf("hospital %d, limit %d: %v, published %v", i+1, k, got[k]*want.Target, want.Limits[i][k])
				}
			}
		}
	}
	if !found {
		t.Error("the example is not among those kept")
	}
}
