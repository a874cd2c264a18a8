package queries

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// The measures of an audit sample.
const (
	Disagreement = "disagreement"
	Missed       = "missed"
)

// AllSamples names the row of all months together.
const AllSamples = "all"

// AuditSampleRow is what one audit sample says by one measure.
type AuditSampleRow struct {
	Sample      string `json:"sample"`
	Month       string `json:"month"`
	Measure     string `json:"measure"`
	Frame       int64  `json:"frame"`
	Drawn       int64  `json:"drawn"`
	CameBack    int64  `json:"came_back"`
	Undecided   int64  `json:"undecided"`
	Outstanding int64  `json:"outstanding"`
	Faults      int64  `json:"faults"`
	Rate        Figure `json:"rate"`
	Low         Figure `json:"low"`
	High        Figure `json:"high"`
	NEffective  Figure `json:"n_effective"`
	RateIfNone  Figure `json:"rate_if_none"`
	RateIfAll   Figure `json:"rate_if_all"`
	Total       Figure `json:"total"`
	Enough      bool   `json:"enough"`
	WhyNot      string `json:"why_not"`
}

// drawnSite is the points of one site that share a measure and a chance; an empty site holds the points of
// the frame that were not drawn.
type drawnSite struct {
	draw                                      int
	sample, month, measure, site              string
	chance                                    float64
	frame, drawn, cameBack, undecided, faults int64
}

func (d *desk) auditSample() error {
	sites, q, err := run(d, "audit_sample", d.months(), func(scan func(...any) error, r *drawnSite) error {
		return scan(&r.draw, &r.sample, &r.month, &r.measure, &r.site, &r.chance, &r.frame, &r.drawn, &r.cameBack, &r.undecided, &r.faults)
	})
	if err != nil {
		return err
	}
	if d.book.AuditSample, err = weighSamples(sites, d.book.Floor); err != nil {
		return fmt.Errorf("analysis audit_sample: %w", err)
	}
	d.conclude(q, d.book.AuditSample)
	return nil
}

// weighSamples makes a row of every sample and measure, in the order in which they were drawn, after those
// of all months together.
func weighSamples(sites []drawnSite, floor int) ([]AuditSampleRow, error) {
	rows := []AuditSampleRow{}
	for _, measure := range []string{Disagreement, Missed} {
		pooled := firstOfEachMonth(sites, measure)
		if len(pooled) == 0 {
			continue
		}
		row, err := weighSample(AuditSampleRow{Sample: AllSamples, Measure: measure}, pooled, floor)
		if err != nil {
			return nil, err
		}
		rows = append(rows, row)
	}
	for start := 0; start < len(sites); {
		end, first := start, sites[start]
		for end < len(sites) && sites[end].draw == first.draw && sites[end].measure == first.measure {
			end++
		}
		row, err := weighSample(AuditSampleRow{Sample: first.sample, Month: first.month, Measure: first.measure}, sites[start:end], floor)
		if err != nil {
			return nil, err
		}
		rows, start = append(rows, row), end
	}
	return rows, nil
}

// firstOfEachMonth are the points of the first sample of every month, by site.
func firstOfEachMonth(sites []drawnSite, measure string) []drawnSite {
	first := map[string]int{}
	var out []drawnSite
	for _, s := range sites { // in the order in which they were drawn
		if _, ok := first[s.month]; !ok {
			first[s.month] = s.draw
		}
		if s.measure == measure && s.draw == first[s.month] {
			out = append(out, s)
		}
	}
	slices.SortStableFunc(out, func(a, b drawnSite) int {
		return cmp.Or(strings.Compare(a.site, b.site), strings.Compare(a.month, b.month))
	})
	return out
}

// weighSample adds up the points of one sample, which come site by site.
func weighSample(r AuditSampleRow, sites []drawnSite, floor int) (AuditSampleRow, error) {
	var answers weighted
	var drawn, open, faults float64
	var number int64
	for i, s := range sites {
		if i > 0 && s.site != sites[i-1].site {
			number++
		}
		weight := 1 / s.chance
		r.Frame, r.Drawn, r.CameBack, r.Undecided, r.Faults = r.Frame+s.frame, r.Drawn+s.drawn, r.CameBack+s.cameBack, r.Undecided+s.undecided, r.Faults+s.faults
		answers.add(number, s.cameBack, s.faults, weight)
		drawn += weight * float64(s.drawn)
		open += weight * float64(s.drawn-s.cameBack)
		faults += weight * float64(s.faults)
	}
	r.Outstanding = r.Drawn - r.CameBack - r.Undecided
	rate, err := answers.rate(floor)
	if err != nil {
		return r, fmt.Errorf("sample %s, %s: %w", r.Sample, r.Measure, err)
	}
	r.Rate, r.Low, r.High, r.NEffective, r.WhyNot = Figure(rate.Value), Figure(rate.Low), Figure(rate.High), Figure(rate.effective), rate.whyNot
	r.RateIfNone, r.RateIfAll, r.Total = Unknown, Unknown, Unknown
	if r.Drawn > 0 {
		r.RateIfNone, r.RateIfAll = Figure(faults/drawn), Figure((faults+open)/drawn)
	}
	if r.Drawn > 0 && r.Drawn == r.CameBack {
		r.Total = Figure(faults)
	}
	if 2*r.CameBack < r.Drawn {
		r.WhyNot = "most drawn points have not come back"
	}
	r.Enough = r.WhyNot == ""
	return r, nil
}
