package stats

import (
	"fmt"
	"math"
)

// A Verdict tells what to do with a proportion before it is shown.
type Verdict string

// The verdicts of PresentProportion.
const (
	Show   Verdict = "show"
	Review Verdict = "review" // a person must look first
	Hold   Verdict = "hold"   // do not show the figure
)

// Presentation is a verdict with the reasons for anything but a plain Show. ComplementDoubtful
// flags a proportion that may be shown although 1 less it may not.
type Presentation struct {
	Verdict            Verdict
	ComplementDoubtful bool
	Reasons            []string
}

// Limits of Parker et al. (2017).
const (
	presentMinimumN     = 30
	presentNarrow       = 0.05
	presentWide         = 0.30
	presentRelativeWide = 1.30
	presentMinimumDF    = 8
)

// PresentProportion applies the presentation standard for proportions of Parker JD et al. (2017),
// National Center for Health Statistics, Vital Health Stat 2(175), in this order:
//
//   - effective n under 30: hold; width of the exact interval 0.30 or more: hold;
//   - width over 0.05 and over 1.30 times the proportion: hold;
//   - a proportion of 0 or 1, or under 8 degrees of freedom: review; else show.
//
// Width over 1.30 times the complement sets ComplementDoubtful. effectiveN is in units, df in
// clusters less one (+Inf for a simple sample), exact the Korn-Graubard or Clopper-Pearson interval
// at 95 %. A proportion, effective n or limit that is NaN is held.
func PresentProportion(p, effectiveN, df float64, exact Interval) Presentation {
	width := exact.High - exact.Low
	if reason := holdReason(p, effectiveN, width); reason != "" {
		return Presentation{Verdict: Hold, Reasons: []string{reason}}
	}
	out := Presentation{Verdict: Show}
	if p == 0 || p == 1 {
		out.Verdict = Review
		out.Reasons = append(out.Reasons, fmt.Sprintf("the proportion is %g %%", 100*p))
	}
	if !(df >= presentMinimumDF) {
		out.Verdict = Review
		out.Reasons = append(out.Reasons, fmt.Sprintf("%g degrees of freedom, under %d", df, presentMinimumDF))
	}
	if p < 1 && width > presentNarrow && width > presentRelativeWide*(1-p) {
		out.ComplementDoubtful = true
		out.Reasons = append(out.Reasons, "the interval is wide beside the complement: do not show the complement")
	}
	return out
}

func holdReason(p, effectiveN, width float64) string {
	switch {
	case math.IsNaN(p) || math.IsNaN(width):
		return "the proportion or its interval cannot be said"
	case !(effectiveN >= presentMinimumN):
		return fmt.Sprintf("effective n %.3g, under %d", effectiveN, presentMinimumN)
	case width >= presentWide:
		return fmt.Sprintf("interval %.2f wide, %.2f or more", width, presentWide)
	case p > 0 && width > presentNarrow && width > presentRelativeWide*p:
		return fmt.Sprintf("interval %.2f wide, over %.2f times the proportion", width, presentRelativeWide)
	}
	return ""
}
