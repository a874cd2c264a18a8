package stats

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func labs(t *rapid.T) [][]float64 {
	value := rapid.Float64Range(-10, 10)
	return rapid.SliceOfN(rapid.SliceOfN(value, 1, 6), 1, 7).Draw(t, "values")
}

// The order of laboratories and of their values does not matter, and the figures move with the unit.
func TestRepeatabilityInvariance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := labs(t)
		want, err := RepeatabilityStudy(values)
		if err != nil {
			t.Fatal(err)
		}
		turned := make([][]float64, len(values))
		for i, lab := range values {
			one := make([]float64, len(lab))
			for j, v := range lab {
				one[len(lab)-1-j] = 4 * v
			}
			turned[len(values)-1-i] = one
		}
		got, err := RepeatabilityStudy(turned)
		if err != nil {
			t.Fatal(err)
		}
		scaled := func(name string, a, b float64) {
			if !(math.IsNaN(a) && math.IsNaN(b)) && math.Abs(4*a-b) > 1e-6 {
				t.Fatalf("%s: %v became %v", name, a, b)
			}
		}
		scaled("s_r", want.RepeatabilitySD, got.RepeatabilitySD)
		scaled("mean", want.GrandMean, got.GrandMean)
		scaled("sd of means", want.SDOfMeans, got.SDOfMeans)
		if !same(want.MeanReplicates, got.MeanReplicates) {
			t.Fatalf("n̄ %v became %v", want.MeanReplicates, got.MeanReplicates)
		}
		if got.ReproducibilitySD < got.RepeatabilitySD || got.BetweenSD < 0 {
			t.Fatalf("s_R below s_r: %+v", got)
		}
		if want.CochranC < 0 || want.CochranC > 1 || want.P < 0 || want.P > 1 {
			t.Fatalf("out of range: %+v", want)
		}
	})
}

// For equal replicates mean k² is 1, and the h have mean 0 and sum of squares p-1 (ISO 5725-2).
func TestMandelStatistics(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, n := rapid.IntRange(2, 8).Draw(t, "p"), rapid.IntRange(2, 5).Draw(t, "n")
		values := rapid.SliceOfN(rapid.SliceOfN(rapid.Float64Range(0, 10), n, n), p, p).Draw(t, "values")
		r, err := RepeatabilityStudy(values)
		if err != nil {
			t.Fatal(err)
		}
		if r.RepeatabilitySD < 1e-3 || r.SDOfMeans < 1e-3 {
			return
		}
		var h, h2, k2 float64
		for i := range p {
			h, h2, k2 = h+r.MandelH[i], h2+square(r.MandelH[i]), k2+square(r.MandelK[i])
		}
		if math.Abs(h) > 1e-6 || math.Abs(h2-float64(p-1)) > 1e-6 || math.Abs(k2-float64(p)) > 1e-6 {
			t.Fatalf("Σh %v, Σh² %v, Σk² %v for p %d", h, h2, k2, p)
		}
		if r.GrubbsHigh != slices.Max(r.MandelH) {
			t.Fatalf("Grubbs %v", r.GrubbsHigh)
		}
	})
}

func TestRepeatabilitySaysNothing(t *testing.T) {
	one, err := RepeatabilityStudy([][]float64{{1, 2, 3}})
	if err != nil || !math.IsNaN(one.ReproducibilitySD) || !math.IsNaN(one.P) || !math.IsNaN(one.MandelH[0]) {
		t.Errorf("one laboratory: %+v, %v", one, err)
	}
	near(t, "s_r of one laboratory", one.RepeatabilitySD, 1, 1e-12)
	singles, err := RepeatabilityStudy([][]float64{{1}, {2}, {4}})
	if err != nil || !math.IsNaN(singles.RepeatabilitySD) || !math.IsNaN(singles.CochranC) || !math.IsNaN(singles.MandelK[1]) {
		t.Errorf("single values: %+v, %v", singles, err)
	}
	near(t, "mean of single values", singles.GrandMean, 7.0/3, 1e-12)
	flat, err := RepeatabilityStudy([][]float64{{0.1, 0.1, 0.1}, {0.1, 0.1, 0.1}})
	if err != nil || flat.RepeatabilitySD != 0 || !math.IsNaN(flat.F) || !math.IsNaN(flat.MandelK[0]) || !math.IsNaN(flat.MandelH[0]) {
		t.Errorf("no scatter: %+v, %v", flat, err)
	}
	for name, values := range map[string][][]float64{"none": {}, "empty": {{1, 2}, {}}, "NaN": {{1, math.NaN()}}} {
		if _, err := RepeatabilityStudy(values); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func gaugeValues(t *rapid.T, least int) [][][]float64 {
	p, o, r := rapid.IntRange(least, 5).Draw(t, "p"), rapid.IntRange(least, 4).Draw(t, "o"), rapid.IntRange(least, 3).Draw(t, "r")
	cell := rapid.SliceOfN(rapid.Float64Range(-5, 5), r, r)
	return rapid.SliceOfN(rapid.SliceOfN(cell, o, o), p, p).Draw(t, "values")
}

// The sums of squares add up to the total, and neither they nor the components depend on the order
// of parts, operators and trials.
func TestGaugeStudySums(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := gaugeValues(t, 1)
		g, err := GaugeStudy(values)
		if err != nil {
			t.Fatal(err)
		}
		var all []float64
		turned := make([][][]float64, len(values))
		for i, part := range values {
			all = append(all, slices.Concat(part...)...)
			mirror := make([][]float64, len(part))
			for j, trials := range part {
				back := slices.Clone(trials)
				slices.Reverse(back)
				mirror[len(part)-1-j] = back
			}
			turned[len(values)-1-i] = mirror
		}
		sum, df := 0.0, 0
		for i, ss := range g.SumOfSquares {
			sum, df = sum+ss, df+g.DF[i]
		}
		if want := sumOfSquaredDeviations(all); math.Abs(sum-want) > 1e-9*(1+want) || df != len(all)-1 {
			t.Fatalf("sums of squares %v of %v on %d of %d", sum, want, df, len(all)-1)
		}
		h, err := GaugeStudy(turned)
		if err != nil {
			t.Fatal(err)
		}
		for i := range 4 {
			if !same(g.SumOfSquares[i], h.SumOfSquares[i]) {
				t.Fatalf("turned: %v, want %v", h.SumOfSquares, g.SumOfSquares)
			}
		}
		if !same(g.Pooled.Total(), h.Pooled.Total()) || !same(g.Interaction.Total(), h.Interaction.Total()) || !same(g.Range.TotalVar, h.Range.TotalVar) {
			t.Fatalf("turned: %+v, want %+v", h, g)
		}
	})
}

func TestGaugeComponentsInRange(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g, err := GaugeStudy(gaugeValues(t, 2))
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range []GaugeComponents{g.Interaction, g.Pooled} {
			if c.Repeatability < 0 || c.Interaction < 0 || c.Operator < 0 || c.Part < 0 || c.Contribution() > 100+1e-9 || c.StudyVariation() < c.Contribution()-1e-9 {
				t.Fatalf("out of range: %+v", c)
			}
		}
		for i, p := range g.P {
			if !math.IsNaN(g.F[i]) && !math.IsInf(g.F[i], 0) && !(p >= 0 && p <= 1) {
				t.Fatalf("P %v of F %v", p, g.F[i])
			}
		}
	})
}

// Printed factors of AIAG MSA 4th ed.: K1 0.8862, 0.5908; K2 0.7071, 0.5231; K3 0.7071 0.5231 0.4467
// 0.4030 0.3742 0.3534 0.3375 0.3249 0.3146 (from memory); d2 of 4 and 5 as in any control chart table.
func TestRangeFactors(t *testing.T) {
	for m, want := range map[int]float64{2: 0.8862, 3: 0.5908, 4: 0.4857, 5: 0.4299} {
		if got := printedFactor(meanRange(m)); got != want {
			t.Errorf("K1 of %d: %v, want %v", m, got, want)
		}
	}
	for i, want := range []float64{0.7071, 0.5231, 0.4467, 0.4030, 0.3742, 0.3534, 0.3375, 0.3249, 0.3146} {
		if got := printedFactor(rootMeanSquareRange(i + 2)); got != want {
			t.Errorf("K3 of %d: %v, want %v", i+2, got, want)
		}
	}
	// Harter (1960) prints d2 = 5.015 and d3 = 0.605 for 100 values: d2*² = d2² + d3² (from memory).
	near(t, "d2* of 100", rootMeanSquareRange(100), math.Hypot(5.015, 0.605), 0.002)
}

func TestGaugeSaysNothing(t *testing.T) {
	trial := func(values [][][]float64) CrossedGauge {
		t.Helper()
		g, err := GaugeStudy(values)
		if err != nil {
			t.Fatal(err)
		}
		return g
	}
	if g := trial([][][]float64{{{1}, {2}}, {{3}, {5}}}); !math.IsNaN(g.Interaction.Gauge()) || math.IsNaN(g.Pooled.Gauge()) || !math.IsNaN(g.Range.GaugeRR) {
		t.Errorf("one trial: %+v", g)
	}
	if g := trial([][][]float64{{{1, 2}}, {{3, 5}}}); !math.IsNaN(g.Pooled.Gauge()) || math.IsNaN(g.Pooled.Repeatability) || !math.IsNaN(g.Range.AppraiserVar) {
		t.Errorf("one operator: %+v", g)
	}
	flat := trial([][][]float64{{{0.1, 0.1}, {0.1, 0.1}}, {{0.1, 0.1}, {0.1, 0.1}}})
	if !math.IsNaN(flat.F[0]) || flat.Pooled.Total() != 0 || !math.IsNaN(flat.Pooled.Contribution()) {
		t.Errorf("no scatter: %+v", flat)
	}
	for name, values := range map[string][][][]float64{
		"none": {}, "no operators": {{}}, "no trials": {{{}}}, "operators differ": {{{1}, {2}}, {{1}}},
		"trials differ": {{{1, 2}, {2, 3}}, {{1, 2}, {1}}}, "NaN": {{{math.NaN()}}},
	} {
		if _, err := GaugeStudy(values); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func attributeResults(t *rapid.T) (results [][][]int, standard []int) {
	p, a, r := rapid.IntRange(1, 8).Draw(t, "p"), rapid.IntRange(1, 4).Draw(t, "a"), rapid.IntRange(1, 4).Draw(t, "r")
	call := rapid.IntRange(0, 1)
	results = rapid.SliceOfN(rapid.SliceOfN(rapid.SliceOfN(call, r, r), a, a), p, p).Draw(t, "results")
	return results, rapid.SliceOfN(call, p, p).Draw(t, "standard")
}

// Matches nest: agreeing with the standard is agreeing with oneself, and all agreeing is each
// agreeing. Part order does not matter. Swapping pass and reject swaps misses and false alarms only.
func TestAttributeStudyRelations(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		results, standard := attributeResults(t)
		a, err := AttributeStudy(results, standard, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		trials := len(results[0][0])
		swapped, turnedStandard := make([][][]int, len(results)), make([]int, len(results))
		for i, part := range results {
			at := len(results) - 1 - i
			turnedStandard[at] = 1 - standard[i]
			for _, calls := range part {
				other := make([]int, len(calls))
				for k, c := range calls {
					other[k] = 1 - c
				}
				swapped[at] = append(swapped[at], other)
			}
		}
		b, err := AttributeStudy(swapped, turnedStandard, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		for j, one := range a.Appraisers {
			if trials > 1 && one.Standard.Parts > one.Within.Parts || a.AllStandard.Parts > one.Standard.Parts || trials > 1 && a.Between.Parts > one.Within.Parts {
				t.Fatalf("matches do not nest: %+v", a)
			}
			errors := one.Miss.Count + one.FalseAlarm.Count
			if all := one.Miss.Opportunities + one.FalseAlarm.Opportunities; !same(one.Decisions, 1-float64(errors)/float64(all)) {
				t.Fatalf("decisions %v, %d errors of %d", one.Decisions, errors, all)
			}
			other := b.Appraisers[j]
			if other.Miss.Count != one.FalseAlarm.Count || other.Within.Parts != one.Within.Parts ||
				!same(other.CohenStandard, one.CohenStandard) || !same(other.FleissWithin, one.FleissWithin) {
				t.Fatalf("swapped: %+v, want %+v", other, one)
			}
		}
		if !same(a.FleissBetween, b.FleissBetween) || len(a.PairCohenKappa) != len(b.PairCohenKappa) {
			t.Fatalf("swapped: %+v, want %+v", b, a)
		}
	})
}

func TestAttributeStudySaysNothing(t *testing.T) {
	a, err := AttributeStudy([][][]int{{{1}}, {{0}}}, nil, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	one := a.Appraisers[0]
	for name, v := range map[string]float64{
		"within": one.Within.Share.Value, "standard": one.Standard.Share.Low, "between": a.Between.Share.Value, "miss": one.Miss.Value,
		"kappa": one.CohenStandard, "Fleiss within": one.FleissWithin, "Fleiss between": a.FleissBetween, "decisions": one.Decisions,
	} {
		if !math.IsNaN(v) {
			t.Errorf("%s of one appraiser, one trial and no standard: %v", name, v)
		}
	}
	for name, err := range map[string]error{
		"none":             second(AttributeStudy(nil, nil, 0.95)),
		"code 2":           second(AttributeStudy([][][]int{{{2}}}, nil, 0.95)),
		"standard of 2":    second(AttributeStudy([][][]int{{{1}}}, []int{2}, 0.95)),
		"standard short":   second(AttributeStudy([][][]int{{{1}}, {{1}}}, []int{1}, 0.95)),
		"ragged":           second(AttributeStudy([][][]int{{{1, 1}}, {{1}}}, nil, 0.95)),
		"missing":          second(AttributeStudy([][][]int{{{1}, {1}}, {{1}}}, nil, 0.95)),
		"too many":         second(AttributeStudy([][][]int{make([][]int, MaxAppraisers+1)}, nil, 0.95)),
		"no confidence":    second(AttributeStudy([][][]int{{{1, 1}}}, nil, 0)),
		"empty appraisers": second(AttributeStudy([][][]int{{}}, nil, 0.95)),
	} {
		if err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}
