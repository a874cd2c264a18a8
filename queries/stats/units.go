package stats

import "fmt"

// checkUnits holds events and totals to one entry per unit, each unit with trials.
func checkUnits(events, totals []int) error {
	if len(events) == 0 || len(events) != len(totals) {
		return fmt.Errorf("%d events and %d totals: give one of each per unit", len(events), len(totals))
	}
	for i, n := range totals {
		if n == 0 {
			return fmt.Errorf("unit %d has no trials: leave it out", i+1)
		}
	}
	return checkShares("events", events, "totals", totals)
}

func floatsOf(counts []int) []float64 {
	out := make([]float64, len(counts))
	for i, c := range counts {
		out[i] = float64(c)
	}
	return out
}
