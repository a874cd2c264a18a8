package dashboards

import (
	"fmt"

	"scanledger/queries"
)

func detectionPage(b *queries.Book, _ Business) Page {
	return Page{
		Title:   "Detection",
		Heading: detectionHeading(b),
		Lead:    "How often movement was called, by what the wall is made of, the gain step, the season and the region. This is no rate of infestation: points and houses are chosen.",
		Sections: []Section{
			heatSection(b, "material+gain", "By material and gain step", materialGainHeading(b)),
			heatSection(b, "material+season", "By material and season", spreadHeading(b, "season", "season", func(s string) string { return s })),
			heatSection(b, "region+season", "By region and season", spreadHeading(b, "region", "region", b.Labels.Region)),
			dotsSection(b),
			monthsSection(b),
			confirmedSection(b),
		},
	}
}

func cut(b *queries.Book, by string) []queries.DetectionRow {
	var out []queries.DetectionRow
	for _, r := range b.Detection {
		if r.By == by {
			out = append(out, r)
		}
	}
	return out
}

func detectionHeading(b *queries.Book) string {
	all := cut(b, "all")
	if len(all) == 0 {
		return "No points have been tested yet"
	}
	if !all[0].Enough {
		return fmt.Sprintf("Too few points to say how often movement is shown: %s", queries.Count(all[0].N()))
	}
	return fmt.Sprintf("Movement was called at %s of %s points tested", queries.Percent(all[0].Rate), queries.Count(all[0].N()))
}

// spreadHeading names the highest and the lowest value of a cut, where their intervals do not touch.
func spreadHeading(b *queries.Book, by, noun string, label func(string) string) string {
	var low, high *queries.DetectionRow
	name := map[string]func(r *queries.DetectionRow) string{
		"season":   func(r *queries.DetectionRow) string { return label(*r.Season) },
		"region":   func(r *queries.DetectionRow) string { return label(*r.Region) },
		"material": func(r *queries.DetectionRow) string { return label(*r.Material) },
	}[by]
	for _, r := range cut(b, by) {
		if !r.Enough {
			continue
		}
		if low == nil || r.Rate < low.Rate {
			low = &r
		}
		if high == nil || r.Rate > high.Rate {
			high = &r
		}
	}
	switch {
	case low == nil || low == high:
		return fmt.Sprintf("Too few points to compare one %s with another", noun)
	case low.High < high.Low:
		return fmt.Sprintf("Movement is called more often in one %s than another: %s %s, %s %s", noun, name(high), queries.Percent(high.Rate), name(low), queries.Percent(low.Rate))
	}
	return fmt.Sprintf("No %s stands clear of the others", noun)
}

// materialGainHeading says whether readings at the higher gain steps show more movement.
func materialGainHeading(b *queries.Book) string {
	var rows []queries.DetectionRow
	for _, r := range cut(b, "gain") {
		if r.Enough {
			rows = append(rows, r)
		}
	}
	if len(rows) < 2 {
		return "Too few readings to compare gain steps"
	}
	first, last := rows[0], rows[len(rows)-1]
	switch {
	case last.Low > first.High:
		return fmt.Sprintf("Readings at gain %d show movement more often than at gain %d", *last.Gain, *first.Gain)
	case last.High < first.Low:
		return fmt.Sprintf("Readings at gain %d show movement less often than at gain %d", *last.Gain, *first.Gain)
	}
	return fmt.Sprintf("From gain %d to gain %d, no difference beyond what chance gives", *first.Gain, *last.Gain)
}

func heatSection(b *queries.Book, by, what, heading string) Section {
	rows := cut(b, by)
	var n, held int64
	unit := "point-visits"
	for _, r := range rows {
		n += r.N()
		if !r.Enough {
			held++
		}
		if r.Readings != nil {
			unit = "readings"
		}
	}
	notes := []Note{{queries.Count(held), fmt.Sprintf("of %s cells are hatched: too few, or too uncertain, to show a rate (floor %d; NCHS presentation standard).",
		queries.Count(int64(len(rows))), b.Floor)}}
	if by == "material+gain" {
		notes = append(notes, Note{"", "A step is chosen by the technician: a low one also to look again after movement was shown, a high one after none was. These shares say what steps were used for; gain guidance says what they can do."})
	}
	return Section{
		ID: "by-" + by, Heading: heading,
		Sub:    fmt.Sprintf("%s: share of %s %s called active, with 95%% interval and count.", what, queries.Count(n), unit),
		Figure: heatFigure(b, by),
		Source: sourceOf(b, "detection", ""),
		Margin: notes,
	}
}

func dotsSection(b *queries.Book) Section {
	rows := cut(b, "material")
	s := Section{
		ID: "materials", Heading: spreadHeading(b, "material", "material", b.Labels.Material),
		Sub:    "Share of point-visits called active by material; the spindle is the 95% interval with sites as clusters.",
		Figure: materialDots(b),
		Source: sourceOf(b, "detection", ""),
	}
	table := Table{ID: "materials-table", Caption: "Detection by material", Sortable: true, Columns: []Column{{Head: "Material"},
		{Head: "Point-visits", Numeric: true}, {Head: "Active", Numeric: true}, {Head: "Rate", Numeric: true}, {Head: "95% interval", Numeric: true},
		{Head: "Design effect", Unit: "times", Numeric: true}}}
	for _, r := range rows {
		row := Row{Held: !r.Enough, Cells: []Cell{text(b.Labels.Material(*r.Material)), count(r.N()), count(r.Active), percent(r.Rate), interval(r.Low, r.High), decimal(r.DesignEffect, 2)}}
		if !r.Enough {
			row.Cells[3] = text("too few")
		}
		table.Rows = append(table.Rows, row)
	}
	s.Tables = []Table{table}
	if all := cut(b, "all"); len(all) > 0 {
		s.Margin = []Note{{fmt.Sprintf("%.1f×", float64(all[0].DesignEffect)), fmt.Sprintf("design effect: points of one site are alike, so %s points tell as much as %s independent ones.",
			queries.Count(all[0].N()), queries.Count(int64(all[0].NEffective)))}}
		if !all[0].DesignEffect.Known() {
			s.Margin = nil
		}
	}
	return s
}

func monthsSection(b *queries.Book) Section {
	return Section{
		ID: "months", Heading: "Month by month",
		Sub:    "Share of point-visits called active in each local month, with 95% intervals. Nothing is adjusted for season.",
		Figure: detectionMonths(b),
		Source: sourceOf(b, "detection", ""),
	}
}

// confirmedSection shows how active calls held up by material and gain.
func confirmedSection(b *queries.Book) Section {
	table := Table{ID: "confirmed-table", Caption: "Checked active calls by material", Sortable: true, Columns: []Column{{Head: "Material"},
		{Head: "Active calls", Numeric: true}, {Head: "Verified", Numeric: true}, {Head: "Confirmed", Numeric: true}, {Head: "Share confirmed", Numeric: true},
		{Head: "95% interval", Numeric: true}, {Head: "Clear calls verified", Numeric: true}, {Head: "Missed", Numeric: true}}}
	for _, r := range b.Accuracy {
		if r.By != "material" {
			continue
		}
		row := Row{Held: !r.Enough, Cells: []Cell{text(b.Labels.Material(*r.Material)), count(r.ActiveCalls), count(r.ActiveVerified), count(r.Confirmed), percent(r.PPV),
			interval(r.PPVLow, r.PPVHigh), text(ofAll(r.ClearVerified, r.ClearCalls)), count(r.Missed)}}
		if !r.Enough {
			row.Cells[4], row.Cells[5] = text("too few"), text("")
		}
		row.Cells[6].Class = "num"
		table.Rows = append(table.Rows, row)
	}
	return Section{
		ID: "confirmed", Heading: confirmedHeading(b),
		Sub:    "Share of verified active calls that were confirmed, by material. Verified means a decisive finding: opened, drilled, borescope.",
		Figure: confirmedDots(b),
		Tables: []Table{table},
		Source: sourceOf(b, "accuracy", ""),
	}
}

func confirmedHeading(b *queries.Book) string {
	var low, high *queries.AccuracyRow
	for _, r := range b.Accuracy {
		if r.By != "material" || !r.Enough {
			continue
		}
		if low == nil || r.PPV < low.PPV {
			low = &r
		}
		if high == nil || r.PPV > high.PPV {
			high = &r
		}
	}
	switch {
	case low == nil || low == high:
		return "Too few checked calls to compare materials"
	case low.PPVHigh < high.PPVLow:
		return fmt.Sprintf("Active calls hold up best on %s (%s of %s) and least on %s (%s of %s)",
			b.Labels.Material(*high.Material), queries.Percent(high.PPV), queries.Count(high.ActiveVerified),
			b.Labels.Material(*low.Material), queries.Percent(low.PPV), queries.Count(low.ActiveVerified))
	}
	return "On no material do active calls hold up better than on another, beyond what chance gives"
}
