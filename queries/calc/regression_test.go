package calc

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
)

// ownMethods are the methods of this file's groups.
func ownMethods() []Method {
	return slices.Concat(proportionMethods, accuracyMethods, regressionMethods)
}

// call runs a method on an input and returns its figures.
func call(t *testing.T, name, input string) map[string]any {
	t.Helper()
	out, err := Run(name, strings.NewReader(input))
	if err != nil {
		t.Fatalf("%s on %s: %v", name, input, err)
	}
	var got map[string]any
	if err := json.Unmarshal(out, &got); err != nil {
		t.Fatal(err)
	}
	return got
}

func publishedExamples(t testing.TB) []example {
	t.Helper()
	raw, err := os.ReadFile("../../testdata/published.json")
	if err != nil {
		t.Fatal(err)
	}
	var out []example
	if err := json.Unmarshal(raw, &out); err != nil {
		t.Fatal(err)
	}
	return out
}

// pick follows a path such as "delong_ci.0" or "coefficients.1".
func pick(t *testing.T, v any, path string) float64 {
	t.Helper()
	for key := range strings.SplitSeq(path, ".") {
		switch at := v.(type) {
		case map[string]any:
			v = at[key]
		case []any:
			var i int
			if _, err := fmt.Sscan(key, &i); err != nil || i >= len(at) {
				t.Fatalf("%s: no %s", path, key)
			}
			v = at[i]
		}
	}
	f, ok := v.(float64)
	if !ok {
		t.Fatalf("%s is %v, not a number", path, v)
	}
	return f
}

// TestPublishedRounded holds our figures to the digits the publications print. The mapping names,
// for each printed figure, the figure of ours it rounds.
func TestPublishedRoundedRegression(t *testing.T) {
	paths := map[string][]string{
		"published_wilson":            {"wilson_lower", "wilson_upper"},
		"published_clopper_pearson":   {"clopper_pearson_lower", "clopper_pearson_upper"},
		"01-proportion-difference":    {"lower", "upper"},
		"published_p":                 {"p"},
		"published_variance":          {"variance"},
		"published_binomial_variance": {"binomial_variance"},
		"published_2dp":               {"sensitivity", "specificity", "ppv", "npv"},
		"published_3dp":               {"sensitivity", "specificity"},
		"published_auc":               {"auc"},
		"published_ci":                {"delong_ci.0", "delong_ci.1"},
		"published_se":                {"hanley_mcneil_se"},
		"jasp_intercept":              {"intercept"},
		"jasp_slope":                  {"slope"},
		"bliss1935-beetles-logit":     {"intercept", "se_intercept", "slope", "se_slope", "deviance"},
		"challenger-oring":            {"coefficients.0", "coefficients.1", "std_errors.1", "lr_chisq_vs_null"},
		"bliss-beetles-grouped":       {"coefficients.0", "std_errors.0", "coefficients.1", "std_errors.1", "residual_deviance"},
		"published_nv_pi_eh":          {"coefficients.1", "coefficients.2", "coefficients.3"},
	}
	own := make(map[string]bool)
	for _, m := range ownMethods() {
		own[m.Name] = true
	}
	seen := 0
	for _, e := range publishedExamples(t) {
		_, name, _ := strings.Cut(e.Method, "-")
		rounded, ok := e.Expected["published_rounded"].(map[string]any)
		if !own[name] || !ok {
			continue
		}
		got := call(t, name, string(e.Input))
		for key, value := range rounded {
			where := paths[key]
			if key == "published" {
				where = slices.Concat(paths[e.Method], paths[e.ID])
			}
			printed, ok := value.([]any)
			if !ok {
				printed = []any{value}
			}
			if len(where) != len(printed) {
				t.Fatalf("%s %s: %d figures, %d known", e.ID, key, len(printed), len(where))
			}
			for i, p := range printed {
				seen++
				checkPrinted(t, e.ID+" "+where[i], pick(t, got, where[i]), p.(float64))
			}
		}
	}
	if seen < 40 {
		t.Errorf("only %d printed figures checked", seen)
	}
}

// checkPrinted allows half a unit of the last digit that the shortest form of printed shows.
func checkPrinted(t *testing.T, what string, got, printed float64) {
	t.Helper()
	text := fmt.Sprint(printed)
	decimals := 0
	if _, after, ok := strings.Cut(text, "."); ok {
		decimals = min(len(after), 7) // beyond that the publication stopped its own search
	}
	if unit := math.Pow(10, -float64(decimals)); math.Abs(got-printed) > 0.5001*unit {
		t.Errorf("%s: got %.10g, printed %s", what, got, text)
	}
}

func TestInputVariantsAgree(t *testing.T) {
	clusters := call(t, "cluster-proportion", `{"cluster_sizes":[4,3,5],"cluster_events":[1,2,0]}`)
	sums := call(t, "cluster-proportion", `{"clusters":3,"sum_units":12,"sum_events":3,"sum_events_sq":5,"sum_events_times_units":10,"sum_units_sq":50}`)
	compare(t, "sums", clusters, sums, 1e-15)

	single := `"size":[1,2,3,4,5,6],"covariate":"size","link":"logit"`
	one := call(t, "probability-of-detection", `{"hit":[0,1,0,1,1,1],`+single+`}`)
	compare(t, "grouped", one, call(t, "probability-of-detection", `{"hits":[0,1,0,1,1,1],"inspections":[1,1,1,1,1,1],"conf":0.95,`+single+`}`), 1e-12)

	rows := call(t, "logistic-regression", `{"predictors":[[1],[2],[3],[4]],"successes":[0,1,0,1]}`)
	compare(t, "trials", rows, call(t, "logistic-regression", `{"predictors":[[1],[2],[3],[4]],"predictor_names":["x1"],"successes":[0,1.0,0,1],"trials":[1,1,1,1]}`), 1e-12)

	higher := call(t, "roc-auc", `{"truth":[0,0,1,1],"score":[1,3,2,4],"rule":"higher score means positive; ties count one half"}`)
	lower := call(t, "roc-auc", `{"truth":[0,0,1,1],"score":[-1,-3,-2,-4],"rule":"lower score means positive"}`)
	compare(t, "direction", higher["auc"], lower["auc"], 0)
}

func TestCovariatesAndLinks(t *testing.T) {
	const data = `"size":[1,2,3,4,5,6,7,8],"hits":[1,2,4,5,8,9,9,10],"inspections":[10,10,10,10,10,10,10,10]`
	for _, c := range []string{"size", "log(size)", "natural log of size", "ln(size)", "log10(size)", "log size"} {
		for _, l := range []string{"logit", "probit", "cloglog", "loglog", "cauchit", "complementary log-log"} {
			got := call(t, "probability-of-detection", fmt.Sprintf(`{%s,"covariate":%q,"link":%q}`, data, c, l))
			if a50, a90, bound := pick(t, got, "a50"), pick(t, got, "a90"), pick(t, got, "a90_95_likelihood_ratio"); !(a50 < a90 && a90 < bound) {
				t.Errorf("%s, %s: a50 %g, a90 %g, a90/95 %g are not in order", c, l, a50, a90, bound)
			}
		}
	}
}

func TestCannotBeSaidIsNull(t *testing.T) {
	for _, c := range []struct{ method, input, key string }{
		{"proportion-interval", `{"x":0,"n":0}`, "estimate"},
		{"proportion-difference", `{"x1":0,"n1":0,"x2":1,"n2":2}`, "difference"},
		{"cluster-proportion", `{"cluster_sizes":[9],"cluster_events":[3]}`, "variance"},
		{"cluster-proportion", `{"cluster_sizes":[9,9],"cluster_events":[0,0]}`, "n_effective"},
		{"diagnostic-accuracy", `{"true_positive":3,"false_positive":0,"false_negative":1,"true_negative":9}`, "lr_positive"},
		{"partial-verification", `{"test_positive_disease":3,"test_positive_no_disease":1,"test_positive_unverified":0,"test_negative_disease":0,"test_negative_no_disease":0,"test_negative_unverified":9}`, "sensitivity"},
		{"roc-auc", `{"truth":[0,0,1],"score":[1,2,3]}`, "delong_se"},
		{"probability-of-detection", `{"size":[1,2,3,4],"hit":[0,0,1,1],"covariate":"size","link":"logit"}`, "a90"},
		{"probability-of-detection", `{"size":[1,2,3,4],"hit":[1,0,1,0],"covariate":"size","link":"logit"}`, "a90"},
		{"probability-of-detection", `{"size":[1,2,3,4],"hit":[1,1,1,1],"covariate":"size","link":"logit"}`, "a90"},
		{"logistic-regression", `{"predictors":[[],[],[]],"successes":[0,1,1]}`, "lr_p"},
	} {
		got := call(t, c.method, c.input)
		if v, ok := got[c.key]; !ok || v != nil {
			t.Errorf("%s %s: %s is %v, want null", c.method, c.input, c.key, v)
		}
		if got["warnings"] == nil && c.method != "logistic-regression" {
			t.Errorf("%s %s: no warning", c.method, c.input)
		}
	}
}

func TestSeparatedLogisticFallsBack(t *testing.T) {
	const x = `"predictors":[[1],[2],[3],[4],[5],[6],[7],[8]],`
	plain := call(t, "logistic-regression", `{`+x+`"successes":[0,0,0,0,1,1,1,1]}`)
	firth := call(t, "logistic-firth", `{`+x+`"outcome":[0,0,0,0,1,1,1,1]}`)
	for _, key := range []string{"coefficients", "std_errors", "profile_ci_lower", "profile_ci_upper", "plr_p"} {
		compare(t, key, firth[key], plain[key], 1e-9)
	}
	if warnings := fmt.Sprint(plain["warnings"]); !strings.Contains(warnings, "Firth") {
		t.Errorf("warnings %s do not name the method", warnings)
	}
	if plain["method"] == call(t, "logistic-regression", `{`+x+`"successes":[0,0,1,0,1,1,0,1]}`)["method"] {
		t.Error("the method is not told")
	}
	for _, y := range []string{"0,0,0,0,0,0,0,0", "1,1,1,1,1,1,1,1"} {
		got := call(t, "logistic-regression", `{`+x+`"successes":[`+y+`]}`)
		if b := pick(t, got, "coefficients.0"); math.Abs(b) > 20 || pick(t, got, "residual_deviance") > 1e-6 {
			t.Errorf("one kind only: intercept %g, deviance %v", b, got["residual_deviance"])
		}
	}
}

func TestRefusesImpossibleInput(t *testing.T) {
	for _, c := range []struct{ method, input string }{
		{"proportion-interval", `{"x":-1,"n":3}`},
		{"proportion-interval", `{"x":4,"n":3}`},
		{"proportion-interval", `{"x":1.5,"n":3}`},
		{"proportion-interval", `{"x":1,"n":1e300}`},
		{"proportion-interval", `{"x":1,"n":3,"conf":1}`},
		{"proportion-interval", `{"x":1,"n":3,"conf":0}`},
		{"proportion-interval", `{"x":1}`},
		{"proportion-interval", `{"x":NaN,"n":3}`},
		{"proportion-difference", `{"x1":1,"n1":2,"x2":3,"n2":2}`},
		{"cluster-proportion", `{}`},
		{"cluster-proportion", `{"cluster_sizes":[],"cluster_events":[]}`},
		{"cluster-proportion", `{"cluster_sizes":[3,4],"cluster_events":[1]}`},
		{"cluster-proportion", `{"cluster_sizes":[3,4],"cluster_events":[1,5]}`},
		{"cluster-proportion", `{"cluster_sizes":[3,null],"cluster_events":[1,0]}`},
		{"cluster-proportion", `{"cluster_sizes":[3,4],"cluster_events":[1,2],"clusters_in_population":1}`},
		{"cluster-proportion", `{"cluster_sizes":[3,4],"cluster_events":[1,2],"clusters_in_population":0}`},
		{"cluster-proportion", `{"clusters":3,"sum_units":12,"sum_events":3,"sum_events_sq":1,"sum_events_times_units":10,"sum_units_sq":50}`},
		{"diagnostic-accuracy", `{"true_positive":-1,"false_positive":0,"false_negative":0,"true_negative":0}`},
		{"partial-verification", `{"test_positive_disease":-1,"test_positive_no_disease":1,"test_positive_unverified":0,"test_negative_disease":0,"test_negative_no_disease":0,"test_negative_unverified":9}`},
		{"roc-auc", `{"truth":[],"score":[]}`},
		{"roc-auc", `{"truth":[1,1],"score":[1,2]}`},
		{"roc-auc", `{"truth":[1,2],"score":[1,2]}`},
		{"roc-auc", `{"truth":[1,0],"score":[1]}`},
		{"roc-auc", `{"truth":[1,0],"score":[1,null]}`},
		{"probability-of-detection", `{"size":[1,2],"hit":[0,1],"covariate":"weight"}`},
		{"probability-of-detection", `{"size":[1,2],"hit":[0,1],"link":"power"}`},
		{"probability-of-detection", `{"size":[0,2],"hit":[0,1],"covariate":"log(size)"}`},
		{"probability-of-detection", `{"size":[1,2],"hit":[0,2],"covariate":"size"}`},
		{"probability-of-detection", `{"size":[1,2],"hits":[0,1],"covariate":"size"}`},
		{"probability-of-detection", `{"size":[1,2,3],"hit":[0,1],"covariate":"size"}`},
		{"probability-of-detection", `{"size":[2,2,2],"hit":[0,1,1],"covariate":"size"}`},
		{"probability-of-detection", `{"size":[1,2,3],"hits":[0,1,1],"inspections":[1],"covariate":"size"}`},
		{"probability-of-detection", `{"size":[],"hit":[]}`},
		{"logistic-regression", `{"predictors":[],"successes":[]}`},
		{"logistic-regression", `{"predictors":[[1],[2]],"successes":[0,2]}`},
		{"logistic-regression", `{"predictors":[[1],[2]],"successes":[0,-1]}`},
		{"logistic-regression", `{"predictors":[[1],[2,3]],"successes":[0,1]}`},
		{"logistic-regression", `{"predictors":[[1],[1],[1]],"successes":[0,1,1]}`},
		{"logistic-regression", `{"predictors":[[1],[2]],"predictor_names":["a","b"],"successes":[0,1]}`},
		{"logistic-regression", `{"predictors":[[1],[2],[3]],"successes":[0,1,0],"trials":[1,1]}`},
		{"logistic-firth", `{"predictors":[[1],[2],[3]],"outcome":[0,1,2]}`},
		{"logistic-firth", `{"predictors":[[1],[2],[3]],"outcome":[0,1,1],"weights":[1,1,-1]}`},
		{"logistic-firth", `{"predictors":[[1],[null],[3]],"outcome":[0,1,1]}`},
	} {
		if out, err := Run(c.method, strings.NewReader(c.input)); !errors.Is(err, ErrInput) {
			t.Errorf("%s accepted %s: %s %v", c.method, c.input, out, err)
		}
	}
}

// FuzzCalcRegression feeds any text to any method of these groups: it must answer with valid JSON
// or refuse with ErrInput.
func FuzzCalcRegression(f *testing.F) {
	methods := ownMethods()
	for _, e := range publishedExamples(f) {
		_, name, _ := strings.Cut(e.Method, "-")
		if i := slices.IndexFunc(methods, func(m Method) bool { return m.Name == name }); i >= 0 {
			f.Add(uint8(i), []byte(e.Input))
		}
	}
	f.Fuzz(func(t *testing.T, which uint8, input []byte) {
		out, err := Run(methods[int(which)%len(methods)].Name, bytes.NewReader(input))
		if err != nil && !errors.Is(err, ErrInput) {
			t.Fatal(err)
		}
		if err == nil && !json.Valid(out) {
			t.Fatalf("not JSON: %s", out)
		}
	})
}
