package people

import (
	"fmt"
	"math"
	"runtime"

	"golang.org/x/sync/errgroup"
)

// How a technician is watched. (The house's choices, but for the weight, which is common practice, no source.)
const (
	shift       = 3.0  // times the odds of a false alarm that the sums are tuned to
	learnMonths = 4    // a technician's level is learnt over at least so many months,
	learnEvents = 4.0  // until so many false alarms were to be expected,
	guard       = 2    // and later on from all months but so many before the one at hand
	newest      = 0.2  // weight of the newest month in the average
	runLength   = 1000 // months between false signals of one technician's sums, both together
	averageRun  = 500  // the same for the average
	tailShare   = 0.2  // of simulated runs, from which limits are drawn out
)

// RunLength and AverageRunLength are how many months one technician who does not change is watched, on
// average, before the sums or the average signal.
const (
	RunLength        = runLength
	AverageRunLength = averageRun
)

// Directions in which a technician can have changed against themselves.
const (
	Up   = "up"   // more false alarms
	Down = "down" // fewer
	None = "none"
)

// Month is one technician in one month, against their own earlier level. A figure that cannot be said is
// NaN.
type Month struct {
	Technician, Month  int
	Trials, Observed   int
	Expected           float64 // false alarms at the technician's own earlier level, under the month's conditions
	Conditions         float64 // the same at the average technician's level
	Level              float64 // odds of the own level over the average technician's
	Watched            bool    // false while the level is still being learnt, or where it never could be
	Up, Down           float64 // the sums
	LimitUp, LimitDown float64
	Average, Edge      float64 // smoothed share beyond the own level, and how far it may stray
	Outside            bool    // the average is beyond its edge
	Signal             string  // Up, Down or None: which sum crossed its limit
	Since              int     // month in which the sum that signalled left 0
}

// Watch follows each technician's false alarms among verified active calls month by month, against the
// technician's own earlier level under the same conditions.
//
// The sums are risk-adjusted cumulative sums of log-likelihood ratios for odds shift times as large, and as
// small (Steiner, Cook, Farewell and Treasure 2000), each site's share divided by 1 + likeness (calls - 1).
// The average is an exponentially weighted one of what the share has beyond the level (Roberts 1959). Limits
// give the run lengths above when the months watched are simulated, runs times, at levels drawn from what was
// learnt, from a seed of the technician's number. After a signal the sums start again and the level stays that
// of the months before the change.
//
// Months come in order of technician, from the first to the last with a case.
func Watch(p Panel, runs int) ([]Month, error) {
	m := measures[1]
	t := newTally(p, m, m.conditions)
	out := blankMonths(p)
	if len(t.cells) == 0 {
		return flat(out), nil
	}
	if err := t.expect(m.conditions); err != nil {
		return nil, fmt.Errorf("watch technicians: %w", err)
	}
	var work errgroup.Group
	work.SetLimit(runtime.GOMAXPROCS(0))
	for i, d := range t.diaries(out) {
		work.Go(func() error {
			if err := d.watch(out[i], uint64(i), runs); err != nil { //nolint:gosec // a number from 0
				return fmt.Errorf("watch technician %d: %w", i, err)
			}
			return nil
		})
	}
	err := work.Wait()
	return flat(out), err
}

func flat(by [][]Month) []Month {
	var out []Month
	for _, months := range by {
		out = append(out, months...)
	}
	return out
}

// blankMonths are each technician's months from first to last.
func blankMonths(p Panel) [][]Month {
	first, last := make([]int, p.Technicians), make([]int, p.Technicians)
	for i := range first {
		first[i], last[i] = p.Months, -1
	}
	for _, c := range p.Cases {
		first[c.Technician], last[c.Technician] = min(first[c.Technician], c.Month), max(last[c.Technician], c.Month)
	}
	nan := math.NaN()
	out := make([][]Month, p.Technicians)
	for i := range out {
		for month := first[i]; month <= last[i]; month++ {
			out[i] = append(out[i], Month{Technician: i, Month: month, Expected: nan, Conditions: nan, Level: nan, Up: nan, Down: nan,
				LimitUp: nan, LimitDown: nan, Average: nan, Edge: nan, Signal: None, Since: -1})
		}
	}
	return out
}
