package people

import (
	"fmt"
	"math"

	"scanledger/queries/stats"
)

// Habit is a technician's readings of one day with one unit at one gain step, and what was found of the
// points they decided. Technician, month and unit are numbers from 0.
type Habit struct {
	Technician, Month, Unit, Gain int
	Readings, Holds, HoldTenths   int // Holds: readings with a hold time noted; HoldTenths: their sum in tenths of a second
	Found, Missed                 int // points later found active; those of them called clear
}

// Ways are how readings were made over some months. A figure that cannot be said is NaN.
type Ways struct {
	Readings  int
	Gain      float64 // mean step
	Hold      float64 // mean seconds
	Unit      int     // used most, -1 without readings; the lowest number of equals
	UnitShare float64 // of readings
	gains     []int   // readings by step
	units     []int   // readings by unit
}

// share of readings that were with a unit.
func (w Ways) share(unit int) float64 {
	if unit < 0 || unit >= len(w.units) {
		return 0
	}
	return float64(w.units[unit]) / float64(w.Readings)
}

// WaysOf sums up a technician's readings from one month to another, both included.
func WaysOf(habits []Habit, technician, from, to int) Ways {
	w := Ways{Gain: math.NaN(), Hold: math.NaN(), UnitShare: math.NaN(), Unit: -1}
	steps, holds, tenths := 0, 0, 0
	for _, h := range habits {
		if h.Technician != technician || h.Month < from || h.Month > to {
			continue
		}
		w.Readings += h.Readings
		w.gains, w.units = added(w.gains, h.Gain, h.Readings), added(w.units, h.Unit, h.Readings)
		steps, holds, tenths = steps+h.Gain*h.Readings, holds+h.Holds, tenths+h.HoldTenths
	}
	if w.Readings > 0 {
		w.Gain = float64(steps) / float64(w.Readings)
		for unit, n := range w.units {
			if w.Unit < 0 || n > w.units[w.Unit] {
				w.Unit = unit
			}
		}
		w.UnitShare = w.share(w.Unit)
	}
	if holds > 0 {
		w.Hold = float64(tenths) / 10 / float64(holds)
	}
	return w
}

// added adds n at a place of counts, which grow as needed.
func added(counts []int, at, n int) []int {
	for len(counts) <= at {
		counts = append(counts, 0)
	}
	counts[at] += n
	return counts
}

// GainDistance tells how far apart the gain mixes of two spans are: the Jensen-Shannon distance, 0 to 1, or
// NaN where either has no readings.
func GainDistance(a, b Ways) (float64, error) {
	if a.Readings == 0 || b.Readings == 0 {
		return math.NaN(), nil
	}
	n := max(len(a.gains), len(b.gains)) - 1
	d, err := stats.DistanceOfMixes(stats.Shares(added(a.gains, n, 0)), stats.Shares(added(b.gains, n, 0)))
	return stats.JensenShannonDistance(d.JensenShannon), err
}

// What stands out between two spans. (The house's choice: about what a colleague beside them would notice.)
const (
	gainStep  = 0.5  // of a mean step
	unitShift = 0.25 // of readings, to or from one unit
	holdShift = 0.25 // of the mean hold time
)

// Changed says which of gain, unit and hold time stand out between two spans.
func Changed(before, since Ways) (gain, unit, hold bool) {
	gain = math.Abs(since.Gain-before.Gain) >= gainStep
	unit = math.Max(since.UnitShare-before.share(since.Unit), before.UnitShare-since.share(before.Unit)) >= unitShift
	hold = math.Abs(since.Hold-before.Hold) >= holdShift*before.Hold
	return gain, unit, hold
}

// Gap is the latest missed point of a technician in a month: how many points found active they had called
// active since the missed one before.
type Gap struct {
	Technician, Month, Missed int
	Gap, Low, High            int  // Low and High: the geometric distribution's tails of three normal standard deviations
	Judged                    bool // false with fewer than leastGaps gaps, and Low and High 0
	Outside                   bool
}

// leastGaps is how many gaps a technician's own distribution takes. (The house's choice.)
const leastGaps = 5

// Gaps makes the g chart of each technician's missed points (Benneyan 2001) from habits in order of
// technician and day: one entry a month with a missed point. Points of one day count before its missed ones.
func Gaps(habits []Habit) ([]Gap, error) {
	var out []Gap
	for start := 0; start < len(habits); {
		end := start
		for end < len(habits) && habits[end].Technician == habits[start].Technician {
			end++
		}
		own, err := gapsOf(habits[start:end])
		if err != nil {
			return nil, fmt.Errorf("missed points of technician %d: %w", habits[start].Technician, err)
		}
		out = append(out, own...)
		start = end
	}
	return out, nil
}

func gapsOf(habits []Habit) ([]Gap, error) {
	var out []Gap
	var gaps []int
	since := 0
	for _, h := range habits {
		since += h.Found - h.Missed
		if h.Missed == 0 {
			continue
		}
		if len(out) == 0 || out[len(out)-1].Month != h.Month {
			out = append(out, Gap{Technician: h.Technician, Month: h.Month})
		}
		for range h.Missed {
			gaps = append(gaps, since)
			since = 0
		}
		last := &out[len(out)-1]
		last.Missed, last.Gap = last.Missed+h.Missed, gaps[len(gaps)-1]
	}
	if len(gaps) < leastGaps {
		return out, nil
	}
	chart, err := stats.NewGChart(gaps, 3)
	if err != nil {
		return nil, err
	}
	for i := range out {
		g := &out[i]
		g.Judged, g.Low, g.High = true, chart.Quantiles[0], chart.Quantiles[2]
		g.Outside = g.Gap < g.Low || g.Gap > g.High
	}
	return out, nil
}
