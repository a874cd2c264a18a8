package stats

import (
	"errors"
	"fmt"
	"math"
)

// AttributeAgreement is how well appraisers who pass (1) or reject (0) parts agree with themselves,
// each other and a standard. Figures that cannot be said are NaN: those within an appraiser with one
// trial, between with one appraiser, and against the standard when it is not known.
type AttributeAgreement struct {
	Appraisers     []AppraiserAgreement
	Between        Matched   // parts on which all appraisers agree on every trial
	AllStandard    Matched   // parts on which they also agree with the standard
	FleissBetween  float64   // over all trials of all appraisers
	PairCohenKappa []float64 // of appraisers 1-2, 1-3, ... 2-3, ..., the same trial compared
}

// AppraiserAgreement is one appraiser's.
type AppraiserAgreement struct {
	Within        Matched // parts called alike on every trial
	Standard      Matched // parts called as the standard on every trial
	Miss          Rate    // standard 0, called 1, over trials
	FalseAlarm    Rate    // standard 1, called 0, over trials
	CohenStandard float64 // Cohen's kappa of all trials against the standard
	FleissWithin  float64 // Fleiss' kappa of the trials among themselves
	Decisions     float64 // share of trials called as the standard
}

// Matched is a number of parts and its share with the exact interval; Share.Value is NaN when it
// cannot be said.
type Matched struct {
	Parts int
	Share Estimate
}

// Rate is a count out of its opportunities; Value is NaN without any.
type Rate struct {
	Count, Opportunities int
	Value                float64
}

// MaxAppraisers bounds the pairs compared.
const MaxAppraisers = 200

// AttributeStudy analyses results[part][appraiser][trial], each 0 or 1, against the standard of each
// part, nil when it is not known. Intervals of matched parts are Clopper-Pearson at confidence conf.
// Assumes parts that are independent and called blind. Sources: AIAG Measurement Systems Analysis,
// 4th ed. (2010), ch. III.C; Cohen 1960; Fleiss 1971. Kappa is NaN where only one call was ever made. A
// study in which a part, appraiser or trial is missing is an error.
func AttributeStudy(results [][][]int, standard []int, conf float64) (AttributeAgreement, error) {
	s, err := newAttributeTable(results, standard)
	if err != nil {
		return AttributeAgreement{}, err
	}
	out := AttributeAgreement{FleissBetween: math.NaN()}
	for j := range s.appraisers {
		a, err := s.appraiser(j, conf)
		if err != nil {
			return AttributeAgreement{}, err
		}
		out.Appraisers = append(out.Appraisers, a)
	}
	if out.Between, err = s.matched(s.appraisers > 1, s.allAlike, conf); err != nil {
		return AttributeAgreement{}, err
	}
	if out.AllStandard, err = s.matched(standard != nil, s.allStandard, conf); err != nil {
		return AttributeAgreement{}, err
	}
	if s.appraisers > 1 {
		if out.FleissBetween, err = s.fleiss(0, s.appraisers); err != nil {
			return AttributeAgreement{}, err
		}
	}
	out.PairCohenKappa, err = s.pairKappas(conf)
	return out, err
}

// attributeTable is a checked study; passed[part][appraiser] counts the trials called 1.
type attributeTable struct {
	parts, appraisers, trials int
	results                   [][][]int
	passed                    [][]int
	standard                  []int // nil when not known
}

func newAttributeTable(results [][][]int, standard []int) (attributeTable, error) {
	if len(results) == 0 || len(results[0]) == 0 || len(results[0][0]) == 0 {
		return attributeTable{}, errors.New("results: give at least one part, appraiser and trial")
	}
	s := attributeTable{
		parts: len(results), appraisers: len(results[0]), trials: len(results[0][0]), results: results, standard: standard,
	}
	switch {
	case s.appraisers > MaxAppraisers:
		return s, fmt.Errorf("results: %d appraisers: give at most %d", s.appraisers, MaxAppraisers)
	case standard != nil && len(standard) != s.parts:
		return s, fmt.Errorf("%d reference values for %d parts: give one each", len(standard), s.parts)
	}
	if _, err := countPassed("reference", standard); err != nil {
		return s, err
	}
	for i, part := range results {
		if len(part) != s.appraisers {
			return s, fmt.Errorf("results: part %d has %d appraisers of %d: every appraiser must call every part", i+1, len(part), s.appraisers)
		}
		row := make([]int, s.appraisers)
		for j, trials := range part {
			name := fmt.Sprintf("results: part %d, appraiser %d", i+1, j+1)
			if len(trials) != s.trials {
				return s, fmt.Errorf("%s has %d trials of %d: give every one the same", name, len(trials), s.trials)
			}
			var err error
			if row[j], err = countPassed(name, trials); err != nil {
				return s, err
			}
		}
		s.passed = append(s.passed, row)
	}
	return s, nil
}

func countPassed(name string, calls []int) (passed int, err error) {
	for i, c := range calls {
		if c != 0 && c != 1 {
			return 0, fmt.Errorf("%s: value %d is %d: give 1 to pass or 0 to reject", name, i+1, c)
		}
		passed += c
	}
	return passed, nil
}

func (s attributeTable) appraiser(j int, conf float64) (AppraiserAgreement, error) {
	out := AppraiserAgreement{CohenStandard: math.NaN(), FleissWithin: math.NaN(), Decisions: math.NaN()}
	var err error
	alike := func(part int) bool { return s.alike(part, j) }
	if out.Within, err = s.matched(s.trials > 1, alike, conf); err != nil {
		return out, err
	}
	if s.trials > 1 {
		if out.FleissWithin, err = s.fleiss(j, j+1); err != nil {
			return out, err
		}
	}
	asStandard := func(part int) bool { return s.asStandard(part, j) }
	if out.Standard, err = s.matched(s.standard != nil, asStandard, conf); err != nil {
		return out, err
	}
	calls := s.againstStandard(j)
	out.Miss, out.FalseAlarm = newRate(calls[0][1], calls[0][0]), newRate(calls[1][0], calls[1][1])
	if s.standard == nil {
		return out, nil
	}
	out.Decisions = float64(calls[0][0]+calls[1][1]) / float64(s.parts*s.trials)
	out.CohenStandard, err = cohenKappa(calls, conf)
	return out, err
}

func newRate(count, others int) Rate {
	return Rate{count, count + others, float64(count) / float64(count+others)}
}

// againstStandard counts an appraiser's trials by standard and call.
func (s attributeTable) againstStandard(j int) (calls [2][2]int) {
	for i, standard := range s.standard {
		calls[standard][1] += s.passed[i][j]
		calls[standard][0] += s.trials - s.passed[i][j]
	}
	return calls
}

func (s attributeTable) alike(part, j int) bool {
	return s.passed[part][j] == 0 || s.passed[part][j] == s.trials
}

func (s attributeTable) asStandard(part, j int) bool {
	return s.passed[part][j] == s.trials*s.standard[part]
}

func (s attributeTable) allAlike(part int) bool {
	sum := sumCounts(s.passed[part])
	return sum == 0 || sum == s.trials*s.appraisers
}

func (s attributeTable) allStandard(part int) bool {
	return sumCounts(s.passed[part]) == s.trials*s.appraisers*s.standard[part]
}

// matched counts the parts for which is holds, if that can be said.
func (s attributeTable) matched(said bool, is func(part int) bool, conf float64) (Matched, error) {
	if !said {
		nan := math.NaN()
		return Matched{Share: Estimate{Value: nan, Low: nan, High: nan, Conf: conf}}, nil
	}
	parts := 0
	for i := range s.parts {
		if is(i) {
			parts++
		}
	}
	share, err := ClopperPearson(parts, s.parts, conf)
	return Matched{parts, share}, err
}

// fleiss is Fleiss' kappa of all trials of the appraisers from first to before end.
func (s attributeTable) fleiss(first, end int) (float64, error) {
	raters := s.trials * (end - first)
	counts := make([][]int, s.parts)
	for i := range counts {
		passed := sumCounts(s.passed[i][first:end])
		counts[i] = []int{raters - passed, passed}
	}
	k, err := FleissKappa(counts, raters)
	return k.Kappa, err
}

func (s attributeTable) pairKappas(conf float64) ([]float64, error) {
	var out []float64
	for a := range s.appraisers {
		for b := a + 1; b < s.appraisers; b++ {
			var calls [2][2]int
			for _, part := range s.results {
				for t := range s.trials {
					calls[part[a][t]][part[b][t]]++
				}
			}
			kappa, err := cohenKappa(calls, conf)
			if err != nil {
				return nil, err
			}
			out = append(out, kappa)
		}
	}
	return out, nil
}

func cohenKappa(calls [2][2]int, conf float64) (float64, error) {
	a, err := AgreementOfTwo([][]int{calls[0][:], calls[1][:]}, conf)
	return a.Kappa.Value, err
}
