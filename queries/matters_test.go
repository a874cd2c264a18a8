package queries

import (
	"slices"
	"testing"
)

// TestMatters: what is open ranks by consequence; nothing that asks for nothing is a matter.
func TestMatters(t *testing.T) {
	b := &Book{
		Protocol: []ProtocolRow{
			{Check: "lapsed_accreditation", TechnicianID: "T1", Chances: 9, Breaches: 2},
			{Check: "lapsed_accreditation", TechnicianID: "T2", Chances: 9},
			{Check: "short_hold", TechnicianID: "T1", Chances: 90, Breaches: 40, Rate: 0.44, Low: 0.3, High: 0.6, Others: 0.02, Standing: Act},
			{Check: "short_hold", TechnicianID: "T2", Chances: 90, Breaches: 9, Rate: 0.1, Low: 0.05, High: 0.2, Others: 0.05, Standing: Watch},
			{Check: "short_hold", TechnicianID: "T3", Chances: 90, Breaches: 9, Standing: InLine},
		},
		Digits: []DigitRow{{TechnicianID: "T1", Model: "M", Levels: 500, Standing: Act, Size: 0.5}, {TechnicianID: "T2", Model: "M", Levels: 500, Standing: InLine}},
		Consistency: []ConsistencyRow{{TechnicianID: "T1", Measure: "false_alarms", Standing: Act, Ratio: 3}, {TechnicianID: "T2", Measure: "missed", Standing: Act, Ratio: 0.2},
			{TechnicianID: "T3", Measure: "detections", Standing: Act, Ratio: 3}},
		Drift: []DriftRow{{TechnicianID: "T1", Month: "2026-01", Signal: true, Direction: Up}, {TechnicianID: "T1", Month: "2026-02", Signal: true, Direction: Up},
			{TechnicianID: "T2", Signal: true, Direction: Down}, {TechnicianID: "T3", Direction: Up}},
		Units:   []UnitRow{{UnitID: "U1", Standing: Act, Ratio: 3}, {UnitID: "U2", Standing: Act, Ratio: 0.2}, {UnitID: "U3", Standing: InLine, Ratio: 1.5}},
		Quality: []QualityRow{{File: "a.csv", Rows: 9, Rejected: 2, Waiting: 1}, {File: "b.csv", Rows: 9}},
	}
	var got []string
	for _, r := range protocolMatters(b) {
		got = append(got, r.Subject+" "+r.TechnicianID+" "+Count(r.Consequence))
	}
	for _, rows := range [][]MatterRow{digitMatters(b), consistencyMatters(b), driftMatters(b), unitMatters(b), rowMatters(b)} {
		for _, r := range rows {
			got = append(got, r.Matter+" "+r.Subject+" "+Count(r.Consequence))
			if r.Text == "" || r.Evidence == "" || r.Result == "" {
				t.Errorf("incomplete: %+v", r)
			}
		}
	}
	want := []string{"lapsed_accreditation T1 7", "short_hold T1 3", "short_hold T2 2", "digits M 4", "consistency false_alarms 7", "drift false_alarms 7", "unit U1 6", "rejected_rows a.csv 2", "waiting_rows a.csv 1"}
	if !slices.Equal(got, want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
}

// TestMattersThroughRecords: a missed point, found or only reported, and an overdue unit, from the records.
func TestMattersThroughRecords(t *testing.T) {
	b := bookOf(t, []visit{{site: "A", point: "P1", material: "board", call: "clear", method: "opened", result: "active"},
		{site: "B", point: "P1", material: "board", call: "clear", method: "occupant_report", result: "active"},
		{site: "C", point: "P1", material: "board", call: "clear", method: "opened", result: "nothing"}})
	var got []string
	for _, m := range b.Matters {
		got = append(got, m.InspectionID+": "+m.Text)
	}
	want := []string{": Clear outcome with no reading: 3 of 3.", // the rechecks of these records hold no readings
		"IA: Called clear on 2026-03-02; activity found 7 days later (opened).", "IB: Called clear on 2026-03-02; activity reported 7 days later, the wall not looked into."}
	if !slices.Equal(got, want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
	overdue := protocolBook(t, Options{}).Matters
	found := false
	for _, m := range overdue {
		found = found || m.Matter == "overdue_unit" && m.Text == "Unit U3 was used in 1 of its 1 inspections after its service was due on 2026-03-01."
	}
	if !found {
		t.Errorf("the overdue unit is missing: %+v", overdue)
	}
}

// TestChoosePages: what was wanted comes first, then some of every kind, then
// those drawn for an audit, then the weightiest, and never more
// than asked for.
func TestChoosePages(t *testing.T) {
	rows := make([]InspectionRow, 0, 40)
	for i := range 40 {
		rows = append(rows, InspectionRow{InspectionID: Count(int64(i)), Missed: 1, Weight: int64(100 - i)})
	}
	rows[35].Missed, rows[35].Checks = 0, "too_close"
	for i := 25; i < 30; i++ {
		rows[i].Sampled = 1
	}
	choosePages(rows, []string{"39"}, 10)
	pages, sampled := 0, 0
	for _, r := range rows {
		if r.Page {
			pages++
			sampled += int(r.Sampled)
		}
	}
	if sampled != 3 {
		t.Errorf("%d pages of inspections drawn for an audit, want a third", sampled)
	}
	if pages != 10 || !rows[39].Page || !rows[35].Page || !rows[0].Page || rows[20].Page {
		t.Errorf("%d pages; wanted %v, rare %v, weightiest %v, other %v", pages, rows[39].Page, rows[35].Page, rows[0].Page, rows[20].Page)
	}
}
