package queries

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"scanledger/queries/stats"
)

// Standings of a technician. TooFew rows are not judged.
const (
	InLine = "in_line"
	Watch  = "watch"
	Act    = "act"
)

// ConsistencyRow compares one technician with all the others on one measure.
type ConsistencyRow struct {
	TechnicianID  string `json:"technician_id"`
	Measure       string `json:"measure"`
	Opportunities int64  `json:"opportunities"`
	Observed      int64  `json:"observed"`
	Expected      Figure `json:"expected"`
	Rate          Figure `json:"rate"`
	Ratio         Figure `json:"ratio"`
	Low           Figure `json:"low"`
	High          Figure `json:"high"`
	Z             Figure `json:"z"`
	P             Figure `json:"p"`
	Q             Figure `json:"q"`
	Enough        bool   `json:"enough"`
	Standing      string `json:"standing"`
}

func (d *desk) consistency() error {
	rows, q, err := run(d, "technician_consistency", d.months(), func(scan func(...any) error, r *ConsistencyRow) error {
		return scan(&r.TechnicianID, &r.Measure, &r.Opportunities, &r.Observed)
	})
	if err != nil {
		return err
	}
	for start := 0; start < len(rows); {
		end := start
		for end < len(rows) && rows[end].Measure == rows[start].Measure {
			end++
		}
		if err := compareTechnicians(rows[start:end], int64(d.book.Floor)); err != nil {
			return fmt.Errorf("analysis technician_consistency, %s: %w", rows[start].Measure, err)
		}
		start = end
	}
	d.book.Consistency = rows
	d.conclude(q, rows)
	return nil
}

// compareTechnicians fills the figures of all technicians on one measure.
func compareTechnicians(rows []ConsistencyRow, floor int64) error {
	var observed, opportunities int64
	for _, r := range rows {
		observed += r.Observed
		opportunities += r.Opportunities
	}
	p := make([]float64, len(rows))
	for i := range rows {
		r := &rows[i]
		r.Enough = r.Opportunities >= floor
		if err := r.compare(observed-r.Observed, opportunities-r.Opportunities); err != nil {
			return fmt.Errorf("technician %s: %w", r.TechnicianID, err)
		}
		p[i] = math.NaN() // not judged, so not counted among the tests
		if r.Enough {
			p[i] = float64(r.P)
		}
	}
	adjusted, err := stats.AdjustPValues(p)
	if err != nil {
		return err
	}
	for i := range rows {
		rows[i].Q = Figure(adjusted.BenjaminiHochberg[i])
	}
	return nil
}

// compare sets a technician against the others' observed count among their opportunities.
func (r *ConsistencyRow) compare(others, otherOpportunities int64) error {
	r.Standing = InLine
	r.Expected, r.Ratio, r.Low, r.High, r.Z, r.P = Unknown, Unknown, Unknown, Unknown, Unknown, Unknown
	r.Rate = share(r.Observed, r.Opportunities)
	rate := share(others, otherOpportunities)
	if r.Opportunities == 0 || !rate.Known() {
		return nil
	}
	r.Expected = rate * Figure(r.Opportunities)
	if r.Expected > 0 {
		ratio, err := stats.ObservedToExpected(int(r.Observed), float64(r.Expected), Confidence)
		if err != nil {
			return err
		}
		r.Ratio, r.Low, r.High = Figure(ratio.Ratio), Figure(ratio.ExactRatio.Low), Figure(ratio.ExactRatio.High)
	}
	pooled := float64(r.Observed+others) / float64(r.Opportunities+otherOpportunities)
	se := math.Sqrt(pooled * (1 - pooled) * (1/float64(r.Opportunities) + 1/float64(otherOpportunities)))
	if se > 0 {
		r.Z = Figure(float64(r.Rate-rate) / se)
		r.P = Figure(2 * distuv.UnitNormal.Survival(math.Abs(float64(r.Z))))
	}
	if !r.Enough {
		return nil
	}
	limits, err := stats.BinomialLimits(float64(rate), int(r.Opportunities))
	if err != nil {
		return err
	}
	r.Standing = standing(float64(r.Rate), limits)
	return nil
}

func standing(rate float64, l stats.FunnelLimits) string {
	switch {
	case rate < l.Low998 || rate > l.High998:
		return Act
	case rate < l.Low95 || rate > l.High95:
		return Watch
	}
	return InLine
}
