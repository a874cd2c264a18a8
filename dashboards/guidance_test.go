package dashboards

import (
	"testing"

	"scanledger/queries"
)

// withGuidance adds guidance on two materials to the strong book.
func withGuidance() *queries.Book {
	b := strong()
	step := func(material string, gain int, hit, hitLow, hitHigh, alarm, alarmLow, alarmHigh, cost, costLow, costHigh queries.Figure, advice string, inside bool) queries.GuidanceRow {
		return queries.GuidanceRow{By: "material+gain", Material: material, Gain: gain, ReadingsActive: 60, PointsActive: 50, HitRate: hit, HitLow: hitLow, HitHigh: hitHigh,
			ReadingsNotActive: 80, PointsNotActive: 70, FalseAlarmRate: alarm, FalseAlarmLow: alarmLow, FalseAlarmHigh: alarmHigh, Prevalence: 0.05,
			CostPer100: cost, CostLow: costLow, CostHigh: costHigh, ActiveStepped: 50, OthersStepped: 70, HitBy: hit, HitByLow: hitLow, HitByHigh: hitHigh,
			FalseAlarmBy: alarm, FalseAlarmByLow: alarmLow, FalseAlarmByHigh: alarmHigh, SteppingCost: cost, SteppingCostLow: costLow, SteppingCostHigh: costHigh,
			HitEnough: true, FalseAlarmEnough: true, HitByEnough: true, FalseAlarmByEnough: true, Enough: true, Advice: advice,
			HouseLow: ptr(2), HouseHigh: ptr(3), InHouseRange: &inside, LossDB: queries.Unknown}
	}
	b.Guidance = []queries.GuidanceRow{
		step("board", 2, 0.6, 0.5, 0.7, 0.01, 0.005, 0.02, 5000, 4500, 5500, "lowest expected cost; inside the house's range", true),
		step("board", 5, 0.9, 0.85, 0.95, 0.1, 0.07, 0.13, 8000, 7000, 9000, "next best; outside the house's range", false),
		step("brick", 2, 0.2, 0.1, 0.3, 0.01, 0.005, 0.02, 9000, 8500, 9500, "next best; inside the house's range", true),
		step("brick", 5, 0.4, 0.35, 0.5, 0.03, 0.025, 0.05, 8800, 8000, 9600, "lowest expected cost; outside the house's range", false),
	}
	band := b.Guidance[0]
	band.By, band.ThicknessBand = "material+thickness_band+gain", ptr("up to 15")
	b.Guidance = append(b.Guidance, band)
	b.Weights = []queries.WeightRow{{Material: "board", Call: "active", PointVisits: 90, Verified: 60, Active: 50, VerifiedShare: 0.667, Weight: 1.5},
		{Material: "board", Call: "clear", PointVisits: 600, Verified: 30, Active: 1, VerifiedShare: 0.05, Weight: 20}}
	b.Losses = []queries.LossRow{
		{Material: "board", Model: "M", PointVisits: 600, GainQ1: 1, GainMedian: 2, GainQ3: 3, ThicknessMM: ptr(13.0), Frequency: 24.125, TableRow: "plasterboard", DBPerM: 167.4, LossDB: 2.2},
		{Material: "brick", Model: "M", PointVisits: 400, GainQ1: 4, GainMedian: 5, GainQ3: 6, ThicknessMM: ptr(110.0), Frequency: 24.125, TableRow: "brick", DBPerM: 32.8, LossDB: 3.6},
	}
	return b
}

// guidanceThin has too little at every step.
func guidanceThin() *queries.Book {
	b := withGuidance()
	for i := range b.Guidance {
		g := &b.Guidance[i]
		g.HitByEnough, g.FalseAlarmByEnough, g.Enough, g.Advice = false, false, false, queries.NotEnough
	}
	b.Losses, b.Weights = b.Losses[:1], nil
	return b
}

// guidanceLevel has steps whose intervals all overlap.
func guidanceLevel() *queries.Book {
	b := withGuidance()
	for i := range b.Guidance {
		g := &b.Guidance[i]
		g.HitByLow, g.HitByHigh, g.FalseAlarmByLow, g.FalseAlarmByHigh, g.SteppingCostLow, g.SteppingCostHigh = 0.05, 0.95, 0.001, 0.2, 1000, 10000
	}
	return b
}

// TestGuidanceHeadings: a heading of the guidance page claims what its figures show and nothing else.
func TestGuidanceHeadings(t *testing.T) {
	priced := Business{FalseAlarmCost: 380, MissedCost: 2600}
	books := map[string]*queries.Book{"strong": withGuidance(), "thin": guidanceThin(), "level": guidanceLevel(), "nothing": {}}
	for _, h := range []struct {
		name string
		of   func(b *queries.Book) string
		want map[string]string
	}{
		{"page", func(b *queries.Book) string { return guidanceHeading(b, priced) }, map[string]string{
			"strong":  "A gain step of lowest expected cost can be named on 2 of 2 materials, and on 1 it is outside the house's range",
			"level":   "A gain step of lowest expected cost can be named on 2 of 2 materials, and on 1 it is outside the house's range",
			"thin":    "On none of 2 materials is there enough to compare gain steps by cost",
			"nothing": "No checked point has readings yet, so nothing can be said of gain"}},
		{"without costs", func(b *queries.Book) string { return guidanceHeading(b, Business{}) }, map[string]string{
			"strong":  "Without the cost of a false alarm and of a missed point, no gain step can be advised",
			"level":   "Without the cost of a false alarm and of a missed point, no gain step can be advised",
			"thin":    "Without the cost of a false alarm and of a missed point, no gain step can be advised",
			"nothing": "No checked point has readings yet, so nothing can be said of gain"}},
		{"advice", func(b *queries.Book) string { return adviceHeading(b, guided(b, "material+gain")) }, map[string]string{
			"strong":  "Some steps cost more than the lowest beyond what chance gives: Board",
			"level":   "Where costs can be compared, steps cost about the same: their intervals overlap",
			"thin":    "There is not enough to say which step costs least",
			"nothing": "There is not enough to say which step costs least"}},
		{"hits", hitsHeading, map[string]string{
			"strong":  "What is shown of active points runs from 20% (Brick by gain 2) to 90% (Board by gain 5)",
			"level":   "No step and material shows more of the active points than another, beyond what chance gives",
			"thin":    "Too few checked active points to compare gain steps",
			"nothing": "Too few checked active points to compare gain steps"}},
		{"false alarms", falseHeading, map[string]string{
			"strong":  "Stepping up to the highest gain brings more false alarms than stopping at the lowest on 2 of 2 materials compared, beyond what chance gives",
			"level":   "Stepping up to the highest gain brings more false alarms than stopping at the lowest on 0 of 2 materials compared, beyond what chance gives",
			"thin":    "Too few checked points without activity to compare gain steps",
			"nothing": "Too few checked points without activity to compare gain steps"}},
		{"thickness", func(b *queries.Book) string { return bandsHeading(guided(b, "material+thickness_band+gain")) }, map[string]string{
			"strong":  "By thickness, a step of lowest expected cost can be named in 1 of 1 material and band",
			"level":   "By thickness, a step of lowest expected cost can be named in 1 of 1 material and band",
			"thin":    "By thickness, a step of lowest expected cost can be named in 0 of 1 material and band",
			"nothing": "No thickness band has readings at checked points"}},
		{"loss", func(b *queries.Book) string { return lossHeading(b.Losses) }, map[string]string{
			"strong":  "Of 1 pair of materials on one model, the one with more wave loss is read at more gain in 1, at the same in 0, at less in 0",
			"level":   "Of 1 pair of materials on one model, the one with more wave loss is read at more gain in 1, at the same in 0, at less in 0",
			"thin":    "Too few materials have a wave loss to set gain against",
			"nothing": "Too few materials have a wave loss to set gain against"}},
		{"weights", func(b *queries.Book) string { return weightsHeading(b.Weights) }, map[string]string{
			"strong": "A checked point-visit stands for up to 19 others of its kind", "level": "A checked point-visit stands for up to 19 others of its kind",
			"thin": "No point-visit has been checked by looking", "nothing": "No point-visit has been checked by looking"}},
	} {
		for name, b := range books {
			if got := h.of(b); got != h.want[name] {
				t.Errorf("%s, %s figures:\ngot  %q\nwant %q", h.name, name, got, h.want[name])
			}
		}
	}
	for name, b := range books {
		page := guidancePage(b, priced)
		page.File = "guidance.html"
		html, err := Render(Site{}, page)
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if name == "strong" {
			golden(t, "guidance-strong.html", said(html))
		}
	}
}

// TestAdvisedTable: a row of the first table says what is advised, or that nothing can be, and why.
func TestAdvisedTable(t *testing.T) {
	priced := Business{FalseAlarmCost: 380, MissedCost: 2600}
	unpriced, open := withGuidance(), withGuidance()
	for i := range unpriced.Guidance {
		unpriced.Guidance[i].Advice = queries.CostsNotSet
		open.Guidance[i].HouseHigh = nil
	}
	for _, c := range []struct {
		name string
		book *queries.Book
		want [2][4]string // board and brick: material, lowest, next, range
	}{
		{"strong", withGuidance(), [2][4]string{{"Board", "gain 2", "gain 5", "2 to 3"}, {"Brick", "gain 5, outside the range", "gain 2, about the same", "2 to 3"}}},
		{"thin", guidanceThin(), [2][4]string{{"Board", "not enough to say", "", "2 to 3"}, {"Brick", "not enough to say", "", "2 to 3"}}},
		{"costs not set", unpriced, [2][4]string{{"Board", "costs are not set", "", "2 to 3"}, {"Brick", "costs are not set", "", "2 to 3"}}},
		{"open range", open, [2][4]string{{"Board", "gain 2", "gain 5", "2 and above"}, {"Brick", "gain 5, outside the range", "gain 2, about the same", "2 and above"}}},
	} {
		table := advisedTable(c.book, priced, guided(c.book, "material+gain"))
		for i, row := range table.Rows {
			for j, want := range c.want[i] {
				if row.Cells[j].Text != want {
					t.Errorf("%s, row %d: %q, want %q", c.name, i, row.Cells[j].Text, want)
				}
			}
			if len(row.Cells) != len(table.Columns) {
				t.Errorf("%s, row %d: %d cells under %d columns", c.name, i, len(row.Cells), len(table.Columns))
			}
		}
		if len(table.Rows) != 2 {
			t.Errorf("%s: %d rows", c.name, len(table.Rows))
		}
	}
	if s := adviceSection(&queries.Book{}, priced); len(s.Tables) != 0 {
		t.Errorf("tables of nothing: %+v", s.Tables)
	}
}

// TestEachRateByItsOwn: too few active points hold back the hits, not the false alarms of the same step.
func TestEachRateByItsOwn(t *testing.T) {
	r := withGuidance().Guidance[0]
	r.HitByEnough = false
	if c := steppingCells(r); c[2].Text != "not enough" || c[4].Text != "1.0% (0.5% to 2.0%)" {
		t.Errorf("hits %q, false alarms %q", c[2].Text, c[4].Text)
	}
}
