package queries

import (
	"fmt"

	"scanledger/queries/stats"
)

// AccuracyRow is how the calls of one cut held up.
type AccuracyRow struct {
	By                  string  `json:"by"`
	Material            *string `json:"material"`
	Gain                *int    `json:"gain"`
	Season              *string `json:"season"`
	Region              *string `json:"region"`
	Month               *string `json:"month"`
	ActiveCalls         int64   `json:"active_calls"`
	ActiveVerified      int64   `json:"active_verified"`
	ActiveVerifiedShare Figure  `json:"active_verified_share"`
	Confirmed           int64   `json:"confirmed"`
	FalseAlarms         int64   `json:"false_alarms"`
	PPV                 Figure  `json:"ppv"`
	PPVLow              Figure  `json:"ppv_low"`
	PPVHigh             Figure  `json:"ppv_high"`
	ClearCalls          int64   `json:"clear_calls"`
	ClearVerified       int64   `json:"clear_verified"`
	ClearVerifiedShare  Figure  `json:"clear_verified_share"`
	Missed              int64   `json:"missed"`
	MissedReported      int64   `json:"missed_reported"`
	Sensitivity         Figure  `json:"sensitivity"`
	SensitivityLow      Figure  `json:"sensitivity_low"`
	SensitivityHigh     Figure  `json:"sensitivity_high"`
	Specificity         Figure  `json:"specificity"`
	SpecificityLow      Figure  `json:"specificity_low"`
	SpecificityHigh     Figure  `json:"specificity_high"`
	SensitivityNaive    Figure  `json:"sensitivity_naive"`
	SpecificityNaive    Figure  `json:"specificity_naive"`
	Enough              bool    `json:"enough"`
}

func (d *desk) accuracy() error {
	rows, q, err := run(d, "accuracy", d.months(), func(scan func(...any) error, r *AccuracyRow) error {
		return scan(&r.By, &r.Material, &r.Gain, &r.Season, &r.Region, &r.Month, &r.ActiveCalls, &r.ActiveVerified, &r.Confirmed,
			&r.ClearCalls, &r.ClearVerified, &r.Missed, &r.MissedReported)
	})
	if err != nil {
		return err
	}
	for i := range rows {
		if err := rows[i].figures(int64(d.book.Floor)); err != nil {
			return fmt.Errorf("analysis accuracy, by %s: %w", rows[i].By, err)
		}
	}
	d.book.Accuracy = rows
	d.conclude(q, rows, "Sensitivity and specificity are corrected as one group per cut, not yet stratified within it.")
	return nil
}

func (r *AccuracyRow) figures(floor int64) error {
	r.FalseAlarms = r.ActiveVerified - r.Confirmed
	r.ActiveVerifiedShare, r.ClearVerifiedShare = share(r.ActiveVerified, r.ActiveCalls), share(r.ClearVerified, r.ClearCalls)
	r.Enough = r.ActiveVerified >= floor
	ppv, err := stats.Wilson(int(r.Confirmed), int(r.ActiveVerified), Confidence)
	if err != nil {
		return err
	}
	r.PPV, r.PPVLow, r.PPVHigh = Figure(ppv.Value), Figure(ppv.Low), Figure(ppv.High)
	v, err := stats.PartialVerification([]stats.VerificationStratum{{
		Positive: stats.TestArm{Condition: int(r.Confirmed), NoCondition: int(r.FalseAlarms), Unverified: int(r.ActiveCalls - r.ActiveVerified)},
		Negative: stats.TestArm{Condition: int(r.Missed), NoCondition: int(r.ClearVerified - r.Missed), Unverified: int(r.ClearCalls - r.ClearVerified)},
	}}, Confidence)
	if err != nil {
		return err
	}
	r.SensitivityNaive, r.SpecificityNaive = Figure(v.NaiveSensitivity), Figure(v.NaiveSpecificity)
	r.Sensitivity, r.SensitivityLow, r.SensitivityHigh = corrected(v.Sensitivity)
	r.Specificity, r.SpecificityLow, r.SpecificityHigh = corrected(v.Specificity)
	return nil
}

func corrected(c stats.Corrected) (value, low, high Figure) {
	return Figure(c.Value), Figure(c.Logit.Low), Figure(c.Logit.High)
}
