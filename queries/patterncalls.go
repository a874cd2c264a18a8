package queries

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"scanledger/queries/patterns"
	"scanledger/queries/stats"
	"scanledger/transform/engine"
)

// checkedCall is one call that a decisive finding tells about.
type checkedCall struct {
	inspection, point, site, date, month, found string
	wrong                                       bool
	kinds                                       []string  // by kindFactors
	numbers                                     []float64 // by numberFactors; NaN: not known
}

func (c *checkedCall) technician() string { return c.kinds[slices.Index(kindFactors, "technician_id")] }

// quarter is the quarter of the year of the call's month, as 2026-Q3.
func (c *checkedCall) quarter() string {
	year, month, _ := strings.Cut(c.month, "-")
	n, err := strconv.Atoi(month)
	if err != nil {
		return c.month
	}
	return fmt.Sprintf("%s-Q%d", year, (n+2)/3)
}

// mostSearched is about how many checked calls are searched for patterns. Of more, those at some of the sites are taken, at random
// as site_key is; a pattern that does not show among so many is of no use to anyone. (House's choice.)
const mostSearched = 50_000

// parts says that the checked active calls, or the clear ones that nobody called active, are searched at one site in so many.
func (d *desk) parts(active bool) int64 {
	var checked int64
	for _, r := range d.book.Weights {
		if call, _, _ := strings.Cut(r.Call, ","); call == "active" && active || r.Call == "clear" && !active {
			checked += r.Verified
		}
	}
	return max(1, (checked+mostSearched-1)/mostSearched)
}

// partly says which calls were searched, in words to put behind "calls"; nothing where all were.
func partly(parts int64) string {
	if parts == 1 {
		return ""
	}
	return fmt.Sprintf(" at one site in %d, drawn at random", parts)
}

// readCalls reads the calls of a pattern query.
func readCalls(d *desk, query string, parts int64) ([]checkedCall, Query, error) {
	return run(d, query, append(d.months(), engine.Arg("parts", parts)), func(scan func(...any) error, c *checkedCall) error {
		to := []any{&c.inspection, &c.point, &c.site, &c.date, &c.month, &c.wrong, &c.found}
		c.kinds, c.numbers = make([]string, len(kindFactors)), make([]float64, len(numberFactors))
		known := make([]*float64, len(numberFactors))
		for i := range c.kinds {
			to = append(to, &c.kinds[i])
		}
		for i := range known {
			to = append(to, &known[i])
		}
		err := scan(to...)
		for i, x := range known {
			c.numbers[i] = math.NaN()
			if x != nil {
				c.numbers[i] = *x
			}
		}
		return err
	})
}

// Cuts of the numbers, where they are not the values that occur. (House's choice.)
var (
	windCuts    = []float64{10, 15, 20, 25, 30, 35, 40, 45, 50, 55, 60} // km/h
	shareCuts   = []float64{0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1}
	serviceCuts = []float64{180, 365, 545, 730, 1095} // days
)

// callsToSearch lays the calls out by factor.
func callsToSearch(checked []checkedCall) patterns.Calls {
	calls := patterns.Calls{}
	calls.Wrong, calls.Site = wrongBySite(checked)
	for k, name := range kindFactors {
		values := make([]string, len(checked))
		for i, c := range checked {
			values[i] = c.kinds[k]
		}
		factor := patterns.Kinds(name, values, valuesOf(values))
		switch name {
		case "gain":
			gains := numbersOf(checked, name)
			factor = factor.OrMore(gains, stepsOf(gains), orMore)
		case "rain":
			factor = factor.OrMore(wetness(values), []float64{1}, func(float64) string { return "light or heavy" })
		}
		calls.Factors = append(calls.Factors, factor)
	}
	none := make([]string, len(checked))
	for _, n := range []struct {
		name string
		cuts []float64
	}{{"gain_share", shareCuts}, {"wind_band", windCuts}, {"days_since_service", serviceCuts}} {
		calls.Factors = append(calls.Factors, patterns.Kinds(n.name, none, nil).OrMore(numbersOf(checked, n.name), n.cuts, orMore))
	}
	return calls
}

// wrongBySite says which calls were wrong, and numbers their sites; calls come by site.
func wrongBySite(checked []checkedCall) (wrong []bool, site []int) {
	wrong, site = make([]bool, len(checked)), make([]int, len(checked))
	for i, c := range checked {
		wrong[i] = c.wrong
		if i > 0 {
			site[i] = site[i-1]
			if c.site != checked[i-1].site {
				site[i]++
			}
		}
	}
	return wrong, site
}

func orMore(cut float64) string { return strconv.FormatFloat(cut, 'g', -1, 64) + " or more" }

func numbersOf(checked []checkedCall, name string) []float64 {
	k := slices.Index(numberFactors, name)
	out := make([]float64, len(checked))
	for i, c := range checked {
		out[i] = c.numbers[k]
	}
	return out
}

// valuesOf lists the values that occur, in order, less those that say nothing.
func valuesOf(values []string) []string {
	out := slices.Compact(slices.Sorted(slices.Values(values)))
	return slices.DeleteFunc(out, func(v string) bool { return v == "" || v == "unknown" })
}

// stepsOf lists the gain steps that occur but the lowest, above which everything lies.
func stepsOf(gains []float64) []float64 {
	steps := slices.Compact(slices.Sorted(slices.Values(gains)))
	return steps[min(1, len(steps)):]
}

// wetness is 1 for any rain, 0 for none and NaN where it was not noted.
func wetness(rain []string) []float64 {
	out := make([]float64, len(rain))
	for i, r := range rain {
		switch r {
		case "light", "heavy":
			out[i] = 1
		case "none":
		default:
			out[i] = math.NaN()
		}
	}
	return out
}

// patternInterval is the share of wrong calls among a pattern's, with the sites they come from as clusters.
func patternInterval(checked []checkedCall, members []int, floor int) (ClusterRate, error) {
	var sizes, wrong []int
	if len(members) == 0 {
		return clusterRate(stats.ClusterSums{}, floor)
	}
	for k, i := range members {
		if k == 0 || checked[i].site != checked[members[k-1]].site {
			sizes, wrong = append(sizes, 0), append(wrong, 0)
		}
		sizes[len(sizes)-1]++
		if checked[i].wrong {
			wrong[len(wrong)-1]++
		}
	}
	sums, err := stats.SumClusters(sizes, wrong)
	if err != nil {
		return ClusterRate{}, err
	}
	return clusterRate(sums, floor)
}

// examplesOf are the newest wrong calls of a pattern, of different inspections.
func examplesOf(checked []checkedCall, members []int) []Example {
	var wrong []checkedCall
	for _, i := range members {
		if checked[i].wrong {
			wrong = append(wrong, checked[i])
		}
	}
	slices.SortStableFunc(wrong, func(a, b checkedCall) int { return strings.Compare(b.date, a.date) })
	var out []Example
	for _, c := range wrong {
		if len(out) < patternExamples && !slices.ContainsFunc(out, func(e Example) bool { return e.InspectionID == c.inspection }) {
			out = append(out, Example{c.inspection, c.point, c.date})
		}
	}
	return out
}

const patternExamples = 3

func examplesText(look []Example) string {
	parts := make([]string, len(look))
	for i, e := range look {
		parts[i] = fmt.Sprintf("%s/%s", e.InspectionID, e.PointID)
	}
	return strings.Join(parts, "; ")
}
