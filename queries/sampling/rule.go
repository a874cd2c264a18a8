package sampling

import (
	"errors"
	"fmt"
	"math"
	"strconv"

	"scanledger/queries/stats"
)

// DefaultRiskShare is the share of the sample that is weighted to risk (the house's choice): most of it
// stays evenly drawn, for that is the part that speaks for the month.
const DefaultRiskShare = 0.3

// A Rule says how large a sample is. Exactly one of Size, Detect and Level is set.
type Rule struct {
	Size int `json:"size,omitempty"` // points in all, both parts

	Detect     float64 `json:"detect,omitempty"`     // share of points at fault that should show
	Confidence float64 `json:"confidence,omitempty"` // chance with which it should

	Level string  `json:"level,omitempty"` // inspection level of the tables for inspection by attributes
	AQL   float64 `json:"aql,omitempty"`   // acceptable quality limit, per cent

	RiskShare float64 `json:"risk_share"`         // of the whole sample, 0 to under 1
	Openings  *int    `json:"openings,omitempty"` // most clear points to open; nil: every drawn one
}

// Check says what is wrong with a rule, whatever the frame.
func (r Rule) Check() error {
	ways := 0
	for _, set := range []bool{r.Size != 0, r.Detect != 0, r.Level != ""} {
		if set {
			ways++
		}
	}
	switch {
	case ways != 1:
		return errors.New("give the size of the sample in one way: --size N, --detect SHARE with --confidence, or --plan LEVEL with --aql")
	case r.Openings != nil && *r.Openings < 0:
		return fmt.Errorf("--openings is %d; give 0 or more", *r.Openings)
	case r.Size < 0:
		return fmt.Errorf("--size is %d; give 1 or more", r.Size)
	case !(r.RiskShare >= 0 && r.RiskShare < 1):
		return fmt.Errorf("--risk-share is %g; give 0 to under 1", r.RiskShare)
	case r.Detect != 0 && !(r.Detect > 0 && r.Detect < 1):
		return fmt.Errorf("--detect is %g; give a share between 0 and 1", r.Detect)
	case r.Detect != 0 && !(r.Confidence > 0 && r.Confidence < 1):
		return fmt.Errorf("--confidence is %g; give a share between 0 and 1", r.Confidence)
	}
	if r.Level == "" {
		return nil
	}
	_, err := r.plan(2)
	return err
}

// String is the rule in a form that may stand in a file name.
func (r Rule) String() string {
	number := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
	rest := "-risk-" + number(r.RiskShare)
	if r.Openings != nil {
		rest += "-openings-" + strconv.Itoa(*r.Openings)
	}
	switch {
	case r.Size != 0:
		return "size-" + strconv.Itoa(r.Size) + rest
	case r.Detect != 0:
		return "detect-" + number(r.Detect) + "-confidence-" + number(r.Confidence) + rest
	}
	return "plan-" + r.Level + "-aql-" + number(r.AQL) + rest
}

func (r Rule) plan(lot int) (stats.SamplingPlan, error) {
	letter, err := stats.CodeLetter(lot, r.Level)
	if err != nil {
		return stats.SamplingPlan{}, err
	}
	return stats.NormalPlan(letter, r.AQL)
}

// Sizes is how many points each part of the sample has.
type Sizes struct {
	Frame  int `json:"frame"` // points that could be drawn
	Random int `json:"random"`
	Risk   int `json:"risk"`

	Openings *int `json:"openings,omitempty"` // most drawn clear points to open; nil: every one

	Letter string `json:"code_letter,omitempty"` // of the plan, where there is one
	Accept *int   `json:"accept,omitempty"`      // the random part passes with at most so many faults
	Faults int    `json:"faults,omitempty"`      // how many the share to detect makes of the frame
}

// Sizes applies the rule to a frame of so many points. With a size, the part weighted to risk is taken
// out of it. A plan and a detection size speak of evenly drawn points only, so there that part comes on
// top.
func (r Rule) Sizes(frame int) (Sizes, error) {
	out := Sizes{Frame: frame, Openings: r.Openings}
	switch {
	case r.Size > frame:
		return out, fmt.Errorf("a sample of %d from a frame of %d points; give a size no larger than the frame", r.Size, frame)
	case r.Size != 0:
		out.Risk = int(float64(r.Size)*r.RiskShare + 1e-9)
		out.Random = r.Size - out.Risk
		return out, nil
	case r.Detect != 0:
		out.Faults = max(1, int(r.Detect*float64(frame)+1e-9)) // rounded down: fewer faults need more points
		d, err := stats.DetectionSampleSize(frame, out.Faults, r.Confidence)
		if err != nil {
			return out, err
		}
		out.Random = d.SampleSize
	default:
		p, err := r.plan(frame)
		if err != nil {
			return out, err
		}
		out.Random, out.Letter, out.Accept = p.Inspected(frame), p.Letter, &p.Accept
	}
	extra := int(math.Round(float64(out.Random) * r.RiskShare / (1 - r.RiskShare)))
	out.Risk = min(extra, frame-out.Random)
	return out, nil
}
