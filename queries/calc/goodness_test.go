package calc

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
)

// TestGoodnessOfFit: the dice of Knuth (TAOCP vol. 2, 3.3.1, from memory), V = 7 7/48, and even shares where none
// are given.
func TestGoodnessOfFit(t *testing.T) {
	for input, want := range map[string]float64{
		`{"counts": [2, 4, 10, 12, 22, 29, 21, 15, 14, 9, 6], "shares": [1, 2, 3, 4, 5, 6, 5, 4, 3, 2, 1]}`: 7 + 7.0/48,
		`{"counts": [20, 15, 25]}`: 2.5,
	} {
		out, err := Run("goodness-of-fit", strings.NewReader(input))
		var got struct {
			ChiSquared float64 `json:"chi_squared"`
		}
		if err == nil {
			err = json.Unmarshal(out, &got)
		}
		if err != nil || math.Abs(got.ChiSquared-want) > 1e-9 {
			t.Errorf("%s: %s, %v; want %v", input, out, err, want)
		}
	}
	if _, err := Run("goodness-of-fit", strings.NewReader(`{"counts": [1, 2], "shares": [1]}`)); err == nil {
		t.Error("two counts and one share were accepted")
	}
}
