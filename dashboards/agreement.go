package dashboards

import (
	"fmt"
	"html/template"
	"strings"

	"scanledger/dashboards/chart"
	"scanledger/queries"
)

// agreementSections say how far technicians agree on the same points, and with themselves.
func agreementSections(b *queries.Book) []Section {
	return []Section{agreementSection(b), callsMoreSection(b), repeatsSection(b)}
}

// together is the row of all technicians; ok is false where no point was called twice.
func together(b *queries.Book) (all queries.AgreementRow, ok bool) {
	for _, r := range b.Agreement {
		if r.TechnicianID == queries.AllTechnicians {
			return r, true
		}
	}
	return all, false
}

func agreementHeading(b *queries.Book) string {
	all, ok := together(b)
	switch {
	case !ok || all.Pairs+all.Unsure == 0:
		return "No points were called twice, so agreement cannot be said"
	case !all.Enough:
		return fmt.Sprintf("Too little was called twice to say how far calls agree: %s", counted(all.Pairs, "point", "points"))
	}
	return fmt.Sprintf("Two technicians called the same point alike at %s of %s; kappa is %s (95%% interval %s)",
		queries.Percent(all.Agreement), counted(all.Pairs, "point", "points"), figure(all.Kappa, 2), span(all.KappaLow, all.KappaHigh, 2))
}

// figure writes a figure with so many decimals.
func figure(f queries.Figure, digits int) string { return decimal(f, digits).Text }

func span(low, high queries.Figure, digits int) string {
	if !low.Known() || !high.Known() {
		return "not known"
	}
	return figure(low, digits) + " to " + figure(high, digits)
}

// spanned is a figure with its interval, as a cell that sorts by the figure.
func spanned(f, low, high queries.Figure, digits int) Cell {
	c := decimal(f, digits)
	if low.Known() && high.Known() {
		c.Text += " (" + span(low, high, digits) + ")"
	}
	return c
}

func agreementSection(b *queries.Book) Section {
	all, ok := together(b)
	s := Section{
		ID: "agreement", Heading: agreementHeading(b),
		Sub:        "Share of points called alike in a blind recheck, by technician at either end of it; sites as clusters. Points where either call was unsure are counted apart.",
		Paragraphs: agreementWords(all), Figure: agreementFigure(b), Source: sourceOf(b, "technician_agreement", ""),
	}
	if !ok {
		return s
	}
	s.Tables = []Table{agreementTable(b)}
	s.Margin = []Note{{figure(all.Kappa, 2), "Cohen's kappa of all pairs: agreement beyond chance, 1 for full. 95% interval " + span(all.KappaLow, all.KappaHigh, 2) + "."},
		{figure(all.AC1, 2), "AC1 of the same pairs, which takes off less for chance where one call is rare. 95% interval " + span(all.AC1Low, all.AC1High, 2) + "."},
		{figure(all.Alpha, 2), "Krippendorff's alpha of all technicians together. 95% interval " + span(all.AlphaLow, all.AlphaHigh, 2) + "."},
		{queries.Count(all.Unsure), "points with an unsure call at one end, left out of all of these."}}
	return s
}

// agreementWords say why kappa and AC1 part, where they do.
func agreementWords(all queries.AgreementRow) []string {
	if !all.Enough {
		return nil
	}
	words := []string{fmt.Sprintf("Of the calls compared, %s were active. Two people who call that often without looking would agree at %s of points; kappa counts only what goes beyond that.",
		queries.Percent(all.ActiveShare()), queries.Percent(all.Chance))}
	if all.RarelyActive() {
		words = append(words, fmt.Sprintf("Where one call is rare, nearly all agreement is agreement on the other one, and kappa takes nearly all of it for chance: it falls to %s though calls agree at %s. "+
			"AC1 takes off less (%s). Neither is wrong: kappa asks whether the rare call can be told apart, AC1 whether two people say the same. Of %s called active by either, both called %s active.",
			figure(all.Kappa, 2), queries.Percent(all.Agreement), figure(all.AC1, 2), counted(all.Pairs-all.BothClear, "point", "points"), queries.Count(all.BothActive)))
	}
	return append(words, "Handbooks of measurement systems give limits for kappa and for shares of wrong calls. They are common practice for parts on a bench, no law, "+
		"and were not made for walls that change between visits; none is applied here.")
}

func agreementFigure(b *queries.Book) template.HTML {
	f := chart.Dots{Frame: chart.Frame{ID: "agreement-dots", Title: "Points called alike, by technician", Desc: "Share of points called alike in a blind recheck, by technician, with 95% intervals."}, NLabel: "points"}
	for _, r := range b.Agreement {
		if r.TechnicianID == queries.AllTechnicians {
			f.Reference, f.ReferenceAt, f.ReferenceLabel = r.Enough, number(r.Agreement), "All: "+queries.Percent(r.Agreement)
			continue
		}
		f.Rows = append(f.Rows, chart.DotRow{Label: r.TechnicianID, Value: number(r.Agreement), Low: number(r.AgreementLow), High: number(r.AgreementHigh), N: int(r.Pairs), Enough: r.Enough,
			Standing: chart.InLine, Title: rateTitle(r.TechnicianID, r.Agreement, r.AgreementLow, r.AgreementHigh, r.BothActive+r.BothClear, r.Pairs)})
	}
	return f.SVG()
}

func agreementTable(b *queries.Book) Table {
	t := Table{ID: "agreement-table", Caption: "Agreement by technician", Sortable: true, Columns: []Column{{Head: "Technician"}, {Head: "Points", Numeric: true}, {Head: "Sites", Numeric: true},
		{Head: "Called alike", Unit: "95% interval", Numeric: true}, {Head: "Kappa", Unit: "95% interval", Numeric: true}, {Head: "AC1", Unit: "95% interval", Numeric: true}, {Head: "Unsure", Numeric: true}}}
	for _, r := range b.Agreement {
		alike := percent(r.Agreement)
		if r.AgreementLow.Known() {
			alike.Text += " (" + queries.Range(r.AgreementLow, r.AgreementHigh) + ")"
		}
		row := Row{Held: !r.Enough, Cells: []Cell{text(r.TechnicianID), count(r.Pairs), count(r.Sites), alike, spanned(r.Kappa, r.KappaLow, r.KappaHigh, 2),
			spanned(r.AC1, r.AC1Low, r.AC1High, 2), count(r.Unsure)}}
		if !r.Enough {
			row.Cells[4] = text(r.WhyNot)
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// callsMoreHeading names who calls movement more or less often than others on the same points.
func callsMoreHeading(b *queries.Book) string {
	more, fewer, judged := []string{}, []string{}, 0
	for _, r := range b.Agreement {
		switch {
		case r.TechnicianID == queries.AllTechnicians || !r.Enough:
			continue
		case r.Direction == queries.CallsMore:
			more = append(more, r.TechnicianID)
		case r.Direction == queries.CallsFewer:
			fewer = append(fewer, r.TechnicianID)
		}
		judged++
	}
	switch {
	case judged == 0:
		return "Too little was called twice to say who calls movement more often"
	case len(more)+len(fewer) == 0:
		return fmt.Sprintf("On the same points, none of %s calls movement more or less often than the others beyond what chance gives", counted(int64(judged), "technician", "technicians"))
	case len(fewer) == 0:
		return "On the same points, " + strings.Join(more, ", ") + " called movement more often than the others"
	case len(more) == 0:
		return "On the same points, " + strings.Join(fewer, ", ") + " called movement less often than the others"
	}
	return "On the same points, " + strings.Join(more, ", ") + " called movement more often than the others and " + strings.Join(fewer, ", ") + " less often"
}

var directionWords = map[string]string{queries.CallsMore: "more often", queries.CallsFewer: "less often", queries.CallsSame: "alike"}

func callsMoreSection(b *queries.Book) Section {
	s := Section{ID: "calls-more", Heading: callsMoreHeading(b), Source: sourceOf(b, "agreement_material", ""),
		Sub: "Points that only one of the two called active. Exact test with sites as clusters (McNemar 1947); q controls the false discovery rate over technicians. Calling more often is neither right nor wrong."}
	if len(b.Agreement) == 0 {
		return s
	}
	t := Table{ID: "calls-more-table", Caption: "Points called active by one of two", Sortable: true, Columns: []Column{{Head: "Technician"}, {Head: "Points", Numeric: true}, {Head: "Only this one", Numeric: true},
		{Head: "Only the other", Numeric: true}, {Head: "Both active", Numeric: true}, {Head: "Kappa", Unit: "95% interval", Numeric: true}, {Head: "p", Numeric: true}, {Head: "q", Numeric: true}, {Head: "Calls"}}}
	for _, r := range b.Agreement {
		if r.TechnicianID != queries.AllTechnicians {
			t.Rows = append(t.Rows, directionRow(r.TechnicianID, r.AgreementFigures, r.Enough))
		}
	}
	materials := Table{ID: "calls-more-materials", Caption: "All technicians by material: first inspection against recheck", Sortable: true, Columns: []Column{{Head: "Material"}, {Head: "Points", Numeric: true},
		{Head: "Only the first", Numeric: true}, {Head: "Only the recheck", Numeric: true}, {Head: "Both active", Numeric: true}, {Head: "Kappa", Unit: "95% interval", Numeric: true}, {Head: "p", Numeric: true}}}
	for _, r := range b.AgreementMaterial {
		if r.TechnicianID == queries.AllTechnicians {
			row := directionRow(b.Labels.Material(r.Material), r.AgreementFigures, r.Enough)
			row.Cells = row.Cells[:len(materials.Columns)]
			materials.Rows = append(materials.Rows, row)
		}
	}
	s.Tables = []Table{t, materials}
	return s
}

func directionRow(label string, f queries.AgreementFigures, enough bool) Row {
	row := Row{Held: !enough, Cells: []Cell{text(label), count(f.Pairs), count(f.OnlyThis), count(f.OnlyOther), count(f.BothActive), spanned(f.Kappa, f.KappaLow, f.KappaHigh, 2),
		chanceCell(f.DirectionP), chanceCell(f.DirectionQ), text(directionWords[f.Direction])}}
	if !enough {
		row.Cells[5], row.Cells[8] = text("too few"), text("too few to say")
	}
	return row
}

// chanceCell is a p or q value as a cell.
func chanceCell(f queries.Figure) Cell {
	c := decimal(f, 3)
	if f.Known() {
		c.Text = chance(f)
	}
	return c
}

func repeatsHeading(b *queries.Book) string {
	for _, r := range b.Repeats {
		switch {
		case r.TechnicianID != queries.AllTechnicians:
		case !r.Enough:
			return fmt.Sprintf("Too little was read twice at one gain to say how far readings repeat: %s", counted(r.CallSets, "point", "points"))
		default:
			return fmt.Sprintf("Read twice at one gain in one visit, %s of %s got the same call", queries.Percent(r.SameShare), counted(r.CallSets, "point", "points"))
		}
	}
	return "No point was read twice at one gain in one visit"
}

func repeatsSection(b *queries.Book) Section {
	s := Section{ID: "repeats", Heading: repeatsHeading(b), Source: sourceOf(b, "technician_repeats", ""),
		Sub: "Readings of one person at one point, at one gain, in one visit. Most are read again because the first showed movement or was unsure: this is the scatter of doubtful points, not of all."}
	if len(b.Repeats) == 0 {
		return s
	}
	t := Table{ID: "repeats-table", Caption: "Repeated readings by technician", Sortable: true, Columns: []Column{{Head: "Technician"}, {Head: "Points", Unit: "two levels", Numeric: true},
		{Head: "Scatter of the level", Unit: "SD, 95% interval", Numeric: true}, {Head: "Limit", Unit: "2.8 SD", Numeric: true}, {Head: "Points", Unit: "two calls", Numeric: true}, {Head: "Same call", Numeric: true}, {Head: "95% interval", Numeric: true}}}
	for _, r := range b.Repeats {
		t.Rows = append(t.Rows, Row{Held: !r.Enough, Cells: []Cell{text(r.TechnicianID), count(r.Sets), spanned(r.LevelSD, r.LevelSDLow, r.LevelSDHigh, 1), decimal(r.LevelLimit, 1),
			count(r.CallSets), percent(r.SameShare), interval(r.SameLow, r.SameHigh)}})
		if r.TechnicianID == queries.AllTechnicians && r.LevelSD.Known() {
			s.Margin = []Note{{figure(r.LevelSD, 1), fmt.Sprintf("standard deviation of the level at one point, in percent of full scale (95%% interval %s), from %s.",
				span(r.LevelSDLow, r.LevelSDHigh, 1), counted(r.Sets, "point", "points"))}}
		}
	}
	s.Tables = []Table{t}
	return s
}
