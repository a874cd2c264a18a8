package dashboards

import (
	"fmt"
	"slices"
	"strings"

	"scanledger/queries"
)

func adviceSection(b *queries.Book, biz Business) Section {
	rows := guided(b, "material+gain")
	s := Section{
		ID: "advice", Heading: adviceHeading(b, rows),
		Sub: "Points found active, and points found not active, that had shown movement by each step when the gain was stepped up to it, with 95% intervals; " +
			"and the expected cost of 100 points stepped up to it. Where it says not enough, there are too few points or the interval is too wide to show.",
		Source: sourceOf(b, "gain_guidance", ""),
		Margin: []Note{costNote(biz)},
	}
	if len(rows) > 0 {
		s.Tables = append(s.Tables, advisedTable(b, biz, rows))
	}
	for _, m := range materialsOf(rows) {
		if stepWith(rows, m, queries.LowestCost) != nil {
			s.Tables = append(s.Tables, steppingTable(b, biz, m, rows))
		}
	}
	return s
}

// stepWith is the step of a material whose advice begins with the words; nil without one.
func stepWith(rows []queries.GuidanceRow, material, words string) *queries.GuidanceRow {
	i := slices.IndexFunc(rows, func(r queries.GuidanceRow) bool { return r.Material == material && strings.HasPrefix(r.Advice, words) })
	if i < 0 {
		return nil
	}
	return &rows[i]
}

// adviceHeading says whether any two steps differ in cost beyond their intervals.
func adviceHeading(b *queries.Book, rows []queries.GuidanceRow) string {
	var advised int
	var apart []string
	for _, m := range materialsOf(rows) {
		low := stepWith(rows, m, queries.LowestCost)
		if low == nil {
			continue
		}
		advised++
		if slices.ContainsFunc(rows, func(r queries.GuidanceRow) bool {
			return r.Material == m && r.SteppingEnough() && r.SteppingCostLow > low.SteppingCostHigh
		}) {
			apart = append(apart, b.Labels.Material(m))
		}
	}
	switch {
	case advised == 0:
		return "There is not enough to say which step costs least"
	case len(apart) == 0:
		return "Where costs can be compared, steps cost about the same: their intervals overlap"
	}
	return "Some steps cost more than the lowest beyond what chance gives: " + strings.Join(apart, ", ")
}

// advisedTable answers for every material: the step of lowest cost, what it rests on, or that there is
// not enough to say.
func advisedTable(b *queries.Book, biz Business, rows []queries.GuidanceRow) Table {
	t := Table{ID: "advised-table", Caption: "Advice by material, with figures of the step of lowest cost",
		Columns: append([]Column{{Head: "Material"}, {Head: "Lowest cost"}, {Head: "Next best"}, {Head: "House's range"}, costColumn(biz)}, steppingColumns[1:3]...)}
	for _, m := range materialsOf(rows) {
		low := stepWith(rows, m, queries.LowestCost)
		if low == nil {
			t.Rows = append(t.Rows, unadvised(b, m, rows, len(t.Columns)))
			continue
		}
		cells := []Cell{text(b.Labels.Material(m)), text(advisedStep(low)), text(nextStep(stepWith(rows, m, queries.NextBest), low)), text(houseRange(low)),
			costCell(low.SteppingCost, low.SteppingCostLow, low.SteppingCostHigh, true)}
		t.Rows = append(t.Rows, Row{Cells: append(cells, steppingCells(*low)[1:3]...)})
	}
	return t
}

// unadvised is the row of a material without a step of lowest cost.
func unadvised(b *queries.Book, material string, rows []queries.GuidanceRow, columns int) Row {
	words, row := queries.NotEnough, rows[slices.IndexFunc(rows, func(r queries.GuidanceRow) bool { return r.Material == material })]
	if stepWith(rows, material, queries.CostsNotSet) != nil {
		words = queries.CostsNotSet
	}
	cells := make([]Cell, columns)
	cells[0], cells[1], cells[3] = text(b.Labels.Material(material)), text(words), text(houseRange(&row))
	return Row{Held: true, Cells: cells}
}

func advisedStep(r *queries.GuidanceRow) string {
	if r.InHouseRange != nil && !*r.InHouseRange {
		return fmt.Sprintf("gain %d, outside the range", r.Gain)
	}
	return fmt.Sprintf("gain %d", r.Gain)
}

func nextStep(next, lowest *queries.GuidanceRow) string {
	switch {
	case next == nil:
		return ""
	case next.SteppingCostLow <= lowest.SteppingCostHigh:
		return fmt.Sprintf("gain %d, about the same", next.Gain)
	}
	return fmt.Sprintf("gain %d", next.Gain)
}

// houseRange names the house's range of the material.
func houseRange(r *queries.GuidanceRow) string {
	switch low, high := r.HouseLow, r.HouseHigh; {
	case low != nil && high != nil:
		return fmt.Sprintf("%d to %d", *low, *high)
	case low != nil:
		return fmt.Sprintf("%d and above", *low)
	case high != nil:
		return fmt.Sprintf("up to %d", *high)
	}
	return "none given"
}

// steppingTable compares the steps of a material that has one of lowest cost.
func steppingTable(b *queries.Book, biz Business, material string, rows []queries.GuidanceRow) Table {
	low := stepWith(rows, material, queries.LowestCost)
	t := Table{ID: "advice-" + material, Caption: b.Labels.Material(material) + ", step by step; house's range: " + houseRange(low),
		Columns: slices.Concat(steppingColumns, []Column{costColumn(biz), {Head: "Advice"}})}
	for _, r := range rows {
		if r.Material != material || r.PointsStepped() == 0 {
			continue
		}
		advice, _, _ := strings.Cut(r.Advice, ";")
		t.Rows = append(t.Rows, Row{Held: !r.SteppingEnough(), Cells: append(steppingCells(r),
			costCell(r.SteppingCost, r.SteppingCostLow, r.SteppingCostHigh, r.SteppingEnough()), text(advice))})
	}
	return t
}
