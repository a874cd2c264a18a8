package queries

import (
	"fmt"
	"slices"

	"scanledger/queries/patterns"
	"scanledger/transform/engine"
)

// partsOf takes a pattern apart by what was found, by technician and by month. What lies outside it is added
// once it has been counted.
func partsOf(checked []checkedCall, p patterns.Pattern, direction string, f FoundPattern) ([]BreakdownRow, error) {
	var out []BreakdownRow
	row := func(by, value string) BreakdownRow {
		return BreakdownRow{Direction: direction, Pattern: f.Number, Factors: f.Factors, By: by, Value: value, Expected: Unknown, Share: Unknown, OtherShare: Unknown}
	}
	found := map[string]int64{}
	for _, i := range p.Members {
		if checked[i].wrong {
			found[checked[i].found]++
		}
	}
	for _, value := range sortedKeys(found) {
		r := row("found", value)
		r.Checked, r.Wrong, r.Share = found[value], found[value], share(found[value], f.Wrong)
		out = append(out, r)
	}
	for _, by := range []struct {
		name string
		of   func(c *checkedCall) string
	}{{"month", func(c *checkedCall) string { return c.month }}, {"quarter", (*checkedCall).quarter}, {"technician_id", (*checkedCall).technician}} {
		sums, names := tallyBy(checked, p, by.of)
		for _, name := range names {
			r, t := row(by.name, name), sums[name]
			low, high, err := byChance(t.chances)
			if err != nil {
				return nil, err
			}
			r.ByChanceLow, r.ByChanceHigh = &low, &high
			r.Checked, r.Wrong, r.Expected, r.Share = int64(len(t.chances)), int64(t.wrong), Figure(t.expected()), share(int64(t.wrong), f.Wrong)
			out = append(out, r)
		}
	}
	return out, nil
}

func sortedKeys(m map[string]int64) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// patternBreakdown sets the parts of every pattern beside all other calls.
func (d *desk) patternBreakdown() error {
	type counted struct {
		call, by, value string
		checked, wrong  int64
	}
	all, q, err := run(d, "pattern_breakdown", append(d.months(), engine.Arg("active_parts", d.parts(true)), engine.Arg("clear_parts", d.parts(false))), func(scan func(...any) error, r *counted) error {
		return scan(&r.call, &r.by, &r.value, &r.checked, &r.wrong)
	})
	if err != nil {
		return err
	}
	totals, wrong := map[string]counted{}, map[string]int64{}
	directions := map[string]string{"active": "false_alarms", "clear": "missed"}
	for _, r := range all {
		totals[fmt.Sprint(directions[r.call], " ", r.by, " ", r.value)] = r
		if r.by == "month" {
			wrong[directions[r.call]] += r.wrong
		}
	}
	for i := range d.takeApart {
		r := &d.takeApart[i]
		total := totals[fmt.Sprint(r.Direction, " ", r.By, " ", r.Value)]
		r.OtherChecked, r.OtherWrong = total.checked-r.Checked, total.wrong-r.Wrong
		if r.By == "found" {
			r.OtherChecked = r.OtherWrong
		}
		r.OtherShare = share(r.OtherWrong, wrong[r.Direction]-d.patternWrong(r.Direction, r.Pattern))
	}
	d.book.Breakdown = d.takeApart
	d.conclude(q, d.takeApart)
	return nil
}

// patternWrong is how many wrong calls a pattern has.
func (d *desk) patternWrong(direction string, number int) int64 {
	found := d.book.FalseAlarmPatterns
	if direction == "missed" {
		found = d.book.MissedPatterns
	}
	return found.Patterns[number-1].Wrong
}
