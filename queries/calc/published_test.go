package calc

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
)

// example is one worked example of testdata/published.json, copied with its source.
type example struct {
	Method    string          `json:"method"`
	ID        string          `json:"id"`
	Input     json.RawMessage `json:"input"`
	Expected  map[string]any  `json:"expected"`
	Tolerance float64         `json:"tolerance"`
	Source    string          `json:"source"`
}

// TestPublished recomputes every published example through the same door the calc command uses.
// A value passes when |got - expected| <= tolerance * max(1, |expected|).
func TestPublished(t *testing.T) {
	raw, err := os.ReadFile("../../testdata/published.json")
	if err != nil {
		t.Fatal(err)
	}
	var examples []example
	if err := json.Unmarshal(raw, &examples); err != nil {
		t.Fatal(err)
	}
	for _, e := range examples {
		t.Run(e.Method+"/"+e.ID, func(t *testing.T) {
			t.Logf("source: %s", e.Source)
			_, name, _ := strings.Cut(e.Method, "-")
			out, err := Run(name, bytes.NewReader(e.Input))
			if err != nil {
				t.Fatal(err)
			}
			var got map[string]any
			if err := json.Unmarshal(out, &got); err != nil {
				t.Fatal(err)
			}
			delete(e.Expected, "published_rounded")
			compare(t, "", e.Expected, got, e.Tolerance)
		})
	}
}

func compare(t *testing.T, path string, want, got any, tol float64) {
	t.Helper()
	switch w := want.(type) {
	case map[string]any:
		g, ok := got.(map[string]any)
		if !ok {
			t.Errorf("%s: got %v, want an object", path, got)
			return
		}
		for k, v := range w {
			if _, ok := g[k]; !ok {
				t.Errorf("%s.%s: missing", path, k)
				continue
			}
			compare(t, path+"."+k, v, g[k], tol)
		}
	case []any:
		g, ok := got.([]any)
		if !ok || len(g) != len(w) {
			t.Errorf("%s: got %v, want %d values", path, got, len(w))
			return
		}
		for i := range w {
			compare(t, fmt.Sprintf("%s[%d]", path, i), w[i], g[i], tol)
		}
	case float64:
		g, ok := got.(float64)
		if !ok || math.Abs(g-w) > tol*math.Max(1, math.Abs(w)) {
			t.Errorf("%s: got %v, want %v within %g", path, got, w, tol)
		}
	default:
		if got != want {
			t.Errorf("%s: got %v, want %v", path, got, want)
		}
	}
}
