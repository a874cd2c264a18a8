package calc

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// tablesToCharts are the methods tested in this file.
var tablesToCharts = slices.Concat(tableMethods, multiplicityMethods, agreementMethods, chartMethods)

// figure runs a method on text and returns the number at a path such as "ci_rbg[1]".
func figure(t *testing.T, name, text, path string) (value float64, null bool) {
	t.Helper()
	out, err := Run(name, strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	v := at(t, out, path)
	if string(v) == "null" {
		return math.NaN(), true
	}
	value, err = strconv.ParseFloat(string(v), 64)
	if err != nil {
		t.Fatalf("%s: %s is no number: %v", path, v, err)
	}
	return value, false
}

// at picks the JSON text at a path of one key and at most one index.
func at(t *testing.T, object []byte, path string) json.RawMessage {
	t.Helper()
	var fields map[string]json.RawMessage
	if err := json.Unmarshal(object, &fields); err != nil {
		t.Fatal(err)
	}
	key, index, indexed := strings.Cut(strings.TrimSuffix(path, "]"), "[")
	v, ok := fields[key]
	if !ok {
		t.Fatalf("no key %q", key)
	}
	if !indexed {
		return v
	}
	var list []json.RawMessage
	if err := json.Unmarshal(v, &list); err != nil {
		t.Fatal(err)
	}
	i, err := strconv.Atoi(index)
	if err != nil {
		t.Fatal(err)
	}
	return list[i]
}

// TestRoundedAsPrinted compares with the figures as the books print them (the published_rounded
// entries of testdata/published.json, each with its source there), to half a unit of the last digit.
// The EWMA lower limit 47.4115 is left out: the source truncated it.
func TestRoundedAsPrinted(t *testing.T) {
	pairs := []struct{ id, printed, key string }{
		{"china-smoking-lung-cancer", "published_cmh_or_lo_hi_bd[0]", "cmh_chisq_uncorrected"},
		{"china-smoking-lung-cancer", "published_cmh_or_lo_hi_bd[1]", "common_odds_ratio"},
		{"china-smoking-lung-cancer", "published_cmh_or_lo_hi_bd[2]", "ci_rbg[0]"},
		{"china-smoking-lung-cancer", "published_cmh_or_lo_hi_bd[3]", "ci_rbg[1]"},
		{"china-smoking-lung-cancer", "published_cmh_or_lo_hi_bd[4]", "breslow_day_chisq"},
		{"sas-migraine", "published_cmh", "cmh_chisq_uncorrected"},
		{"sas-migraine", "published_or", "common_odds_ratio"},
		{"sas-migraine", "published_breslow_day", "breslow_day_chisq"},
		{"agresti-alcohol-malformation", "published[0]", "mantel_m2_n_minus_1"},
		{"agresti-alcohol-malformation", "published[1]", "pearson_chisq"},
		{"agresti-alcohol-malformation", "published[2]", "g2"},
		{"agresti-alcohol-equal-scores", "published", "mantel_m2_n_minus_1"},
		{"fleiss1981-smokers", "published[0]", "chisq"},
		{"fleiss1981-smokers", "published[1]", "p_two_sided"},
		{"study-men-women-1-9-11-3", "published[0]", "p_less"},
		{"study-men-women-1-9-11-3", "published[1]", "p_two_sided"},
		{"benjamini-hochberg-1995-15p", "published_rejected_bh", "rejected_bh"},
		{"benjamini-hochberg-1995-15p", "published_rejected_bonferroni", "rejected_bonferroni"},
		{"agresti-carcinoma-4x4", "published[0]", "kappa"},
		{"agresti-carcinoma-4x4", "published[1]", "kappa_se"},
		{"binary-prevalence-paradox-a", "published[0]", "observed_agreement"},
		{"binary-prevalence-paradox-a", "published[1]", "kappa"},
		{"aiag-msa-a-vs-b", "published", "kappa"},
		{"aiag-msa-a-vs-reference", "published", "kappa"},
		{"fleiss1971-psychiatric-30x5", "published", "fleiss_kappa"},
		{"krippendorff-reliability-data-abcd", "published[0]", "alpha_nominal"},
		{"krippendorff-reliability-data-abcd", "published[1]", "alpha_ordinal"},
		{"krippendorff-reliability-data-abcd", "published[2]", "alpha_interval"},
		{"agresti-presidential-approval", "published_chisq", "chisq"},
		{"bentur2009-airway", "published[0]", "p_exact"},
		{"bentur2009-airway", "published[1]", "p_mid"},
		{"bentur2009-airway", "published[2]", "chisq_p"},
		{"bentur2009-airway", "published[3]", "chisq_continuity_p"},
		{"nist-wafers-6332", "published[0]", "centre"},
		{"nist-wafers-6332", "published[1]", "ucl"},
		{"nist-wafers-6332", "published[2]", "lcl"},
		{"nist-ewma-6324", "published_ewma[0]", "ewma[0]"},
		{"nist-ewma-6324", "published_ewma[9]", "ewma[9]"},
		{"nist-ewma-6324", "published_ewma[19]", "ewma[19]"},
		{"nist-ewma-6324", "published_ucl", "ucl_asymptotic"},
		{"nist-cusum-6323", "published_first_signal", "first_upper_signal_1based"},
		{"montgomery-cusum-table9-2", "published_first_signal", "first_upper_signal_1based"},
	}
	published := examplesOfThisFile(t)
	for _, p := range pairs {
		t.Run(p.id+"/"+p.key, func(t *testing.T) {
			e := published[p.id]
			printed := string(at(t, e.Expected.Rounded, p.printed))
			want, err := strconv.ParseFloat(printed, 64)
			if err != nil {
				t.Fatal(err)
			}
			_, decimals, _ := strings.Cut(printed, ".")
			got, _ := figure(t, e.name(), string(e.Input), p.key)
			if half := 0.5000001 * math.Pow10(-len(decimals)); !(math.Abs(got-want) <= half) {
				t.Errorf("%v does not round to %s", got, printed)
			}
		})
	}
}

type printedExample struct {
	Method   string          `json:"method"`
	ID       string          `json:"id"`
	Input    json.RawMessage `json:"input"`
	Expected struct {
		Rounded json.RawMessage `json:"published_rounded"`
	} `json:"expected"`
}

func (e printedExample) name() string {
	_, name, _ := strings.Cut(e.Method, "-")
	return name
}

// examplesOfThisFile gives the published examples of the methods tested here, by id.
func examplesOfThisFile(t testing.TB) map[string]printedExample {
	t.Helper()
	raw, err := os.ReadFile("../../testdata/published.json")
	if err != nil {
		t.Fatal(err)
	}
	var all []printedExample
	if err := json.Unmarshal(raw, &all); err != nil {
		t.Fatal(err)
	}
	out := map[string]printedExample{}
	for _, e := range all {
		if slices.ContainsFunc(tablesToCharts, func(m Method) bool { return m.Name == e.name() }) {
			out[e.ID] = e
		}
	}
	return out
}

// TestEdgesOfTheDoor covers inputs that leave out optional fields or reach an edge. The values
// follow by hand.
func TestEdgesOfTheDoor(t *testing.T) {
	null := math.NaN()
	cases := []struct {
		method, input, key string
		want               float64
	}{
		{"cochran-mantel-haenszel", `{"strata":[[1,0,0,1]]}`, "cmh_chisq_uncorrected", 1},
		{"cochran-mantel-haenszel", `{"strata":[[1,0,0,1]]}`, "common_odds_ratio", null},
		{"cochran-mantel-haenszel", `{"strata":[[0,0,3,4],[0,0,0,0]]}`, "cmh_chisq_uncorrected", null},
		{"cochran-mantel-haenszel", `{"strata":[[16,11,5,20],[0,0,3,4],[0,1,0,0]]}`, "breslow_day_df", 0},
		{"cochran-armitage", `{"events":[1,2,3],"totals":[10,10,10]}`, "linear_slope", 0.1},
		{"cochran-armitage", `{"events":[0,0],"totals":[5,5]}`, "z", null},
		{"cochran-armitage", `{"events":[1,0,2],"totals":[5,0,5]}`, "pearson_df", 1},
		{"cochran-armitage", `{"events":[1,2],"totals":[5,5],"scores":[2,2]}`, "z", null},
		{"fisher-exact", `{"a":5,"b":0,"c":1,"d":4}`, "sample_odds_ratio", null},
		{"fisher-exact", `{"a":5,"b":0,"c":1,"d":4}`, "conditional_ci[1]", null},
		{"fisher-exact", `{"a":0,"b":5,"c":4,"d":1}`, "conditional_ci[0]", 0},
		{"fisher-exact", `{"a":0,"b":0,"c":4,"d":1}`, "p_two_sided", 1},
		{"hypergeometric", `{"population":10,"marked":10,"sample":3,"observed":3}`, "pmf", 1},
		{"false-discovery-rate", `{"p_values":[0.01,null,0.04]}`, "bh_adjusted[0]", 0.02},
		{"false-discovery-rate", `{"p_values":[0.01,null,0.04]}`, "bh_adjusted[1]", null},
		{"false-discovery-rate", `{"p_values":[0.01,null,0.04]}`, "rejected_bh", 2},
		{"kappa", `{"table":[[7,0],[0,0]]}`, "kappa", null},
		{"kappa", `{"table":[[7,0],[0,0]]}`, "brennan_prediger_pabak", 1},
		{"fleiss-kappa", `{"counts":[[2,0],[0,2]]}`, "fleiss_kappa", 1},
		{"fleiss-kappa", `{"counts":[[2,0],[2,0]]}`, "fleiss_kappa", null},
		{"krippendorff-alpha", `{"ratings":[[1,null],[null,2]]}`, "alpha_nominal", null},
		{"krippendorff-alpha", `{"ratings":[[0.1,0.1,0.1],[0.1,0.1,0.1]]}`, "alpha_interval", null},
		{"krippendorff-alpha", `{"ratings":[[1,2],[1,2]]}`, "alpha_ordinal", 1},
		{"mcnemar", `{"first_yes_second_no":0,"first_no_second_yes":0}`, "p_exact", 1},
		{"mcnemar", `{"first_yes_second_no":0,"first_no_second_yes":0}`, "chisq", null},
		{"mcnemar", `{"first_yes_second_no":1,"first_no_second_yes":1}`, "p_mid", 0.75},
		{"mcnemar", `{"first_yes_second_no":1,"first_no_second_yes":1}`, "chisq_continuity", 0},
		{"p-chart", `{"nonconforming":[0,0],"sizes":[5,5]}`, "laney_sigma_z", null},
		{"p-chart", `{"nonconforming":[5],"sizes":[5]}`, "ucl", 1},
		{"p-chart", `{"nonconforming":[1,2],"sizes":[4,16],"sigmas":1}`, "lcl[0]", 0},
		{"ewma", `{"x":[1,3]}`, "target", 2},
		{"ewma", `{"x":[1,3]}`, "sigma", math.Sqrt(math.Pi)},
		{"ewma", `{"x":[2,2]}`, "ucl_exact[1]", null},
		{"ewma", `{"x":[0,10],"target":0,"lambda":1,"sigma":1}`, "signals_exact_1based[0]", 2},
		{"cusum", `{"x":[0,0,1],"target":0,"k":0,"h":1}`, "first_upper_signal_1based", null},
		{"cusum", `{"x":[0,0,-2],"target":0,"k":0.5,"h":1}`, "first_lower_signal_1based", 3},
		{"cusum", `{"x":[1,3],"sigma":2}`, "h", 10},
		{"cusum-arl", `{"h_sigma":4}`, "shifts_sigma[7]", 3},
		{"g-chart", `{"between_events":[0,0]}`, "ucl_3sigma", 0},
		{"g-chart", `{"between_events":[1,1]}`, "probability_limit_quantiles_0_00135_0_5_0_99865[1]", 0},
		{"g-chart", `{"between_events":[1e0,2.0]}`, "median_centre_line", 1.5},
	}
	for _, c := range cases {
		t.Run(c.method+"/"+c.key, func(t *testing.T) {
			got, isNull := figure(t, c.method, c.input, c.key)
			if isNull != math.IsNaN(c.want) || !isNull && !(math.Abs(got-c.want) <= 1e-12*math.Max(1, c.want)) {
				t.Errorf("%s: got %v, want %v", c.input, got, c.want)
			}
		})
	}
}

// TestRefuses holds each method to an error that names the field at fault.
func TestRefuses(t *testing.T) {
	cases := []struct{ method, input, names string }{
		{"cochran-mantel-haenszel", `{"strata":[]}`, "strata"},
		{"cochran-mantel-haenszel", `{"strata":[[1,2,3]]}`, "row 1"},
		{"cochran-mantel-haenszel", `{"strata":[[1,2,3,-4]]}`, "-4"},
		{"cochran-mantel-haenszel", `{"strata":[[1,2,3,null]]}`, "null"},
		{"cochran-mantel-haenszel", `{"strata":[[1,2,3,4]],"conf":1}`, "conf"},
		{"cochran-armitage", `{"events":[3,1],"totals":[2,2]}`, "events"},
		{"cochran-armitage", `{"events":[1],"totals":[2]}`, "at least 2"},
		{"cochran-armitage", `{"events":[1,1],"totals":[2,2],"scores":[1]}`, "scores"},
		{"cochran-armitage", `{"events":[0,0],"totals":[0,0]}`, "totals"},
		{"fisher-exact", `{"a":1.5,"b":1,"c":1,"d":1}`, "1.5"},
		{"fisher-exact", `{"a":1,"b":1,"c":1}`, `"d"`},
		{"fisher-exact", `{"a":0,"b":0,"c":0,"d":0}`, "holds 0"},
		{"fisher-exact", `{"a":1e9,"b":1,"c":1,"d":1}`, "cochran-mantel-haenszel"},
		{"hypergeometric", `{"population":5,"marked":6,"sample":1,"observed":1}`, "marked"},
		{"hypergeometric", `{"population":5,"marked":2,"sample":1,"observed":2}`, "observed"},
		{"false-discovery-rate", `{"p_values":[]}`, "p_values"},
		{"false-discovery-rate", `{"p_values":[1.1]}`, "p_values"},
		{"false-discovery-rate", `{"p_values":[0.1],"level":0}`, "level"},
		{"kappa", `{"table":[[1,2],[3]]}`, "square"},
		{"kappa", `{"table":[[1]]}`, "at least 2"},
		{"kappa", `{"table":[[0,0],[0,0]]}`, "all counts are 0"},
		{"fleiss-kappa", `{"counts":[[2,0],[1,2]]}`, "row 2"},
		{"fleiss-kappa", `{"counts":[[2,0],[2]]}`, "row 2"},
		{"fleiss-kappa", `{"counts":[[1,0]]}`, "raters"},
		{"krippendorff-alpha", `{"ratings":[[1,2]]}`, "two raters"},
		{"krippendorff-alpha", `{"ratings":[[1,2],[1]]}`, "rater 2"},
		{"mcnemar", `{"first_yes_second_no":1}`, "first_no_second_yes"},
		{"mcnemar", `{"first_yes_second_no":1,"first_no_second_yes":1,"both_yes":-1}`, "-1"},
		{"p-chart", `{"nonconforming":[3],"sizes":[2]}`, "nonconforming"},
		{"p-chart", `{"nonconforming":[0],"sizes":[0]}`, "sizes"},
		{"p-chart", `{"nonconforming":[0],"sizes":[1],"sigmas":-3}`, "sigmas"},
		{"ewma", `{"x":[]}`, "x"},
		{"ewma", `{"x":[1,null]}`, "null"},
		{"ewma", `{"x":[1],"lambda":1.5}`, "lambda"},
		{"ewma", `{"x":[1],"sigma":0}`, "sigma"},
		{"cusum", `{"x":[1,1]}`, "give k and h"},
		{"cusum", `{"x":[1,2],"k":-1,"h":1}`, "k is -1"},
		{"cusum", `{"x":[1,2],"k":1,"h":0}`, "h is 0"},
		{"cusum-arl", `{"h_sigma":21}`, "h_sigma"},
		{"cusum-arl", `{"h_sigma":4,"shifts_sigma":[]}`, "shifts"},
		{"g-chart", `{"between_events":[]}`, "between_events"},
		{"g-chart", `{"between_events":[-1]}`, "-1"},
	}
	for _, c := range cases {
		t.Run(c.method+"/"+c.names, func(t *testing.T) {
			out, err := Run(c.method, strings.NewReader(c.input))
			if !errors.Is(err, ErrInput) || !strings.Contains(err.Error(), c.names) {
				t.Errorf("%s: got %s, error %v; want an input error naming %q", c.input, out, err, c.names)
			}
		})
	}
}

// FuzzTablesToCharts: whatever the input, the result is an input error or valid JSON, the same
// twice, and shares and p-values keep their range.
func FuzzTablesToCharts(f *testing.F) {
	for i, m := range tablesToCharts {
		for _, e := range examplesOfThisFile(f) {
			if e.name() == m.Name {
				f.Add(uint8(i), []byte(e.Input))
			}
		}
	}
	f.Fuzz(func(t *testing.T, which uint8, input []byte) {
		name := tablesToCharts[int(which)%len(tablesToCharts)].Name
		if name == "cusum-arl" && len(input) > 300 {
			input = input[:0] // a linear system per shift: bounded, but slow for many
		}
		out, err := Run(name, bytes.NewReader(input))
		if err != nil {
			if !errors.Is(err, ErrInput) {
				t.Fatalf("%s: error of another kind: %v", name, err)
			}
			return
		}
		again, _ := Run(name, bytes.NewReader(input))
		if !json.Valid(out) || !bytes.Equal(out, again) {
			t.Fatalf("%s: not one settled JSON text: %s", name, out)
		}
		var fields map[string]any
		if err := json.Unmarshal(out, &fields); err != nil {
			t.Fatal(err)
		}
		for key, v := range fields {
			p, ok := v.(float64)
			isP := strings.HasPrefix(key, "p_") || strings.HasSuffix(key, "_p") || strings.HasPrefix(key, "midp_")
			if ok && isP && (p < 0 || p > 1) {
				t.Fatalf("%s: %s is %v", name, key, p)
			}
		}
	})
}
