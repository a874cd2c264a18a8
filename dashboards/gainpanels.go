package dashboards

import (
	"fmt"
	"maps"
	"slices"
	"strconv"

	"scanledger/queries"
)

func curveSection(b *queries.Book) Section {
	t := Table{ID: "curves-table", Caption: "Chance of having shown movement, by gain", Sortable: true, Find: true, Folded: true, Columns: []Column{{Head: "Cut"}, {Head: "Points", Numeric: true}, {Head: "Steps", Numeric: true},
		{Head: "Floor", Numeric: true}, {Head: "Ceiling", Numeric: true}, {Head: "Half by gain", Numeric: true}, {Head: "90% by gain", Numeric: true}, {Head: "90% by gain, 95% sure", Numeric: true}, {Head: "Why not"}}}
	var fitted, all int64
	for _, r := range b.Curves {
		if r.By == "material+thickness_band" {
			continue // in the files
		}
		all++
		if r.Slope.Known() {
			fitted++
		}
		t.Rows = append(t.Rows, Row{Held: !r.Slope.Known(), Cells: []Cell{text(curveLabel(b, r)), count(r.Points), whole(r.GainSteps), percent(r.Floor), percent(r.Ceiling),
			decimal(r.A50, 1), decimal(r.A90, 1), decimal(r.A9095, 1), text(r.WhyNot)}})
	}
	return Section{ID: "curves", Heading: curveHeading(fitted, all),
		Sub:    "Fitted to what active points had shown by each step. A floor above zero and a ceiling below one are both expected, and no S-curve from 0 to 100% is forced.",
		Tables: []Table{t}, Source: sourceOf(b, "gain_curve", "")}
}

func curveHeading(fitted, all int64) string {
	if fitted == 0 {
		return "There is not enough to fit a curve of hits by gain"
	}
	return fmt.Sprintf("A curve of hits by gain can be fitted for %s", ofAll(fitted, all))
}

func curveLabel(b *queries.Book, r queries.CurveRow) string {
	switch {
	case r.DensityClass != nil:
		return "All " + *r.DensityClass + " materials"
	case r.Model != nil:
		return b.Labels.Material(*r.Material) + ", " + *r.Model
	}
	return b.Labels.Material(*r.Material)
}

func lossSection(b *queries.Book) Section {
	t := Table{ID: "loss-table", Caption: "Gain used and one-way wave loss", Sortable: true, Columns: []Column{{Head: "Material"}, {Head: "Model"}, {Head: "Point-visits", Numeric: true},
		{Head: "Gain used", Unit: "median", Numeric: true}, {Head: "middle half", Numeric: true}, {Head: "Thickness", Unit: "mm", Numeric: true}, {Head: "Loss", Unit: "dB per m", Numeric: true},
		{Head: "One way", Unit: "dB", Numeric: true}, {Head: "Table row"}}}
	rows, notes := slices.Clone(b.Losses), map[string]string{}
	slices.SortStableFunc(rows, byLoss)
	for _, r := range rows {
		t.Rows = append(t.Rows, Row{Cells: []Cell{text(b.Labels.Material(r.Material)), text(r.Model), count(r.PointVisits), whole(r.GainMedian),
			{Text: fmt.Sprintf("%d to %d", r.GainQ1, r.GainQ3), Class: "num"}, thickness(r.ThicknessMM), blank(r.DBPerM, 1), blank(r.LossDB, 2), text(orNone(r.TableRow))}})
		if r.Note != "" && r.TableRow != "" {
			notes[r.TableRow] = r.Note
		}
	}
	s := Section{ID: "loss", Heading: lossHeading(b.Losses),
		Sub:    "The gain of the reading that decided each point-visit, beside what the material's typical thickness takes from a wave on its way in. Materials that the table does not have are blank.",
		Tables: []Table{t}, Source: sourceOf(b, "gain_loss", "")}
	if len(rows) > 0 {
		s.Margin = []Note{{amount(queries.Figure(rows[0].Frequency), 3) + " GHz", "is the frequency the loss is worked out for: the house's choice, no fact about any device. Dry laboratory slabs; for order and rough size only."}}
	}
	for _, row := range slices.Sorted(maps.Keys(notes)) {
		s.Margin = append(s.Margin, Note{"", "Row " + row + ": " + notes[row] + "."})
	}
	return s
}

// orNone says that a material has no row in the table of losses.
func orNone(row string) string {
	if row == "" {
		return "not in the table"
	}
	return row
}

// byLoss puts the least loss first and unknown ones last.
func byLoss(a, b queries.LossRow) int {
	switch known := [2]bool{a.LossDB.Known(), b.LossDB.Known()}; {
	case known[0] != known[1]:
		if known[0] {
			return -1
		}
		return 1
	case known[0] && a.LossDB != b.LossDB:
		if a.LossDB < b.LossDB {
			return -1
		}
		return 1
	}
	return 0
}

func thickness(mm *float64) Cell {
	if mm == nil {
		return Cell{Class: "num"}
	}
	return Cell{Text: strconv.FormatFloat(*mm, 'f', -1, 64), Class: "num"}
}

// blank is decimal, with nothing where the figure is not known.
func blank(f queries.Figure, digits int) Cell {
	if !f.Known() {
		return Cell{Class: "num"}
	}
	return decimal(f, digits)
}

// lossHeading counts pairs of materials, on one model, where the one with more loss is read at more gain.
func lossHeading(rows []queries.LossRow) string {
	var more, same, less int64
	for i, a := range rows {
		for _, b := range rows[:i] {
			if a.Model != b.Model || !a.LossDB.Known() || !b.LossDB.Known() || a.LossDB == b.LossDB {
				continue
			}
			switch d := a.GainMedian - b.GainMedian; {
			case d == 0:
				same++
			case (d > 0) == (a.LossDB > b.LossDB):
				more++
			default:
				less++
			}
		}
	}
	if more+same+less == 0 {
		return "Too few materials have a wave loss to set gain against"
	}
	return fmt.Sprintf("Of %s of materials on one model, the one with more wave loss is read at more gain in %d, at the same in %d, at less in %d",
		counted(more+same+less, "pair", "pairs"), more, same, less)
}

func weightsSection(b *queries.Book) Section {
	t := Table{ID: "weights-table", Caption: "Checked point-visits and what each stands for", Sortable: true, Folded: true, Columns: []Column{{Head: "Material"}, {Head: "Call"}, {Head: "Point-visits", Numeric: true},
		{Head: "Verified", Numeric: true}, {Head: "of those active", Numeric: true}, {Head: "Each stands for", Unit: "point-visits", Numeric: true}}}
	var left int64
	for _, r := range b.Weights {
		stands := decimal(r.Weight, 1)
		if r.LeftOut {
			left++
			stands = Cell{Text: "left out", Class: "num"}
		}
		t.Rows = append(t.Rows, Row{Held: r.LeftOut, Cells: []Cell{text(b.Labels.Material(r.Material)), text(r.Call), count(r.PointVisits), count(r.Verified), count(r.Active), stands}})
	}
	return Section{ID: "weights", Heading: weightsHeading(b.Weights), Sub: "Walls are mostly opened where movement was shown. Each checked point-visit stands for all of its material and call.",
		Tables: []Table{t}, Source: sourceOf(b, "verification_weights", ""),
		Margin: []Note{{queries.Count(left), fmt.Sprintf("of %s had none checked: nothing stands for them, and they are left out.", counted(int64(len(b.Weights)), "class", "classes"))}}}
}

func weightsHeading(rows []queries.WeightRow) string {
	var most *queries.WeightRow
	for _, r := range rows {
		if r.Weight.Known() && (most == nil || r.Weight > most.Weight) {
			most = &r
		}
	}
	if most == nil {
		return "No point-visit has been checked by looking"
	}
	return fmt.Sprintf("A checked point-visit stands for up to %s others of its kind", amount(most.Weight-1, 0))
}
