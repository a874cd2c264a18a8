package calc

import (
	"fmt"
	"math"

	"scanledger/queries/stats"
)

type attributeIn struct {
	Reference  []count     `json:"reference"` // absent: not known
	Appraisers []string    `json:"appraisers" calc:"required"`
	Results    [][][]count `json:"results" calc:"required"`
	confidence
}

type attributeOut struct {
	Parts         int            `json:"parts"`
	PerAppraiser  []appraiserOut `json:"per_appraiser"`
	Between       Num            `json:"between_matches"`
	BetweenCI     limits         `json:"between_ci_exact"`
	AllStandard   Num            `json:"all_vs_standard_matches"`
	AllStandardCI limits         `json:"all_vs_standard_ci_exact"`
	FleissBetween Num            `json:"fleiss_kappa_between_all_trials"`
	PairOrder     []string       `json:"pair_order"`
	PairKappa     []Num          `json:"cohen_kappa_pairs_trial_by_trial"`
}

type appraiserOut struct {
	Appraiser               string `json:"appraiser"`
	Within                  Num    `json:"within_matches"`
	WithinCI                limits `json:"within_ci_exact"`
	Standard                Num    `json:"vs_standard_matches"`
	StandardCI              limits `json:"vs_standard_ci_exact"`
	Misses                  Num    `json:"miss_count"`
	MissOpportunities       Num    `json:"miss_opportunities"`
	MissRate                Num    `json:"miss_rate"`
	FalseAlarms             Num    `json:"false_alarm_count"`
	FalseAlarmOpportunities Num    `json:"false_alarm_opportunities"`
	FalseAlarmRate          Num    `json:"false_alarm_rate"`
	MixedParts              Num    `json:"mixed_parts"`
	CohenStandard           Num    `json:"cohen_kappa_vs_standard_all_trials"`
	FleissWithin            Num    `json:"fleiss_kappa_within"`
	Decisions               Num    `json:"decision_agreement"`
}

func attributeAgreement(in attributeIn) (attributeOut, error) {
	results := make([][][]int, len(in.Results))
	for i, part := range in.Results {
		for _, trials := range part {
			results[i] = append(results[i], ints(trials))
		}
	}
	if len(results) > 0 && len(in.Appraisers) != len(results[0]) {
		return attributeOut{}, fmt.Errorf("%d names of appraisers and results of %d; give one name each", len(in.Appraisers), len(results[0]))
	}
	var reference []int
	if in.Reference != nil {
		reference = ints(in.Reference)
	}
	a, err := stats.AttributeStudy(results, reference, in.level())
	if err != nil {
		return attributeOut{}, err
	}
	out := attributeOut{
		Parts: len(results), PerAppraiser: []appraiserOut{},
		FleissBetween: Num(a.FleissBetween), PairOrder: pairNames(in.Appraisers), PairKappa: nums(a.PairCohenKappa),
	}
	out.Between, out.BetweenCI = matchedOut(a.Between)
	out.AllStandard, out.AllStandardCI = matchedOut(a.AllStandard)
	for j, one := range a.Appraisers {
		out.PerAppraiser = append(out.PerAppraiser, newAppraiserOut(in.Appraisers[j], one, len(results)))
	}
	return out, nil
}

func newAppraiserOut(name string, a stats.AppraiserAgreement, parts int) appraiserOut {
	out := appraiserOut{
		Appraiser: name, MissRate: Num(a.Miss.Value), FalseAlarmRate: Num(a.FalseAlarm.Value),
		CohenStandard: Num(a.CohenStandard), FleissWithin: Num(a.FleissWithin), Decisions: Num(a.Decisions),
	}
	out.Within, out.WithinCI = matchedOut(a.Within)
	out.MixedParts = Num(parts) - out.Within
	out.Standard, out.StandardCI = matchedOut(a.Standard)
	out.Misses, out.MissOpportunities = Num(a.Miss.Count), Num(a.Miss.Opportunities)
	out.FalseAlarms, out.FalseAlarmOpportunities = Num(a.FalseAlarm.Count), Num(a.FalseAlarm.Opportunities)
	return out
}

// matchedOut prints a count that cannot be said as null.
func matchedOut(m stats.Matched) (Num, limits) {
	parts := Num(m.Parts)
	if math.IsNaN(m.Share.Value) {
		parts = Num(math.NaN())
	}
	return parts, endsOf(m.Share)
}

// pairNames lists the pairs in the order of stats.AttributeAgreement.PairCohenKappa.
func pairNames(names []string) []string {
	out := []string{}
	for i, a := range names {
		for _, b := range names[i+1:] {
			out = append(out, a+"-"+b)
		}
	}
	return out
}
