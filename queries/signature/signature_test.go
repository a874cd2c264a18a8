package signature

import (
	"encoding/json"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// published reads one example of testdata/published.json, where its source stands.
func published(t *testing.T, id string, into any) {
	t.Helper()
	raw, err := os.ReadFile("../../testdata/published.json")
	if err != nil {
		t.Fatal(err)
	}
	var all []struct {
		ID string
	}
	var whole []json.RawMessage
	if err := json.Unmarshal(raw, &all); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(raw, &whole); err != nil {
		t.Fatal(err)
	}
	for i, e := range all {
		if e.ID == id {
			if err := json.Unmarshal(whole[i], into); err != nil {
				t.Fatal(err)
			}
			return
		}
	}
	t.Fatalf("no published example %s", id)
}

func even(n int, step float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = float64(i) * step
	}
	return out
}

// Fisher's g and p as R gives them (Fisher 1929) of lynx trappings, sunspots (R data sets lynx and sunspot.year) and white
// noise, read as samples of a quarter second; the first two have a period that is known.
func TestFisherOfPublishedSeries(t *testing.T) {
	for id, years := range map[string][2]float64{"log10-lynx": {9, 10.5}, "sunspot-year-1800-1899": {10, 12}, "white-noise-41": {}} {
		var e struct {
			Input    struct{ X []float64 }
			Expected struct {
				G float64
				P float64 `json:"p_value"`
			}
			Tolerance float64
		}
		published(t, id, &e)
		p, err := FindPeriod(even(len(e.Input.X), 0.25), e.Input.X, 2)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(p.G-e.Expected.G) > e.Tolerance || math.Abs(p.WhiteP-e.Expected.P) > e.Tolerance {
			t.Errorf("%s: g %v, p %v; published %v, %v", id, p.G, p.WhiteP, e.Expected.G, e.Expected.P)
		}
		if period := p.Seconds / 0.25; years[1] > 0 && (period < years[0] || period > years[1] || p.P > 0.001) {
			t.Errorf("%s: a period of %v years with p %v over the background", id, period, p.P)
		}
	}
}

// The lynx with 13 years left out (R, Lomb and Scargle 1982): the published peak is at 0.105 a year, of steps of 0.005.
func TestPeriodOfUnevenTimes(t *testing.T) {
	var e struct {
		Input    struct{ T, Y []float64 }
		Expected struct {
			PeakFrequency float64   `json:"peak_frequency"`
			Fraction      []float64 `json:"power_least_squares_fraction"`
		}
	}
	published(t, "lynx-gappy", &e)
	p, err := FindPeriod(e.Input.T, e.Input.Y, 2)
	if err != nil {
		t.Fatal(err)
	}
	if f := 1 / p.Seconds; math.Abs(f-e.Expected.PeakFrequency) > 0.005 || p.Explained < slices.Max(e.Expected.Fraction)-1e-9 || p.P > 0.001 {
		t.Errorf("frequency %v explains %v with p %v; published %v, %v", f, p.Explained, p.P, e.Expected.PeakFrequency, slices.Max(e.Expected.Fraction))
	}
}

// Series without a known period: white noise of R's generator, and the yearly temperature of New Haven 1912-1971 (R data
// set nhtemp), which has a trend that a test against white noise may take for a slow wave.
func TestNoPeriodInOpenSeries(t *testing.T) {
	for _, id := range []string{"white-noise-41", "nhtemp-1912-1971"} {
		var e struct{ Input struct{ X []float64 } }
		published(t, id, &e)
		p, err := FindPeriod(even(len(e.Input.X), 0.25), e.Input.X, 2)
		if err != nil || !(p.P > 0.05) {
			t.Errorf("%s: p %v, %v", id, p.P, err)
		}
	}
}

var set = Settings{Samples: 60, Cycles: 5, Onset: 3, Full: 99, Most: 2000}

func TestDescribe(t *testing.T) {
	times := even(150, 0.2)
	level := func(of func(second float64) float64) []float64 {
		out := make([]float64, len(times))
		for i, s := range times {
			out[i] = of(s)
		}
		return out
	}
	for _, c := range []struct {
		name   string
		levels []float64
		want   func(s Signature) bool
	}{
		{"swinging", level(func(s float64) float64 { return 30 + 20*math.Sin(math.Pi*s) }), func(s Signature) bool {
			return math.Abs(s.Period-2) < 0.01 && s.P < 1e-9 && s.Steadiness > 0.99 && s.Explained > 0.99 && s.Early > 0.5 && s.Late > 0.5
		}},
		{"only at first", level(func(s float64) float64 {
			if s <= 2 {
				return 100
			}
			return 5 + math.Mod(s*7, 3)
		}), func(s Signature) bool {
			return s.Early > 0.6 && s.Late == 0 && math.Abs(s.Full-11.0/150) < 1e-12 && !(s.P < 0.05)
		}},
		{"still", level(func(float64) float64 { return 5 }), func(s Signature) bool { return math.IsNaN(s.P) && s.Full == 0 && s.Early == 0 }},
	} {
		s, err := Describe(times, c.levels, 20, set)
		if err != nil || !c.want(s) {
			t.Errorf("%s: %+v, %v", c.name, s, err)
		}
	}
}

func TestTooShortForAPeriod(t *testing.T) {
	s, err := Describe(even(59, 0.2), even(59, 1), 20, set)
	if err != nil || !math.IsNaN(s.Period) || !math.IsNaN(s.P) {
		t.Errorf("%+v, %v", s, err)
	}
}

func TestDescribeRefuses(t *testing.T) {
	for name, c := range map[string][2][]float64{"nothing": {nil, nil}, "unequal": {{0, 1}, {1}}, "not rising": {{0, 0}, {1, 2}}, "not finite": {{0, 1}, {1, math.NaN()}}} {
		if _, err := Describe(c[0], c[1], 20, set); err == nil || !strings.HasPrefix(err.Error(), "describe movement: ") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Whatever the samples, shares lie between 0 and 1, p as well, and a trace has as many parts as it says.
func TestDescribeBounds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 220).Draw(t, "n")
		seconds, levels := make([]float64, n), make([]float64, n)
		at := 0.0
		for i := range seconds {
			seconds[i], levels[i] = at, rapid.Float64Range(0, 100).Draw(t, "level")
			at += rapid.Float64Range(0.001, 2).Draw(t, "step")
		}
		s, err := Describe(seconds, levels, 20, set)
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range []float64{s.P, s.WhiteP, s.G, s.Steadiness, s.Explained, s.Full, s.Early, s.Late} {
			if v < 0 || v > 1+1e-9 {
				t.Fatalf("out of range: %+v", s)
			}
		}
		if len(strings.Fields(s.Trace)) != min(n, traceParts) {
			t.Fatalf("%d parts of %d samples", len(strings.Fields(s.Trace)), n)
		}
	})
}
