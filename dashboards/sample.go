package dashboards

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"

	"scanledger/queries"
	"scanledger/queries/sampling"
)

// samplePages are the pages of one audit sample. The list for those who test again says nothing of what was
// called: they test blind.
var samplePages = []struct {
	link Link
	make func(s queries.Sample) Page
}{
	{Link{"index.html", "For the auditor"}, sampleAuditorPage},
	{Link{"rechecks.html", "To test again"}, recheckPage},
	{Link{"openings.html", "To open"}, openingPage},
}

// WriteSample makes the pages of a sample in dir.
func WriteSample(dir string, s queries.Sample, biz Business) error {
	site := Site{Business: biz.Name, AsOf: s.AsOf, From: s.Month, To: s.Month, Caution: caution,
		Inputs: fmt.Sprintf("Sample %s of %s points.", s.Name, queries.Count(int64(s.Sizes.Frame)))}
	for _, p := range samplePages {
		site.Nav = append(site.Nav, p.link)
	}
	for _, p := range samplePages {
		page := p.make(s)
		page.File = p.link.File
		if err := writePage(dir, site, page); err != nil {
			return err
		}
	}
	return nil
}

func sampleAuditorPage(s queries.Sample) Page {
	return Page{
		Title:   "Audit sample of " + monthName(s.Month),
		Heading: sampleHeading(s),
		Lead: fmt.Sprintf("The audit sample of %s, as of %s: %s at random, by technician, and %s weighted to risk. Not for those who test again: it shows the calls.",
			monthName(s.Month), s.AsOf, queries.Count(int64(s.Sizes.Random)), queries.Count(int64(s.Sizes.Risk))),
		Sections: []Section{showsSection(s), drawnSection(s), whoSection(s), riskSection(s), keptSection(s)},
	}
}

func sampleHeading(s queries.Sample) string {
	are, n := "are", int64(s.Sizes.Random+s.Sizes.Risk)
	if n == 1 {
		are = "is"
	}
	return fmt.Sprintf("%s calls %s drawn to be checked again", ofAll(n, int64(s.Sizes.Frame)), are)
}

// showsHeading says what is left open when nothing is found.
func showsHeading(s queries.Sample) string {
	switch {
	case s.Sizes.Random == 0:
		return "Without a random part, the sample says nothing of the points it leaves"
	case s.Shows.AtMost == 0:
		return "Every call of the month is drawn: with all of them back, nothing is left open but the errors of the checks"
	}
	return fmt.Sprintf("Without one fault, the random part would still leave room for faults at %s of calls", queries.Percent(queries.Figure(s.Shows.AtMostShare)))
}

func showsSection(s queries.Sample) Section {
	out := Section{ID: "shows", Heading: showsHeading(s),
		Sub:        fmt.Sprintf("What a sample without faults would and would not show, worked out for the %s random points among the %s they stand for.", queries.Count(int64(s.Sizes.Random)), queries.Count(int64(s.Shows.Rest))),
		Paragraphs: append(slices.Clone(s.Shows.Would), s.Shows.WouldNot...)}
	if len(s.Shows.Chances) == 0 {
		return out
	}
	t := Table{ID: "chances", Caption: "Chance that the random part holds no fault, by the share of calls at fault", Columns: []Column{{Head: "Calls at fault", Numeric: true}, {Head: "Of them", Numeric: true},
		{Head: "No fault found", Unit: "checks find every fault", Numeric: true}, {Head: "No fault found", Unit: "checks find 80%", Numeric: true}}}
	if s.Sizes.Accept != nil {
		t.Columns = append(t.Columns, Column{Head: "Passes the plan", Unit: fmt.Sprintf("at most %d", *s.Sizes.Accept), Numeric: true})
	}
	for _, c := range s.Shows.Chances {
		row := Row{Cells: []Cell{percent(queries.Figure(c.Share)), count(int64(c.Faults)), percent(queries.Figure(c.NoFault)), percent(figureOr(c.NoFaultErring))}}
		if s.Sizes.Accept != nil {
			row.Cells = append(row.Cells, percent(figureOr(c.Passes)))
		}
		t.Rows = append(t.Rows, row)
	}
	out.Tables = []Table{t}
	out.Margin = []Note{{queries.Percent(queries.Figure(s.Shows.AtMostShare)), fmt.Sprintf("of %s points, %s, could still be at fault with 95%% confidence if all %s random ones came back without one.",
		queries.Count(int64(s.Shows.Rest)), queries.Count(int64(s.Shows.AtMost)), queries.Count(int64(s.Sizes.Random)))}}
	return out
}

func figureOr(v *float64) queries.Figure {
	if v == nil {
		return queries.Unknown
	}
	return queries.Figure(*v)
}

func drawnSection(s queries.Sample) Section {
	t := Table{ID: "drawn-table", Caption: "Drawn points by region and site", Sortable: true, Find: true, Columns: []Column{{Head: "Site"}, {Head: "Point"}, {Head: "Inspection"}, {Head: "Technician"},
		{Head: "Call"}, {Head: "Drawn"}, {Head: "Chance", Numeric: true}, {Head: "Stands for", Unit: "calls", Numeric: true}, {Head: "To do"}, {Head: "Due by"}}}
	for _, r := range s.Items() {
		t.Rows = append(t.Rows, Row{Cells: []Cell{text(r.SiteID), text(r.PointID), text(r.InspectionID), text(r.TechnicianID), text(r.Call), text(r.Reason),
			percent(queries.Figure(r.Chance)), decimal(queries.Figure(r.Weight), 1), text(toDo(r)), day(r.DueBy)}})
	}
	return Section{ID: "drawn", Heading: drawnHeading(s), Tables: []Table{t},
		Sub: "Each drawn call with its reason and its chance of being drawn; its answer counts for as many calls as it stands for."}
}

// drawnHeading says how much there is to do.
func drawnHeading(s queries.Sample) string {
	var rechecks, openings int64
	for _, r := range s.Items() {
		if r.Recheck {
			rechecks++
		}
		if r.Open {
			openings++
		}
	}
	return fmt.Sprintf("%s to test again, %s to open", counted(rechecks, "point", "points"), counted(openings, "clear point", "clear points"))
}

func toDo(r queries.DrawnItem) string {
	switch {
	case r.Recheck && r.Open:
		return "test again, then open"
	case r.Recheck:
		return "test again"
	case r.Open:
		return "open; was tested again"
	}
	return "nothing; has both answers"
}

// whoSection shows that the random part reaches every technician. It compares nobody.
func whoSection(s queries.Sample) Section {
	type share struct{ frame, random, risk int64 }
	by, order := map[string]*share{}, []string{}
	for _, r := range s.Frame {
		if by[r.TechnicianID] == nil {
			by[r.TechnicianID], order = &share{}, append(order, r.TechnicianID)
		}
		at := by[r.TechnicianID]
		at.frame++
		switch r.Part {
		case sampling.Random:
			at.random++
		case sampling.Risk:
			at.risk++
		}
	}
	slices.Sort(order)
	t := Table{ID: "who-table", Caption: "Calls and drawn points by technician", Sortable: true, Columns: []Column{{Head: "Technician"}, {Head: "Calls", Numeric: true}, {Head: "Drawn at random", Numeric: true},
		{Head: "Weighted to risk", Numeric: true}}}
	var without int64
	for _, technician := range order {
		at := by[technician]
		if at.random+at.risk == 0 {
			without++
		}
		t.Rows = append(t.Rows, Row{Cells: []Cell{text(technician), count(at.frame), count(at.random), count(at.risk)}})
	}
	heading := fmt.Sprintf("Each of %s has at least one point drawn", counted(int64(len(order)), "technician", "technicians"))
	if without > 0 {
		heading = fmt.Sprintf("%s without a drawn point: the sample is smaller than one each", counted(without, "technician is", "technicians are"))
	}
	return Section{ID: "who", Heading: heading, Tables: []Table{t},
		Sub: "The random part goes by how many calls each made. Few points each: they say something of all technicians together, and nobody is judged by them."}
}

func riskSection(s queries.Sample) Section {
	var with int64
	top := int32(1)
	for _, r := range s.Frame {
		if r.Score > 1 {
			with++
		}
		top = max(top, r.Score)
	}
	t := Table{ID: "signs", Caption: "What adds to the score", Columns: []Column{{Head: "Sign of risk"}, {Head: "Adds", Numeric: true}}}
	for _, sign := range s.Signs {
		t.Rows = append(t.Rows, Row{Cells: []Cell{text(sign.Text), count(int64(sign.Points))}})
	}
	return Section{ID: "risk", Heading: fmt.Sprintf("%s of %s calls show a sign of risk", queries.Count(with), queries.Count(int64(len(s.Frame)))), Tables: []Table{t},
		Sub: fmt.Sprintf("Every call starts with a score of 1; the highest here is %d. In the part weighted to risk, the chance of being drawn follows the score. The signs and their weights are the house's choice, and no finding.", top)}
}

func keptSection(s queries.Sample) Section {
	t := Table{ID: "kept-table", Caption: "What draws it again", Columns: []Column{{Head: "What"}, {Head: "Value"}}}
	for _, kept := range [][2]string{{"Name in the store", s.Name}, {"Seed", strconv.FormatUint(s.Seed, 10)}, {"Calls in the frame", queries.Count(int64(s.Sizes.Frame))},
		{"SHA-256 of frame.csv, as drawn", s.FrameSum}} {
		t.Rows = append(t.Rows, Row{Cells: []Cell{text(kept[0]), {Text: kept[1], Class: "code"}}})
	}
	return Section{ID: "kept", Heading: fmt.Sprintf("Seed %d draws this sample again", s.Seed), Paragraphs: s.Notes, Tables: []Table{t}}
}

// fieldTable is a list to be taken along: who goes where by when, with room to write.
func fieldTable(name, caption string, items []queries.DrawnItem, blank ...string) Table {
	t := Table{ID: name, Caption: caption, Columns: []Column{{Head: "No.", Numeric: true}, {Head: "Region"}, {Head: "Site"}, {Head: "Point"}, {Head: "Recheck of"}, {Head: "Not by"}, {Head: "Due by"}}}
	for _, b := range blank {
		t.Columns = append(t.Columns, Column{Head: b})
	}
	for _, r := range items {
		row := Row{Cells: []Cell{count(int64(r.Nth)), text(r.Region), text(r.SiteID), text(r.PointID), text(r.InspectionID), text(r.TechnicianID), day(r.DueBy)}}
		for range blank {
			row.Cells = append(row.Cells, text(""))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// inTurn keeps the items to do, the most pressing first.
func inTurn(s queries.Sample, todo func(queries.DrawnItem) bool) []queries.DrawnItem {
	items := slices.DeleteFunc(s.Items(), func(r queries.DrawnItem) bool { return !todo(r) })
	slices.SortStableFunc(items, func(a, b queries.DrawnItem) int { return cmp.Compare(a.Region, b.Region) })
	return items
}

func recheckPage(s queries.Sample) Page {
	items := inTurn(s, func(r queries.DrawnItem) bool { return r.Recheck })
	return Page{
		Title: "Points to test again", Heading: counted(int64(len(items)), "point", "points") + " to test again, blind",
		Lead: fmt.Sprintf("From the inspections of %s. Whoever tests does not know what was called there, at which gain, or why the point is on the list: hand out this page alone.", monthName(s.Month)),
		Sections: []Section{{ID: "list", Heading: "Go by region and site; test every point in full, as on a first visit",
			Sub:    "Record each site as one inspection with purpose recheck, recheck_of as given, and the same point ids. Not by the technician named.",
			Tables: []Table{fieldTable("rechecks", "Points to test again", items, "Date", "Tested by")}}, cautionSection()},
	}
}

func openingPage(s queries.Sample) Page {
	items := inTurn(s, func(r queries.DrawnItem) bool { return r.Open })
	return Page{
		Title: "Points to open", Heading: counted(int64(len(items)), "clear point", "clear points") + " to open once tested again",
		Lead: fmt.Sprintf("From the inspections of %s: points called clear, chosen by lot. They are opened whatever the second test shows, for only then do they speak for the others.", monthName(s.Month)),
		Sections: []Section{cautionSection(), {ID: "list", Heading: "Open, drill or look in with a borescope by the day given, or say why not",
			Sub:    "A finding after that day no longer tells about the visit. Not by the technician named. A point that cannot be opened is left out, never replaced by another.",
			Tables: []Table{fieldTable("openings", "Clear points to open", items, "Allowed by", "Fibre cement, cables, pipes", "Date", "Found")}}},
	}
}
