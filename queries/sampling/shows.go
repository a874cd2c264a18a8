package sampling

import (
	"fmt"
	"sort"

	"scanledger/queries/stats"
	"scanledger/queries/words"
)

// confidence of what a sample without faults shows.
const confidence = 0.95

// finds is the chance with which one check is taken to find a fault that is there, to show what an
// imperfect check does to a sample. (The house's assumption: a recheck errs as the first test did. It is
// no fact about any check.)
const finds = 0.8

// shares of points at fault for which the chances are worked out.
var shares = []float64{0.005, 0.01, 0.02, 0.05, 0.1, 0.2}

// Shows says what the random part would and would not show.
type Shows struct {
	Rest        int      `json:"rest"`    // points of the frame outside the part weighted to risk
	AtMost      int      `json:"at_most"` // with no fault in the random part, at most so many of them are at fault, with 95 % confidence
	AtMostShare float64  `json:"at_most_share"`
	Chances     []Chance `json:"chances"`
	Would       []string `json:"would_show"`
	WouldNot    []string `json:"would_not_show"`
}

// Chance is what the random part gives if a share of the rest is at fault.
type Chance struct {
	Share         float64  `json:"share"`
	Faults        int      `json:"faults"`                  // of the rest
	NoFault       float64  `json:"no_fault"`                // chance of finding none, each check finding every fault
	NoFaultErring *float64 `json:"no_fault_erring"`         // the same where a check finds only 80 % of faults; null for samples too large to work out
	Passes        *float64 `json:"passes_plan,omitempty"`   // chance of no more faults than the plan accepts
	Assumed       float64  `json:"assumed_finds,omitempty"` // the 80 %, as a share
}

// WhatItShows works out what a sample of these sizes would and would not show.
func WhatItShows(s Sizes) (Shows, error) {
	out := Shows{Rest: s.Frame - s.Risk, Chances: []Chance{}}
	if s.Random > 0 {
		most, err := atMost(out.Rest, s.Random)
		if err != nil {
			return out, fmt.Errorf("what the sample shows: %w", err)
		}
		out.AtMost, out.AtMostShare = most, float64(most)/float64(out.Rest)
		if out.Chances, err = chances(s, out.Rest); err != nil {
			return out, fmt.Errorf("what the sample shows: %w", err)
		}
	}
	out.Would, out.WouldNot = out.would(s), out.wouldNot(s)
	return out, nil
}

// atMost is the largest number of faults among rest points of which a random sample holds none with a
// chance above 1 - confidence: the upper limit after a sample without faults (hypergeometric).
func atMost(rest, sample int) (int, error) {
	var failed error
	most := sort.Search(rest-sample, func(faults int) bool {
		none, err := stats.Hypergeometric(rest, faults+1, sample, 0)
		failed = err
		return err != nil || none.Point <= 1-confidence
	})
	return most, failed
}

func chances(s Sizes, rest int) ([]Chance, error) {
	none, err := stats.OCCurve(s.Random, 0, rest, shares)
	if err != nil {
		return nil, err
	}
	out := make([]Chance, len(shares))
	for i, c := range none {
		out[i] = Chance{Share: shares[i], Faults: c.Defectives, NoFault: c.Hypergeometric}
		erring, err := stats.FreedomFromImperfectTest(stats.FreedomInput{Population: rest, Marked: c.Defectives, Sample: s.Random, Sensitivity: finds, Specificity: 1})
		if err == nil { // it has an upper size, beyond which the column stays empty
			out[i].NoFaultErring, out[i].Assumed = &erring.AtDesign, finds
		}
	}
	if s.Accept == nil {
		return out, nil
	}
	passes, err := stats.OCCurve(s.Random, *s.Accept, rest, shares)
	if err != nil {
		return nil, err
	}
	for i := range out {
		out[i].Passes = &passes[i].Hypergeometric
	}
	return out, nil
}

func (s Shows) would(z Sizes) []string {
	if z.Random == 0 {
		return nil
	}
	out := []string{fmt.Sprintf("If all %s random points come back and none is at fault: with %s confidence, at most %s of the %s points they stand for (%s) are at fault.",
		words.Count(z.Random), words.Percent(confidence), words.Count(s.AtMost), words.Count(s.Rest), words.Percent(s.AtMostShare))}
	if z.Faults > 0 {
		out = append(out, fmt.Sprintf("The size was chosen so that, were %s of the %s points in the frame at fault, at least one would be drawn with the confidence asked for (hypergeometric; Cannon and Roe 1982).",
			words.Count(z.Faults), words.Count(z.Frame)))
	}
	if z.Accept != nil {
		out = append(out, fmt.Sprintf("By the plan of code letter %s, the month passes with at most %d at fault among the %s random points. Passing is a rule of the plan, and no share of faults. "+
			"The tables are those of MIL-STD-105E (1989); that ISO 2859-1:1999 has the same values is from memory.", z.Letter, *z.Accept, words.Count(z.Random)))
	}
	return append(out, "A fault here is a call that a blind recheck contradicts, or a clear call where opening finds activity.")
}

func (s Shows) wouldNot(z Sizes) []string {
	var out []string
	for _, c := range s.Chances {
		if c.Faults > 0 && c.NoFault >= 0.05 && c.NoFault < 0.9999 {
			text := fmt.Sprintf("It would not show that there is none: were %s of %s points (%s) at fault, such a sample would still hold no fault with a chance of %s",
				words.Count(c.Faults), words.Count(s.Rest), words.Percent(c.Share), words.Percent(c.NoFault))
			if c.NoFaultErring != nil {
				text += fmt.Sprintf(", and of %s were a check to find only %s of faults (our assumption)", words.Percent(*c.NoFaultErring), words.Percent(finds))
			}
			out = append(out, text+".")
			break
		}
	}
	if z.Openings != nil {
		out = append(out, fmt.Sprintf("At most %s of the drawn clear points are opened. At the others only a recheck speaks, and activity that both tests overlook stays unseen.", words.Count(*z.Openings)))
	}
	if z.Risk > 0 {
		out = append(out, "The part weighted to risk speaks for the month only when each point is weighted by its chance of selection; faults counted plainly among all drawn points say too much.")
	}
	return append(out,
		"It would say little of any one technician: most have too few points in it, and nobody is judged by it.",
		"Points that do not come back are not points without faults. It says nothing of places that were never tested, or of other months.",
		"The chances take the random part as drawn from all points together; drawing by technician changes them little.",
		"A clear reading never proves absence, and neither does a clear recheck.")
}
