package instrument

import (
	"cmp"
	"math"
	"slices"

	"scanledger/queries/stats"
)

// UseVisit is one unit in one visit.
type UseVisit struct {
	Unit, Technician, Visit string
	Delay                   float64 // seconds from the start of the inspection to the unit's first reading
	Readings, Outside       int     // readings, and those before the start or after the end of the inspection
	Charged                 bool    // the battery could be read twice and did not rise in between
	Hours, Drop             float64 // from the first to the last reading of the battery, and its fall in percent
}

// Use is what readings tell of a unit's clock and battery.
type Use struct {
	Unit              string
	Visits            int            // compared: by technicians who also used other units
	Delay             stats.Estimate // median delay less the technician's own with other units, minutes
	ClockEnough       bool
	ClockOff          int // 1 late, -1 early by more than a minute beyond doubt, or 0
	Readings, Outside int
	ChargeVisits      int
	Charge            stats.Estimate // hours on one charge, at the rate seen during visits
	ChargeEnough      bool
}

// Least that is judged, and what is let pass: the house's choice. Start times are noted by hand to the
// minute.
const (
	leastVisits  = 20
	leastDrop    = 20 // percent in all
	clockMinutes = 1
)

// Uses looks at each unit's clock and battery. The delay of a visit is set against the median delay of
// the same technician with other units, since how soon one begins to read is a habit; the median of the
// differences has limits that suppose no law (Thompson 1936). Hours on one charge are 100 x hours / fall,
// summed over visits, with visits as clusters (the ratio estimator of Cochran 1977, section 6.3); a unit
// that sleeps or is charged between visits is not seen doing so. Units come out in order of their names.
func Uses(visits []UseVisit, conf float64) ([]Use, error) {
	rows := slices.SortedFunc(slices.Values(visits), func(a, b UseVisit) int {
		return cmp.Or(cmp.Compare(a.Unit, b.Unit), cmp.Compare(a.Visit, b.Visit))
	})
	habit := newHabits(rows)
	var out []Use
	for from, to := 0, 0; from < len(rows); from = to {
		for to < len(rows) && rows[to].Unit == rows[from].Unit {
			to++
		}
		u := Use{Unit: rows[from].Unit}
		if err := u.clock(rows[from:to], habit, conf); err != nil {
			return nil, err
		}
		u.charge(rows[from:to], conf)
		out = append(out, u)
	}
	return out, nil
}

// habits are the delays of technicians with each unit.
type habits map[string]map[string][]float64

func newHabits(rows []UseVisit) habits {
	h := habits{}
	for _, v := range rows {
		if h[v.Technician] == nil {
			h[v.Technician] = map[string][]float64{}
		}
		h[v.Technician][v.Unit] = append(h[v.Technician][v.Unit], v.Delay)
	}
	return h
}

// without is the technician's median delay with all units but one; ok is false where there is none.
func (h habits) without(technician, unit string) (median float64, ok bool) {
	var delays []float64
	for other, d := range h[technician] {
		if other != unit {
			delays = append(delays, d...)
		}
	}
	if len(delays) == 0 {
		return 0, false
	}
	slices.Sort(delays)
	return (delays[(len(delays)-1)/2] + delays[len(delays)/2]) / 2, true
}

func (u *Use) clock(visits []UseVisit, habit habits, conf float64) error {
	usual := map[string]float64{}
	var gaps []float64
	for _, v := range visits {
		u.Readings += v.Readings
		u.Outside += v.Outside
		m, known := usual[v.Technician]
		if !known {
			var ok bool
			if m, ok = habit.without(v.Technician, u.Unit); !ok {
				m = math.NaN()
			}
			usual[v.Technician] = m
		}
		if !math.IsNaN(m) {
			gaps = append(gaps, (v.Delay-m)/60)
		}
	}
	u.Visits = len(gaps)
	u.Delay = stats.Estimate{Value: math.NaN(), Low: math.NaN(), High: math.NaN(), Conf: conf}
	if len(gaps) == 0 {
		return nil
	}
	var err error
	u.Delay, err = stats.Median(gaps, conf)
	u.ClockEnough = len(gaps) >= leastVisits
	switch {
	case !u.ClockEnough:
	case u.Delay.Low > clockMinutes:
		u.ClockOff = 1
	case u.Delay.High < -clockMinutes:
		u.ClockOff = -1
	}
	return err
}

func (u *Use) charge(visits []UseVisit, conf float64) {
	hours, drop := 0.0, 0.0
	for _, v := range visits {
		if v.Charged {
			u.ChargeVisits++
			hours, drop = hours+v.Hours, drop+v.Drop
		}
	}
	ratio := hours / drop
	u.Charge = stats.Estimate{Value: 100 * ratio, Low: math.NaN(), High: math.NaN(), Conf: conf, N: u.ChargeVisits}
	u.ChargeEnough = u.ChargeVisits >= leastVisits && drop >= leastDrop && hours > 0
	if !u.ChargeEnough {
		u.Charge.Value = math.NaN()
		return
	}
	squares := 0.0
	for _, v := range visits {
		if v.Charged {
			gap := v.Hours - ratio*v.Drop
			squares += gap * gap
		}
	}
	n := float64(u.ChargeVisits)
	spread := math.Sqrt(n/(n-1)*squares) / hours // of the logarithm
	u.Charge.Low, u.Charge.High = u.Charge.Value*math.Exp(-watchZ*spread), u.Charge.Value*math.Exp(watchZ*spread)
}
