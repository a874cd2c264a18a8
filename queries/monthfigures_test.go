package queries

import (
	"encoding/json"
	"testing"
)

// TestMonthFigures: shares of a month are those of the trend, changes are what they say, and the interval is that of
// Newcombe's worked example (1998, Stat Med 17:873-890, table II: 56/70 against 48/80, method 10: 0.0524 to 0.3339) when the two
// intervals are Wilson's.
func TestMonthFigures(t *testing.T) {
	b := &Book{MonthCounts: []MonthCountRow{{Month: "2025-08", Inspections: 5, FalseAlarms: 2}, {Month: "2026-08", Inspections: 7, FalseAlarms: 1, Missed: 1, MissedReported: 1}}}
	b.Trend = []TrendRow{
		{Measure: ConfirmedShare, Month: "2025-08", N: 80, Events: 48, Rate: 0.6, Low: 0.4904, High: 0.7005, Enough: true},
		{Measure: ConfirmedShare, Month: "2026-08", N: 70, Events: 56, Rate: 0.8, Low: 0.6919, High: 0.8772, Enough: true},
		{Measure: MissedShare, Month: "2026-08", N: 10, Events: 1, Rate: 0.1, Low: 0, High: 0.4},
	}
	figures, err := MonthFigures(b, "2026-08", 100, 1000)
	if err != nil {
		t.Fatal(err)
	}
	of := map[string]MonthFigure{}
	for _, f := range figures {
		of[f.Name] = f
	}
	c := of[ConfirmedShare]
	close(t, "change", c.Year.Change, 0.2, 1e-12)
	close(t, "low", c.Year.ChangeLow, 0.0524, 0.0002)
	close(t, "high", c.Year.ChangeHigh, 0.3339, 0.0002)
	if !c.Year.Moved() || c.Before.Moved() || c.Before.Change.Known() {
		t.Errorf("%+v", c)
	}
	if m := of[MissedShare].Now; m.Value.Known() || m.Of != 10 || m.Enough {
		t.Errorf("a share below the floor is shown: %+v", m)
	}
	if cost := of["cost"]; cost.Now.Value != 2100 || cost.Year.Value != 200 || cost.Year.Change != 1900 || cost.Before.Value != 0 {
		t.Errorf("cost %+v", cost)
	}
	if first := of["inspections"]; first.Year.Change != 2 || first.Year.ChangeLow.Known() {
		t.Errorf("inspections %+v", first)
	}
}

// TestCompareMonths: only figures that differ are listed, and only records that they are made of.
func TestCompareMonths(t *testing.T) {
	value := func(v Figure) MonthValue { return MonthValue{Value: v, Low: Unknown, High: Unknown} }
	old := []MonthFigure{{Name: "inspections", Now: value(3)}, {Name: "confirmed", Now: value(4)}, {Name: ActiveRate, Now: value(Unknown)}}
	now := []MonthFigure{{Name: "inspections", Now: value(4)}, {Name: "confirmed", Now: value(5)}, {Name: ActiveRate, Now: value(Unknown)}}
	changes := CompareMonths(old, now, []LateRecords{{RecordSet: "findings", Rows: 2}, {RecordSet: "inspections", Rows: 1}})
	if len(changes) != 2 || len(changes[0].Because) != 1 || changes[0].Because[0].RecordSet != "inspections" || len(changes[1].Because) != 2 {
		t.Errorf("%+v", changes)
	}
	if got := CompareMonths(old, old, nil); len(got) != 0 {
		t.Errorf("nothing changed, got %+v", got)
	}
}

// TestFiguresReadBack: what is written of a figure that is not known reads back as not known.
func TestFiguresReadBack(t *testing.T) {
	raw, err := json.Marshal([]Figure{0.1, Unknown})
	if err != nil {
		t.Fatal(err)
	}
	var got []Figure
	if err := json.Unmarshal(raw, &got); err != nil || got[0] != 0.1 || got[1].Known() {
		t.Errorf("%s reads back as %v, %v", raw, got, err)
	}
}

// TestActions: the dearest first, those of unknown cost after, and nothing that cannot be acted on.
func TestActions(t *testing.T) {
	found := []Finding{{Text: "no action", Excess: 99}, {Do: "a", Excess: Unknown}, {Do: "b", Excess: 10}, {Do: "c", Excess: 2, Missed: true}}
	text := func(fa, missed float64) (out string) {
		for _, f := range Actions(found, fa, missed) {
			out += f.Do
		}
		return out
	}
	if got := text(100, 1000); got != "cba" {
		t.Errorf("by cost: %s", got)
	}
	if got := text(0, 0); got != "bca" {
		t.Errorf("by wrong calls: %s", got)
	}
	if cost := found[3].Cost(100, 1000); cost != 2000 {
		t.Errorf("cost %v", cost)
	}
}
