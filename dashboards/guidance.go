package dashboards

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"scanledger/dashboards/chart"
	"scanledger/queries"
)

func guidancePage(b *queries.Book, biz Business) Page {
	return Page{
		Title:   "Gain guidance",
		Heading: guidanceHeading(b, biz),
		Lead: "What stepping the gain up shows, at points later checked by looking, and what it would cost. Every checked point stands for " +
			"those of its material and call that were not. Advice is by expected cost alone; it does not know the wall in front of you.",
		Sections: []Section{adviceSection(b, biz), hitsSection(b), falseAlarmsSection(b), readingsSection(b, biz), bandsSection(b, biz), modelsSection(b, biz),
			curveSection(b), lossSection(b), weightsSection(b)},
	}
}

func costsSet(biz Business) bool { return biz.FalseAlarmCost > 0 && biz.MissedCost > 0 }

func guided(b *queries.Book, by string) []queries.GuidanceRow {
	var out []queries.GuidanceRow
	for _, r := range b.Guidance {
		if r.By == by {
			out = append(out, r)
		}
	}
	return out
}

// materialsOf lists the materials of rows, each once, in their order.
func materialsOf(rows []queries.GuidanceRow) []string {
	var out []string
	for _, r := range rows {
		if !slices.Contains(out, r.Material) {
			out = append(out, r.Material)
		}
	}
	return out
}

func guidanceHeading(b *queries.Book, biz Business) string {
	rows := guided(b, "material+gain")
	var advised, outside int64
	for _, r := range rows {
		if strings.HasPrefix(r.Advice, queries.LowestCost) {
			advised++
			if r.InHouseRange != nil && !*r.InHouseRange {
				outside++
			}
		}
	}
	materials := counted(int64(len(materialsOf(rows))), "material", "materials")
	switch {
	case len(rows) == 0:
		return "No checked point has readings yet, so nothing can be said of gain"
	case !costsSet(biz):
		return "Without the cost of a false alarm and of a missed point, no gain step can be advised"
	case advised == 0:
		return fmt.Sprintf("On none of %s is there enough to compare gain steps by cost", materials)
	case outside == 0:
		return fmt.Sprintf("A gain step of lowest expected cost can be named on %d of %s, none of them outside the house's range", advised, materials)
	}
	return fmt.Sprintf("A gain step of lowest expected cost can be named on %d of %s, and on %d it is outside the house's range", advised, materials, outside)
}

func costNote(biz Business) Note {
	if !costsSet(biz) {
		return Note{"", "Costs are not set in the configuration, so steps are not compared."}
	}
	return Note{amount(queries.Figure(biz.MissedCost/biz.FalseAlarmCost), 1) + "×", fmt.Sprintf("what a missed point (%s) costs against a false alarm (%s), as configured.",
		money(queries.Figure(biz.MissedCost), biz), money(queries.Figure(biz.FalseAlarmCost), biz))}
}

func amount(f queries.Figure, digits int) string {
	return strconv.FormatFloat(float64(f), 'f', digits, 64)
}

// money writes an amount without cents.
func money(f queries.Figure, biz Business) string {
	return strings.TrimSpace(queries.Count(int64(float64(f)+0.5)) + " " + biz.Currency)
}

var steppingColumns = []Column{{Head: "Gain", Numeric: true}, {Head: "Active points", Numeric: true}, {Head: "Shown", Unit: "95% interval", Numeric: true},
	{Head: "Other points", Numeric: true}, {Head: "Shown", Unit: "false alarms", Numeric: true}}

// steppingCells are a row's cells under steppingColumns.
func steppingCells(r queries.GuidanceRow) []Cell {
	return []Cell{whole(r.Gain), count(r.ActiveStepped), rateCell(r.HitBy, r.HitByLow, r.HitByHigh, r.HitByEnough),
		count(r.OthersStepped), rateCell(r.FalseAlarmBy, r.FalseAlarmByLow, r.FalseAlarmByHigh, r.FalseAlarmByEnough)}
}

func costColumn(biz Business) Column {
	return Column{Head: "Cost of 100 points", Unit: biz.Currency, Numeric: true}
}

func whole(n int) Cell { return Cell{Text: strconv.Itoa(n), Class: "num"} }

func rateCell(rate, low, high queries.Figure, enough bool) Cell {
	if !enough {
		return Cell{Text: "not enough", Class: "num"}
	}
	c := percent(rate)
	c.Text += " (" + queries.Range(low, high) + ")"
	return c
}

func costCell(cost, low, high queries.Figure, enough bool) Cell {
	if !enough || !cost.Known() {
		return Cell{Text: "not known", Class: "num"}
	}
	c := decimal(cost, 0)
	c.Text = fmt.Sprintf("%s (%s to %s)", money(cost, Business{}), money(low, Business{}), money(high, Business{}))
	return c
}

// gainHeat lays out one rate of every material and gain step.
func gainHeat(b *queries.Book, frame chart.Frame, steps []float64, cell func(r queries.GuidanceRow) chart.HeatCell) chart.HeatTable {
	rows := guided(b, "material+gain")
	var gains []int
	for _, r := range rows {
		gains = append(gains, r.Gain)
	}
	slices.Sort(gains)
	gains = slices.Compact(gains)
	h := chart.HeatTable{Frame: frame, Corner: "Material", Steps: steps, EmptyWords: "not tried"}
	for _, g := range gains {
		h.Columns = append(h.Columns, "Gain "+strconv.Itoa(g))
	}
	for _, m := range materialsOf(rows) {
		line := chart.HeatRow{Label: b.Labels.Material(m), Cells: make([]chart.HeatCell, len(gains))}
		for i := range line.Cells {
			line.Cells[i].Empty = true
		}
		for _, r := range rows {
			if i, _ := slices.BinarySearch(gains, r.Gain); r.Material == m {
				line.Cells[i] = cell(r)
				line.Cells[i].Title = fmt.Sprintf("%s, gain %d: %s of %s points", line.Label, r.Gain, rateWords(line.Cells[i]), queries.Count(int64(line.Cells[i].N)))
			}
		}
		h.Rows = append(h.Rows, line)
	}
	return h
}

func rateWords(c chart.HeatCell) string {
	if !c.Enough {
		return "too few to say,"
	}
	return queries.Percent(queries.Figure(c.Rate))
}

func hitsSection(b *queries.Book) Section {
	heat := gainHeat(b, chart.Frame{ID: "hits-figure", Title: "Active points shown by each gain step", Desc: "Share of points found active that had shown movement by each gain step, by material."},
		[]float64{0.2, 0.35, 0.5, 0.65, 0.8, 0.9}, func(r queries.GuidanceRow) chart.HeatCell {
			return chart.HeatCell{Rate: float64(r.HitBy), Low: float64(r.HitByLow), High: float64(r.HitByHigh), N: int(r.ActiveStepped), Enough: r.HitByEnough, Empty: r.ActiveStepped == 0}
		})
	return Section{ID: "hits", Heading: hitsHeading(b), Sub: "Share of points found active by a decisive finding that had shown movement by the step, weighted, with 95% interval and count.",
		Figure: heat.SVG(), Source: sourceOf(b, "gain_guidance", ""), Margin: []Note{{"", "A step is hatched where there are too few points, or the interval is too wide, to show a rate."}}}
}

func hitsHeading(b *queries.Book) string {
	var low, high *queries.GuidanceRow
	for _, r := range guided(b, "material+gain") {
		if !r.HitByEnough {
			continue
		}
		if low == nil || r.HitBy < low.HitBy {
			low = &r
		}
		if high == nil || r.HitBy > high.HitBy {
			high = &r
		}
	}
	switch {
	case low == nil || low == high:
		return "Too few checked active points to compare gain steps"
	case low.HitByHigh < high.HitByLow:
		return fmt.Sprintf("What is shown of active points runs from %s (%s by gain %d) to %s (%s by gain %d)", queries.Percent(low.HitBy), b.Labels.Material(low.Material), low.Gain,
			queries.Percent(high.HitBy), b.Labels.Material(high.Material), high.Gain)
	}
	return "No step and material shows more of the active points than another, beyond what chance gives"
}

func falseAlarmsSection(b *queries.Book) Section {
	heat := gainHeat(b, chart.Frame{ID: "false-figure", Title: "Other points shown by each gain step", Desc: "Share of points found not active that had shown movement by each gain step, by material."},
		[]float64{0.01, 0.02, 0.03, 0.05, 0.08, 0.12}, func(r queries.GuidanceRow) chart.HeatCell {
			return chart.HeatCell{Rate: float64(r.FalseAlarmBy), Low: float64(r.FalseAlarmByLow), High: float64(r.FalseAlarmByHigh), N: int(r.OthersStepped),
				Enough: r.FalseAlarmByEnough, Empty: r.OthersStepped == 0}
		})
	return Section{ID: "false-alarms", Heading: falseHeading(b), Sub: "Share of points found not active that had shown movement by the step, weighted, with 95% interval and count. A second look that takes a call back is not counted.",
		Figure: heat.SVG(), Source: sourceOf(b, "gain_guidance", "")}
}

// falseHeading counts the materials where the highest step has more false alarms than the lowest.
func falseHeading(b *queries.Book) string {
	rows := guided(b, "material+gain")
	var compared, more int64
	for _, m := range materialsOf(rows) {
		var able []queries.GuidanceRow
		for _, r := range rows {
			if r.Material == m && r.FalseAlarmByEnough {
				able = append(able, r)
			}
		}
		if len(able) < 2 {
			continue
		}
		compared++
		if able[len(able)-1].FalseAlarmByLow > able[0].FalseAlarmByHigh {
			more++
		}
	}
	if compared == 0 {
		return "Too few checked points without activity to compare gain steps"
	}
	return fmt.Sprintf("Stepping up to the highest gain brings more false alarms than stopping at the lowest on %d of %s, beyond what chance gives", more,
		counted(compared, "material compared", "materials compared"))
}

func readingsSection(b *queries.Book, biz Business) Section {
	t := Table{ID: "readings-table", Caption: "Single readings by material and gain step", Sortable: true, Find: true, Folded: true,
		Columns: []Column{{Head: "Material"}, {Head: "Gain", Numeric: true}, {Head: "Readings", Unit: "active points", Numeric: true}, {Head: "Hit rate", Unit: "95% interval", Numeric: true},
			{Head: "Readings", Unit: "other points", Numeric: true}, {Head: "False-alarm rate", Unit: "95% interval", Numeric: true}, costColumn(biz)}}
	for _, r := range guided(b, "material+gain") {
		t.Rows = append(t.Rows, Row{Held: !r.Enough, Cells: []Cell{text(b.Labels.Material(r.Material)), whole(r.Gain),
			count(r.ReadingsActive), rateCell(r.HitRate, r.HitLow, r.HitHigh, r.HitEnough),
			count(r.ReadingsNotActive), rateCell(r.FalseAlarmRate, r.FalseAlarmLow, r.FalseAlarmHigh, r.FalseAlarmEnough),
			costCell(r.CostPer100, r.CostLow, r.CostHigh, r.Enough)}})
	}
	return Section{ID: "single-readings", Heading: "Single readings say what a step was used for, not what it can do",
		Sub:    "Share of readings at each step that showed movement, weighted. After a clear reading the gain goes up, so readings at a higher step are mostly of points that showed nothing lower.",
		Tables: []Table{t}, Source: sourceOf(b, "gain_guidance", "")}
}

func modelsSection(b *queries.Book, biz Business) Section {
	rows := guided(b, "model+material+gain")
	models := map[string]bool{}
	for _, r := range rows {
		models[*r.Model] = true
	}
	return Section{ID: "models", Heading: modelsHeading(len(models)), Sub: "A gain step is a number on one model's scale. The tables above go by the number and pool models; this one does not.",
		Tables: []Table{steppingBy(b, biz, "models-table", "Stepping up, by unit model and material", "Model", rows, func(r queries.GuidanceRow) string { return *r.Model })},
		Source: sourceOf(b, "gain_guidance", "")}
}

// steppingBy is a table of stepping up, with what more than the material makes a cut in its first column.
func steppingBy(b *queries.Book, biz Business, id, caption, head string, rows []queries.GuidanceRow, name func(r queries.GuidanceRow) string) Table {
	t := Table{ID: id, Caption: caption, Sortable: true, Find: true, Folded: true,
		Columns: slices.Concat([]Column{{Head: head}, {Head: "Material"}}, steppingColumns, []Column{costColumn(biz), {Head: "Advice"}})}
	for _, r := range rows {
		if r.PointsStepped() == 0 {
			continue
		}
		t.Rows = append(t.Rows, Row{Held: !r.SteppingEnough(), Cells: slices.Concat([]Cell{text(name(r)), text(b.Labels.Material(r.Material))}, steppingCells(r),
			[]Cell{costCell(r.SteppingCost, r.SteppingCostLow, r.SteppingCostHigh, r.SteppingEnough()), text(r.Advice)})})
	}
	return t
}

// bandsSection shows the same by thickness of the wall.
func bandsSection(b *queries.Book, biz Business) Section {
	rows := guided(b, "material+thickness_band+gain")
	return Section{ID: "thickness", Heading: bandsHeading(rows), Sub: "Stepping up by material and thickness in mm, as measured or assumed at the reading that decided the point.",
		Tables: []Table{steppingBy(b, biz, "bands-table", "Stepping up, by thickness band and material", "Thickness", rows, func(r queries.GuidanceRow) string { return *r.ThicknessBand })},
		Source: sourceOf(b, "gain_guidance", "")}
}

// bandsHeading counts the cuts where a step can be advised.
func bandsHeading(rows []queries.GuidanceRow) string {
	cuts, advised := map[string]bool{}, map[string]bool{}
	for _, r := range rows {
		cut := r.Material + " " + *r.ThicknessBand
		cuts[cut] = true
		if strings.HasPrefix(r.Advice, queries.LowestCost) {
			advised[cut] = true
		}
	}
	if len(cuts) == 0 {
		return "No thickness band has readings at checked points"
	}
	return fmt.Sprintf("By thickness, a step of lowest expected cost can be named in %d of %s", len(advised), counted(int64(len(cuts)), "material and band", "materials and bands"))
}

func modelsHeading(models int) string {
	switch models {
	case 0:
		return "No unit model has readings at checked points"
	case 1:
		return "All readings at checked points are from one unit model"
	}
	return fmt.Sprintf("Readings are from %d unit models, whose gain steps mean different things", models)
}
