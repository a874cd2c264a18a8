package instrument

import (
	"cmp"
	"math"
	"slices"

	"scanledger/queries/stats"
)

// LevelMonth is the median level of a unit's control readings at one gain step in one month.
type LevelMonth struct {
	Unit, Month string
	Gain        int
	Readings    int
	Median      float64 // percent of full scale
}

// Drift says whether the level a unit shows on places known to be clear moves over the months.
type Drift struct {
	Unit         string
	Gain         int // the step with the most months
	Readings     int // control readings at that step, in the months used
	Months       int // with enough of them
	Slope        stats.Estimate
	P, Q         float64 // of no steady rise or fall; Q over the units judged
	Enough       bool
	RisesOrFalls int // 1, -1, or 0 where chance may do it
}

// Least for a trend of levels: the house's choice. With eight months the rank test is near its law.
const (
	leastControls = 3
	leastMonths   = 8
	driftFDR      = 0.05
)

// LevelDrift tests each unit's months for a steady rise or fall (Mann 1945; Kendall 1975) with the slope of
// Sen (1968) in percent of full scale a month. Months without enough control readings are passed over, so
// a slope is per month with readings. Units come out in order of their names.
func LevelDrift(months []LevelMonth, conf float64) ([]Drift, error) {
	rows := slices.SortedFunc(slices.Values(months), func(a, b LevelMonth) int {
		return cmp.Or(cmp.Compare(a.Unit, b.Unit), cmp.Compare(a.Gain, b.Gain), cmp.Compare(a.Month, b.Month))
	})
	var out []Drift
	for from, to := 0, 0; from < len(rows); from = to {
		for to < len(rows) && rows[to].Unit == rows[from].Unit {
			to++
		}
		d, err := driftOf(rows[from:to], conf)
		if err != nil {
			return nil, err
		}
		out = append(out, d)
	}
	return out, judgeDrift(out)
}

func driftOf(unit []LevelMonth, conf float64) (Drift, error) {
	best := Drift{Unit: unit[0].Unit, P: math.NaN(), Q: math.NaN(), Slope: stats.Estimate{Value: math.NaN(), Low: math.NaN(), High: math.NaN(), Conf: conf}}
	var medians []float64
	for from, to := 0, 0; from < len(unit); from = to {
		var at []float64
		readings := 0
		for to < len(unit) && unit[to].Gain == unit[from].Gain {
			if unit[to].Readings >= leastControls {
				at = append(at, unit[to].Median)
				readings += unit[to].Readings
			}
			to++
		}
		if len(at) > len(medians) {
			medians = at
			best.Gain, best.Readings, best.Months = unit[from].Gain, readings, len(at)
		}
	}
	if best.Months < leastMonths {
		return best, nil
	}
	test, err := stats.MannKendall(medians, conf)
	best.Enough, best.P = true, test.KendallP
	best.Slope.Value, best.Slope.Low, best.Slope.High, best.Slope.N = test.Slope, test.SlopeLimits.Low, test.SlopeLimits.High, best.Months
	return best, err
}

func judgeDrift(units []Drift) error {
	if len(units) == 0 {
		return nil
	}
	var p []float64
	for _, u := range units {
		p = append(p, u.P)
	}
	adjusted, err := stats.AdjustPValues(p)
	if err != nil {
		return err
	}
	for i, q := range adjusted.BenjaminiHochberg {
		u := &units[i]
		u.Q = q
		switch {
		case !(q <= driftFDR):
		case u.Slope.Value > 0:
			u.RisesOrFalls = 1
		case u.Slope.Value < 0:
			u.RisesOrFalls = -1
		}
	}
	return nil
}

// Uses reports whether the month counts in the unit's trend.
func (d Drift) Uses(m LevelMonth) bool {
	return m.Unit == d.Unit && m.Gain == d.Gain && d.Months > 0 && m.Readings >= leastControls
}
