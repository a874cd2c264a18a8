package calc

import (
	"fmt"

	"scanledger/queries/stats"
)

const defaultLevel = 0.05

var multiplicityMethods = []Method{
	method("false-discovery-rate", "p-values adjusted for being looked at together",
		"Benjamini and Hochberg 1995; Benjamini and Yekutieli 2001; Holm 1979", falseDiscoveryRate),
}

type pValuesIn struct {
	PValues []*float64 `json:"p_values" calc:"required"` // null: a test that could not be made
	Level   *float64   `json:"level"`
}

type pValuesOut struct {
	BH                 []Num `json:"bh_adjusted"`
	BY                 []Num `json:"by_adjusted"`
	Holm               []Num `json:"holm_adjusted"`
	Bonferroni         []Num `json:"bonferroni_adjusted"`
	Level              Num   `json:"level"`
	RejectedBH         int   `json:"rejected_bh"`
	RejectedBY         int   `json:"rejected_by"`
	RejectedHolm       int   `json:"rejected_holm"`
	RejectedBonferroni int   `json:"rejected_bonferroni"`
}

func falseDiscoveryRate(in pValuesIn) (pValuesOut, error) {
	level := given(in.Level, defaultLevel)
	if !(level > 0 && level < 1) {
		return pValuesOut{}, fmt.Errorf("level is %v: give a share strictly between 0 and 1, such as 0.05", level)
	}
	r, err := stats.AdjustPValues(orNaN(in.PValues))
	return pValuesOut{
		BH: nums(r.BenjaminiHochberg), BY: nums(r.BenjaminiYekutieli), Holm: nums(r.Holm), Bonferroni: nums(r.Bonferroni),
		Level:              Num(level),
		RejectedBH:         stats.Rejected(r.BenjaminiHochberg, level),
		RejectedBY:         stats.Rejected(r.BenjaminiYekutieli, level),
		RejectedHolm:       stats.Rejected(r.Holm, level),
		RejectedBonferroni: stats.Rejected(r.Bonferroni, level),
	}, err
}
