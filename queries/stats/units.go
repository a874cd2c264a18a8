package stats

import (
	"errors"
	"fmt"
)

// MaxEvents bounds one count of events or trials: far above a century of inspections, low enough
// that sums of counts stay exact in float64.
const MaxEvents = 1_000_000_000

func checkAllCounts(name string, counts []int) error {
	for i, c := range counts {
		if c < 0 || c > MaxEvents {
			return fmt.Errorf("%s: value %d is %d: give counts from 0 to %d", name, i+1, c, MaxEvents)
		}
	}
	return nil
}

// checkUnits holds events and totals to one entry per unit, each unit with trials.
func checkUnits(events, totals []int) error {
	if len(events) == 0 || len(events) != len(totals) {
		return fmt.Errorf("%d events and %d totals: give one of each per unit", len(events), len(totals))
	}
	if err := errors.Join(checkAllCounts("events", events), checkAllCounts("totals", totals)); err != nil {
		return err
	}
	for i, n := range totals {
		if n == 0 {
			return fmt.Errorf("unit %d has no trials: leave it out", i+1)
		}
		if events[i] > n {
			return fmt.Errorf("unit %d has %d events in %d trials: events cannot exceed trials", i+1, events[i], n)
		}
	}
	return nil
}

func sumOf(counts []int) int {
	total := 0
	for _, c := range counts {
		total += c
	}
	return total
}

func floatsOf(counts []int) []float64 {
	out := make([]float64, len(counts))
	for i, c := range counts {
		out[i] = float64(c)
	}
	return out
}
