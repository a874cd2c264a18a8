package calc

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"
)

// compared are the methods that compare units with expectation, months and years.
var compared = []string{
	"observed-expected", "funnel-binomial", "funnel-poisson", "beta-binomial",
	"seasonality-counts", "harmonic-logistic", "cosinor", "mann-kendall",
}

// figures runs a method and decodes what it prints.
func figures(t *testing.T, method, input string) map[string]any {
	t.Helper()
	out, err := Run(method, strings.NewReader(input))
	if err != nil {
		t.Fatalf("%s %s: %v", method, input, err)
	}
	var got map[string]any
	if err := json.Unmarshal(out, &got); err != nil {
		t.Fatal(err)
	}
	return got
}

// valueAt follows keys and indices into a result.
func valueAt(t *testing.T, got any, path ...any) float64 {
	t.Helper()
	for _, step := range path {
		switch s := step.(type) {
		case string:
			got = got.(map[string]any)[s]
		case int:
			got = got.([]any)[s]
		}
	}
	f, ok := got.(float64)
	if !ok {
		t.Fatalf("%v: got %v, want a number", path, got)
	}
	return f
}

// TestPublishedRounded holds our figures to what the sources print, digit for digit. Each figure
// is named by the key of published_rounded and the place of its value there. Left out is
// published_p 0.00029206 of the Great Lakes series: its source counts in single precision, where
// 1 - 0.9998540 keeps four digits, and we get 0.00029208.
func TestPublishedRounded(t *testing.T) {
	type place struct {
		key   string
		index int // -1 when the printed value stands alone
	}
	figureOf := map[string]map[place]func(map[string]any) float64{
		"garwood-10": {
			{"published_count_limits", 0}: func(g map[string]any) float64 { return valueAt(t, g, "exact_count_limits", 0) },
			{"published_count_limits", 1}: func(g map[string]any) float64 { return valueAt(t, g, "exact_count_limits", 1) },
		},
		"zero-events": {
			{"published_upper", -1}: func(g map[string]any) float64 { return valueAt(t, g, "exact_count_limits", 1) },
		},
		"bda-rat-tumours-70-historical": {
			{"published_mean_sd_alpha_beta", 0}: func(g map[string]any) float64 { return valueAt(t, g, "moment_unweighted_mean") },
			{"published_mean_sd_alpha_beta", 1}: func(g map[string]any) float64 {
				return math.Sqrt(valueAt(t, g, "moment_unweighted_var_n_minus_1"))
			},
			{"published_mean_sd_alpha_beta", 2}: func(g map[string]any) float64 { return valueAt(t, g, "moment_alpha") },
			{"published_mean_sd_alpha_beta", 3}: func(g map[string]any) float64 { return valueAt(t, g, "moment_beta") },
			{"published_posterior_mean_4_of_14", -1}: func(g map[string]any) float64 {
				a, b := valueAt(t, g, "moment_alpha"), valueAt(t, g, "moment_beta")
				return (4 + a) / (14 + a + b)
			},
		},
		"great-lakes-precip-1900-1986": {
			{"published_tau", -1}: func(g map[string]any) float64 { return valueAt(t, g, "tau_b") },
		},
	}
	seen := 0
	for _, e := range roundedExamples(t) {
		got := figures(t, e.method, string(e.input))
		for p, ours := range figureOf[e.id] {
			raw := e.rounded[p.key]
			if p.index >= 0 {
				var values []json.RawMessage
				if err := json.Unmarshal(raw, &values); err != nil {
					t.Fatal(err)
				}
				raw = values[p.index]
			}
			if !printsAs(ours(got), string(raw)) {
				t.Errorf("%s %v: got %v, published %s", e.id, p, ours(got), raw)
			}
			seen++
		}
	}
	if seen != 9 {
		t.Errorf("compared %d printed figures, want 9", seen)
	}
}

// printsAs tells whether f rounds to the printed digits.
func printsAs(f float64, printed string) bool {
	_, digits, _ := strings.Cut(printed, ".")
	want, err := strconv.ParseFloat(printed, 64)
	return err == nil && math.Abs(f-want) <= 0.5000001*math.Pow(10, -float64(len(digits)))
}

type roundedExample struct {
	method, id string
	input      json.RawMessage
	rounded    map[string]json.RawMessage
}

// roundedExamples are the published examples of our methods that carry printed values.
func roundedExamples(t *testing.T) (out []roundedExample) {
	t.Helper()
	raw, err := os.ReadFile("../../testdata/published.json")
	if err != nil {
		t.Fatal(err)
	}
	var all []struct {
		Method, ID string
		Input      json.RawMessage
		Expected   struct {
			Rounded map[string]json.RawMessage `json:"published_rounded"`
		}
	}
	if err := json.NewDecoder(bytes.NewReader(raw)).Decode(&all); err != nil {
		t.Fatal(err)
	}
	for _, e := range all {
		_, name, _ := strings.Cut(e.Method, "-")
		for _, c := range compared {
			if c == name && e.Expected.Rounded != nil {
				out = append(out, roundedExample{name, e.ID, e.Input, e.Expected.Rounded})
			}
		}
	}
	return out
}

func TestDefaultsOfComparisons(t *testing.T) {
	for _, c := range []struct{ method, short, full string }{
		{"observed-expected", `{"observed":7,"expected":3.5}`, `{"observed":7.0,"expected":3.5,"conf":0.95}`},
		{"funnel-binomial", `{"events":[1,9,4],"totals":[10,20,30]}`, `{"events":[1,9,4],"totals":[10,20,30],"winsorise_fraction":0.1}`},
		{"mann-kendall", `{"x":[1,3,2,5]}`, `{"x":[1,3,2,5],"conf":0.95,"time":"1..n equally spaced"}`},
		{"cosinor", `{"month":[1,4,9,12],"deaths":[9,5,2,8]}`, `{"year":[1,1,1,1],"month":[1,4,9,12],"deaths":[9,5,2,8],"angle":"2*pi*(month-1)/12"}`},
	} {
		short, errShort := Run(c.method, strings.NewReader(c.short))
		full, errFull := Run(c.method, strings.NewReader(c.full))
		if errShort != nil || errFull != nil || !bytes.Equal(short, full) {
			t.Errorf("%s: %s (%v) and %s (%v)", c.method, short, errShort, full, errFull)
		}
	}
}

// The two forms of an input print the keys of their own form only.
func TestKeysFollowTheInput(t *testing.T) {
	counts := `"monthly_counts":[1,2,3,4,5,6,7,8,9,10,11,12]`
	for _, c := range []struct{ method, input, has, lacks string }{
		{"observed-expected", `{"observed":1,"expected":2}`, "midp_ratio_limits", "pmf"},
		{"observed-expected", `{"observed":1,"expected_probabilities":[0.2,0.4]}`, "pmf", "midp_ratio_limits"},
		{"seasonality-counts", `{` + counts + `}`, "roger_chisq", ""},
		{"seasonality-counts", `{` + counts + `,"population_or_expected":[1,1,1,1,1,1,1,1,1,1,1,1]}`, "walter_elwood_chisq", "roger_chisq"},
	} {
		got := figures(t, c.method, c.input)
		if _, ok := got[c.has]; !ok {
			t.Errorf("%s %s: no %s", c.method, c.input, c.has)
		}
		if _, ok := got[c.lacks]; ok {
			t.Errorf("%s %s: has %s", c.method, c.input, c.lacks)
		}
	}
}

// A cosinor whose zero is the middle of January peaks half a month earlier on its own circle than
// one whose zero is the start of January.
func TestCosinorAngles(t *testing.T) {
	rows := `"month":[1,2,3,4,5,6,7,8,9,10,11,12],"deaths":[4,6,9,14,18,21,19,15,11,8,5,3]`
	first := figures(t, "cosinor", `{`+rows+`}`)
	middle := figures(t, "cosinor", `{`+rows+`,"angle":"2*pi*(month - 0.5)/12"}`)
	shift := valueAt(t, middle, "phase_radians") - valueAt(t, first, "phase_radians")
	if math.Abs(shift-math.Pi/12) > 1e-9 {
		t.Errorf("shift %v, want %v", shift, math.Pi/12)
	}
}

func TestWhatCannotBeSaidIsNull(t *testing.T) {
	zeros := "[0,0,0,0,0,0,0,0,0,0,0,0]"
	tens := "[10,10,10,10,10,10,10,10,10,10,10,10]"
	for _, c := range []struct {
		method, input string
		null          []string
	}{
		{"observed-expected", `{"observed":0,"expected":0}`, []string{"ratio"}},
		{"observed-expected", `{"observed":1,"expected_probabilities":[1,0]}`, []string{"z"}},
		{"funnel-binomial", `{"events":[0,0],"totals":[5,9]}`, []string{"phi_raw", "tau2_additive"}},
		{"funnel-binomial", `{"events":[2],"totals":[5]}`, []string{"tau2_additive"}},
		{"beta-binomial", `{"events":[0,0],"totals":[5,9]}`, []string{"ml_rho", "moment_alpha", "kleinman_rho"}},
		{"beta-binomial", `{"events":[2,2],"totals":[5,5]}`, []string{"ml_alpha", "se_logit_rho", "kleinman_alpha"}},
		{"seasonality-counts", `{"monthly_counts":` + zeros + `}`, []string{"edwards_p", "roger_chisq", "pearson_p", "peak_to_low_ratio"}},
		{"seasonality-counts", `{"monthly_counts":` + tens + `}`, []string{"edwards_peak_degrees", "poisson_cosinor_peak_degrees"}},
		{"harmonic-logistic", `{"events":` + zeros + `,"trials":` + tens + `}`, []string{"peak_month", "lr_chisq"}},
		{"harmonic-logistic", `{"events":` + tens + `,"trials":` + tens + `}`, []string{"peak_month", "amplitude_se_delta"}},
		{"cosinor", `{"month":[1,5,9],"deaths":[0,0,0]}`, []string{"intercept", "phase_radians"}},
		{"mann-kendall", `{"x":[4,4,4]}`, []string{"z_continuity", "p_two_sided", "tau_b", "kendall_pkg_p"}},
	} {
		got := figures(t, c.method, c.input)
		for _, key := range c.null {
			if v, ok := got[key]; !ok || v != nil {
				t.Errorf("%s %s: %s is %v, want null", c.method, c.input, key, v)
			}
		}
	}
}

func TestComparisonsRefuse(t *testing.T) {
	year := "[1,2,3,4,5,6,7,8,9,10,11,12]"
	for _, c := range []struct{ method, input string }{
		{"observed-expected", `{"observed":-1,"expected":2}`},
		{"observed-expected", `{"observed":1.5,"expected":2}`},
		{"observed-expected", `{"observed":1}`},
		{"observed-expected", `{"observed":1,"expected":-2}`},
		{"observed-expected", `{"observed":1,"expected":2,"conf":95}`},
		{"observed-expected", `{"observed":1,"expected":2,"expected_probabilities":[0.5]}`},
		{"observed-expected", `{"observed":3,"expected_probabilities":[0.5]}`},
		{"observed-expected", `{"observed":0,"expected_probabilities":[]}`},
		{"observed-expected", `{"observed":0,"expected_probabilities":[0.5,null]}`},
		{"funnel-binomial", `{"events":[],"totals":[]}`},
		{"funnel-binomial", `{"events":[1],"totals":[2,3]}`},
		{"funnel-binomial", `{"events":[3],"totals":[2]}`},
		{"funnel-binomial", `{"events":[1.5],"totals":[2]}`},
		{"funnel-binomial", `{"events":[1],"totals":[2],"winsorise_fraction":0.5}`},
		{"funnel-poisson", `{"expected":[]}`},
		{"funnel-poisson", `{"expected":[0]}`},
		{"funnel-poisson", `{"expected":["NaN"]}`},
		{"beta-binomial", `{"events":[-1],"totals":[2]}`},
		{"beta-binomial", `{"events":[0],"totals":[0]}`},
		{"seasonality-counts", `{"monthly_counts":[1,2,3]}`},
		{"seasonality-counts", `{"monthly_counts":` + year + `,"population_or_expected":[1]}`},
		{"seasonality-counts", `{"monthly_counts":` + year + `,"population_or_expected":[0,1,1,1,1,1,1,1,1,1,1,1]}`},
		{"seasonality-counts", `{"monthly_counts":` + year + `,"month_angle":"month"}`},
		{"seasonality-counts", `{"monthly_counts":` + year + `,"month_angle":"2*pi*(month-1)/12"}`},
		{"harmonic-logistic", `{"events":` + year + `,"trials":[1]}`},
		{"harmonic-logistic", `{"events":[1],"trials":[2]}`},
		{"harmonic-logistic", `{"events":` + year + `,"trials":[1,1,1,1,1,1,1,1,1,1,1,1]}`},
		{"cosinor", `{"month":[],"deaths":[]}`},
		{"cosinor", `{"month":[1,2],"deaths":[1,2]}`},
		{"cosinor", `{"month":[1,2,13],"deaths":[1,2,3]}`},
		{"cosinor", `{"month":[1,2,3],"deaths":[1,2,3],"days_in_month":[31,0,31]}`},
		{"cosinor", `{"month":[1,2,3],"deaths":[1,2,3],"days_in_month":[31]}`},
		{"cosinor", `{"month":[1,2,3],"deaths":[1,2,3],"year":[1]}`},
		{"cosinor", `{"month":[1,2,3],"deaths":[1,2,3],"offset":"log(days_in_month/(365.25/12))"}`},
		{"mann-kendall", `{"x":[1]}`},
		{"mann-kendall", `{"x":[1,null,3]}`},
		{"mann-kendall", `{"x":[1,1e999]}`},
	} {
		out, err := Run(c.method, strings.NewReader(c.input))
		if !errors.Is(err, ErrInput) {
			t.Errorf("%s %s: got %s (%v), want an input error", c.method, c.input, out, err)
		}
	}
}

// FuzzComparisons: whatever the input, a result of finite numbers and nulls or an input error, soon.
func FuzzComparisons(f *testing.F) {
	for i, input := range []string{
		`{"observed":10,"expected":8,"conf":0.95}`,
		`{"observed":1,"expected_probabilities":[0.1,0.9,1,0]}`,
		`{"events":[25,24,0],"totals":[187,323,1],"winsorise_fraction":0.1}`,
		`{"expected":[1,0.002,5e8]}`,
		`{"events":[0,5,3,3,7],"totals":[5,5,9,3,8]}`,
		`{"monthly_counts":[10,19,18,15,11,13,7,10,13,23,15,22],"population_or_expected":[1,2,3,4,5,6,7,8,9,10,11,12]}`,
		`{"events":[3,0,3,2,3,2,2,2,2,2,3,9],"trials":[49,46,54,49,5,50,0,51,51,50,46,47]}`,
		`{"month":[1,2,3,4],"deaths":[3,2,0,9],"days_in_month":[31,28,31,30]}`,
		`{"x":[5,7,7,6,9,9,9,12,11,15]}`,
	} {
		f.Add(uint8(i), []byte(input))
		f.Add(uint8(max(i-1, 0)), []byte(input))
	}
	f.Fuzz(func(t *testing.T, which uint8, input []byte) {
		name := compared[int(which)%len(compared)]
		began := time.Now()
		out, err := Run(name, bytes.NewReader(input))
		if took := time.Since(began); took > 20*time.Second {
			t.Errorf("%s took %v", name, took)
		}
		switch {
		case err != nil && !errors.Is(err, ErrInput):
			t.Errorf("%s: %v is no input error", name, err)
		case err == nil && !json.Valid(out):
			t.Errorf("%s: not JSON: %s", name, out)
		}
	})
}
