package dashboards

import (
	"strings"
	"testing"

	"scanledger/queries"
)

// drifted are six months of one technician, of whom the last two signal in the given direction.
func drifted(id, direction string) []queries.DriftRow {
	var out []queries.DriftRow
	for i, month := range []string{"2026-03", "2026-04", "2026-05", "2026-06", "2026-07", "2026-08"} {
		r := queries.DriftRow{TechnicianID: id, Month: month, Verified: 20, Observed: 3, Rate: 0.15, Low: 0.05, High: 0.36, Expected: 2.8, ExpectedAverage: 3, Level: 0.9,
			SumUp: queries.Figure(float64(i)), LimitUp: 7, SumDown: 0.5, LimitDown: 6, Statistic: queries.Figure(float64(i)), Limit: 7, Direction: direction,
			RunLength: 1000, AverageRunLength: 500, Average: 0.02, AverageLimit: 0.1, GainBefore: queries.Unknown, GainAfter: queries.Unknown, GainDistance: queries.Unknown, HoldBefore: queries.Unknown, HoldAfter: queries.Unknown}
		if i >= 4 {
			r.Signal, r.Statistic, r.ChangedFrom, r.WhatChanged, r.AverageOutside = true, 7.5, "2026-06", "Nothing else stands out: mean hold 30 s before, 31 s since.", true
		}
		out = append(out, r)
	}
	return out
}

// steady are the same months without a signal.
func steady(id string) []queries.DriftRow {
	out := drifted(id, queries.Up)
	for i := range out {
		out[i].Signal, out[i].ChangedFrom, out[i].WhatChanged, out[i].AverageOutside = false, "", "", false
	}
	return out
}

// unwatched are the same months of someone with too few calls to learn a level from.
func unwatched(id string) []queries.DriftRow {
	out := steady(id)
	for i := range out {
		r := &out[i]
		r.Verified, r.Observed, r.Rate, r.Low, r.High = 1, 0, 0, 0, 0.8
		r.Expected, r.Level, r.SumUp, r.LimitUp, r.SumDown, r.LimitDown, r.Statistic, r.Limit = queries.Unknown, queries.Unknown, queries.Unknown, queries.Unknown, queries.Unknown, queries.Unknown, queries.Unknown, queries.Unknown
		r.Average, r.AverageLimit = queries.Unknown, queries.Unknown
	}
	return out
}

// TestDriftHeading: a heading claims what was watched and found, and nothing else.
func TestDriftHeading(t *testing.T) {
	join := func(parts ...[]queries.DriftRow) []queries.DriftRow {
		var out []queries.DriftRow
		for _, p := range parts {
			out = append(out, p...)
		}
		return out
	}
	for _, c := range []struct {
		name string
		rows []queries.DriftRow
		want string
	}{
		{"nothing", nil, "Too few false alarms were to be expected to watch anyone over time"},
		{"thin", join(unwatched("T1"), unwatched("T2")), "Too few false alarms were to be expected to watch anyone over time"},
		{"null", join(steady("T1"), steady("T2"), unwatched("T3")), "None of 2 technicians watched has changed against themselves"},
		{"more", join(drifted("T1", queries.Up), steady("T2")), "1 of 2 watched came to raise more false alarms than before"},
		{"fewer", join(drifted("T1", queries.Down), steady("T2")), "1 of 2 watched came to raise fewer false alarms than before"},
		{"both", join(drifted("T1", queries.Down), drifted("T2", queries.Up)), "Of 2 watched, 1 came to raise more false alarms than before and 1 fewer"},
	} {
		if got := driftHeading(&queries.Book{Drift: c.rows}); got != c.want {
			t.Errorf("%s:\ngot  %q\nwant %q", c.name, got, c.want)
		}
	}
}

// TestDriftSections: each who changed has a section that says since when, and what else changed; the others
// have none.
func TestDriftSections(t *testing.T) {
	b := &queries.Book{Drift: append(append(drifted("T1", queries.Up), steady("T2")...), unwatched("T3")...)}
	sections := driftSections(b)
	if len(sections) != 2 || sections[1].Heading != "T1 raises more false alarms than before since about Jun 2026" {
		t.Fatalf("%d sections, the second %q", len(sections), sections[len(sections)-1].Heading)
	}
	if figure := string(sections[1].Figure); !strings.Contains(figure, "signal: more since Jun 2026") {
		t.Error("the figure does not mark the signal")
	}
	if !strings.Contains(sections[1].Paragraphs[0], "mean hold 30 s before") {
		t.Errorf("says of the change: %q", sections[1].Paragraphs)
	}
	if rows := sections[0].Tables[0].Rows; len(rows) != 3 || rows[0].Held || !rows[2].Held || rows[2].Cells[4].Text != "too few to watch" {
		t.Errorf("table %+v", rows)
	}
}
