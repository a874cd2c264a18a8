package dashboards

import (
	"fmt"
	"html/template"
	"slices"
	"strings"

	"scanledger/dashboards/chart"
	"scanledger/queries"
	"scanledger/transform/protocol"
)

// What the page of one inspection holds at most; results hold all of it.
const (
	mostPoints   = 40 // in the figure; the table holds more
	mostReadings = 300
)

// inspectionLink is the page of an inspection, or "" where it has none.
func inspectionLink(b *queries.Book, id string) string {
	if _, ok := slices.BinarySearch(b.Paged, id); ok {
		return pageFile("inspection", id)
	}
	return ""
}

// inspectionPages are one page for each inspection chosen.
func inspectionPages(b *queries.Book, _ Business) []Page {
	readings, breaches, traces := map[string][]queries.InspectionReadingRow{}, map[string][]queries.BreachRow{}, map[string][]queries.TraceRow{}
	for _, r := range b.InspectionReadings {
		readings[r.InspectionID] = append(readings[r.InspectionID], r)
	}
	for _, r := range b.Breaches {
		breaches[r.InspectionID] = append(breaches[r.InspectionID], r)
	}
	for _, r := range b.Traces {
		traces[r.InspectionID] = append(traces[r.InspectionID], r)
	}
	var out []Page
	for _, r := range b.Inspections {
		if r.Page {
			v := visit{r, pointsOf(readings[r.InspectionID]), readings[r.InspectionID], breaches[r.InspectionID], traces[r.InspectionID]}
			out = append(out, v.page(b))
		}
	}
	return out
}

// visit is all that is known of one inspection.
type visit struct {
	queries.InspectionRow
	points   []visitPoint // in order of their first reading, control places last
	readings []queries.InspectionReadingRow
	breaches []queries.BreachRow
	traces   []queries.TraceRow // holds in the log of its units, in order of time
}

// visitPoint is one place with its readings, in order of time.
type visitPoint struct {
	id       string
	control  bool
	readings []queries.InspectionReadingRow
}

func pointsOf(readings []queries.InspectionReadingRow) []visitPoint {
	var out []visitPoint
	for _, control := range []bool{false, true} {
		at := map[string]int{}
		for _, r := range readings {
			if r.Control != control {
				continue
			}
			if _, ok := at[r.PointID]; !ok {
				at[r.PointID] = len(out)
				out = append(out, visitPoint{id: r.PointID, control: control})
			}
			p := &out[at[r.PointID]]
			p.readings = append(p.readings, r)
		}
	}
	return out
}

func (v visit) page(b *queries.Book) Page {
	return Page{
		File: pageFile("inspection", v.InspectionID), Title: "Inspection " + v.InspectionID, Heading: v.heading(),
		Lead: fmt.Sprintf("Inspection %s at site %s on %s by %s. What is shown here asks for a look, not a verdict: no sensor shows everything, and walls hold more than termites.",
			v.InspectionID, v.SiteID, v.Date, v.TechnicianID),
		Sections: []Section{v.stripSection(b), v.breachSection(b), v.logSection(b), v.circumstances(b), v.readingsSection(b)},
	}
}

// heading says what the inspection was flagged for.
func (v visit) heading() string {
	var parts []string
	if v.Missed > 0 {
		parts = append(parts, counted(v.Missed, "point called clear was found active", "points called clear were found active"))
	}
	if v.FalseAlarms > 0 {
		parts = append(parts, counted(v.FalseAlarms, "active call was found to be something else", "active calls were found to be something else"))
	}
	if len(parts) < 2 && v.Breaches > 0 {
		parts = append(parts, counted(v.Breaches, "breach of the protocol", "breaches of the protocol"))
	}
	if len(parts) == 0 {
		parts = append(parts, counted(v.Sampled, "point drawn for an audit", "points drawn for an audit"))
	}
	return v.InspectionID + ": " + strings.Join(parts, ", ")
}

func (v visit) stripSection(b *queries.Book) Section {
	shown := v.points[:min(len(v.points), mostPoints)]
	s := Section{ID: "strip", Heading: stripHeading(v.InspectionRow),
		Sub:    "One row a point: gain steps over time, with what each reading showed, and on the right what was found there later.",
		Figure: stripFigure(v.InspectionID, shown),
		Tables: []Table{v.pointsTable(b)}, Source: sourceOf(b, "inspection_readings", ""),
		Margin: []Note{{queries.Count(v.Points), "points tested."}, {queries.Count(v.CalledActive), "called active."}, {queries.Count(v.Unsure), "left unsure."}}}
	if len(shown) < len(v.points) {
		s.Paragraphs = []string{fmt.Sprintf("The figure shows the first %d of %d places.", len(shown), len(v.points))}
	}
	return s
}

func stripHeading(r queries.InspectionRow) string {
	if r.Readings == 0 {
		return "No point was read"
	}
	text := fmt.Sprintf("%s at %s", counted(r.Readings, "reading", "readings"), counted(r.Points, "point", "points"))
	if r.Controls == 0 {
		return text + ", no control reading"
	}
	return text + ", " + counted(r.Controls, "control reading", "control readings")
}

func stripFigure(id string, points []visitPoint) template.HTML {
	f := chart.Strip{Frame: chart.Frame{ID: "strip-figure", Title: "Readings of inspection " + id, Desc: "For each point the gain steps over time, the calls, and what was found later."}}
	for _, p := range points {
		row := chart.StripPoint{Label: p.id, Finding: p.foundShort(), Decisive: p.readings[0].VerifiedBy == "decisive"}
		if p.control {
			row.Label, row.Finding, row.Decisive = p.id+" (control)", "known to be clear", false
		}
		for _, r := range p.readings {
			row.Readings = append(row.Readings, chart.StripReading{Minute: number(r.Minute), Gain: r.Gain, Call: stripCalls[r.Call], Title: readingTitle(r)})
		}
		f.Points = append(f.Points, row)
	}
	return f.SVG()
}

var stripCalls = map[string]string{"active": chart.Shown, "clear": chart.NotShown, "unsure": chart.Unclear}

var callWords = map[string]string{"active": "movement shown", "clear": "no movement shown", "unsure": "unclear"}

func readingTitle(r queries.InspectionReadingRow) string {
	text := fmt.Sprintf("%s, minute %.1f, gain %d: %s", r.PointID, float64(r.Minute), r.Gain, callWords[r.Call])
	if r.LevelPct.Known() {
		text += fmt.Sprintf(", level %g%%", float64(r.LevelPct))
	}
	if r.HoldS.Known() {
		text += fmt.Sprintf(", held %g s", float64(r.HoldS))
	}
	return text
}

var truthWords = map[string]string{"active": "activity found", "not_active": "no activity", "unverified": "not looked at"}

// foundShort says what was found in the width that the figure has.
func (p visitPoint) foundShort() string {
	r := p.readings[0]
	if r.VerifiedBy == "report" {
		return "activity reported"
	}
	return truthWords[r.Truth]
}

// found says what was found, how and when.
func (p visitPoint) found() string {
	r := p.readings[0]
	if p.control {
		return "control: known to be clear"
	}
	text := p.foundShort()
	if r.VerifiedBy == "decisive" {
		if r.Found != "active" {
			text += ": " + strings.ReplaceAll(r.Found, "_", " ")
		}
		if r.Cause != "" {
			text += ", " + strings.ReplaceAll(r.Cause, "_", " ")
		}
		text += " (" + r.Method + ")"
	}
	if r.DaysToFinding != nil {
		text += fmt.Sprintf(", %s", counted(*r.DaysToFinding, "day later", "days later"))
	}
	return text
}

func (v visit) pointsTable(b *queries.Book) Table {
	t := Table{ID: "points-table", Caption: "Points in the order read", Sortable: true, Columns: []Column{{Head: "Point"}, {Head: "Material"}, {Head: "Thickness", Unit: "mm", Numeric: true},
		{Head: "Readings", Numeric: true}, {Head: "Call"}, {Head: "Found later"}}}
	for _, p := range v.points[:min(len(v.points), mostReadings)] {
		r := p.readings[0]
		t.Rows = append(t.Rows, Row{Cells: []Cell{text(p.id), text(b.Labels.Material(r.Material)), decimal(r.ThicknessMM, 1), count(int64(len(p.readings))), text(callWords[r.PointCall]), text(p.found())}})
	}
	return t
}

func (v visit) breachSection(b *queries.Book) Section {
	t := Table{ID: "breaches-table", Caption: "Breaches of the protocol", Sortable: true, Columns: []Column{{Head: "Check"}, {Head: "Place"}, {Head: "Seen"}, {Head: "Asked"}}}
	shown := v.breaches[:min(len(v.breaches), mostReadings)]
	for _, r := range shown {
		c, _ := protocol.Lookup(r.Check)
		t.Rows = append(t.Rows, Row{Cells: []Cell{{Text: c.Title, Href: pageFile("check", r.Check)}, text(place(r)), text(r.Seen), text(r.Asked)}})
	}
	s := Section{ID: "breaches", Heading: breachHeading(v.breaches), Tables: []Table{t}, Source: sourceOf(b, "protocol_breaches", "")}
	if len(shown) < len(v.breaches) {
		s.Sub = fmt.Sprintf("The first %d; the CSV below holds all.", len(shown))
	}
	if len(shown) == 0 {
		s.Tables = nil
	}
	return s
}

func breachHeading(rows []queries.BreachRow) string {
	checks := map[string]bool{}
	for _, r := range rows {
		checks[r.Check] = true
	}
	if len(rows) == 0 {
		return "No check was breached"
	}
	return fmt.Sprintf("%s breached, %s in all", counted(int64(len(checks)), "check was", "checks were"), counted(int64(len(rows)), "time", "times"))
}

// circumstances are what the day was like.
func (v visit) circumstances(b *queries.Book) Section {
	t := Table{ID: "circumstances-table", Caption: "Circumstances", Columns: []Column{{Head: "What"}, {Head: "On record"}}}
	add := func(what, value string) {
		if value == "" {
			value = "not recorded"
		}
		t.Rows = append(t.Rows, Row{Cells: []Cell{text(what), text(value)}})
	}
	add("Region", b.Labels.Region(v.Region))
	add("Began", v.Date+" "+v.Start)
	add("Took", measured1(v.Minutes, "min"))
	add("Purpose", strings.ReplaceAll(v.Purpose, "_", " "))
	add("Outcome reported", callWords[v.Outcome]+inconclusive[v.Outcome])
	add("Units", v.Units)
	add("Air temperature", measured1(v.AirTempC, "°C"))
	add("Wind", measured1(v.WindKmh, "km/h"))
	add("Rain", v.Rain)
	if v.Sampled > 0 {
		add("Drawn for an audit", counted(v.Sampled, "point", "points"))
	}
	add("Areas not inspected", v.Areas)
	return Section{ID: "circumstances", Heading: tookHeading(v.InspectionRow), Tables: []Table{t}, Source: sourceOf(b, "flagged_inspections", "")}
}

// inconclusive is the one outcome that is no call.
var inconclusive = map[string]string{"inconclusive": "inconclusive"}

func measured1(f queries.Figure, unit string) string {
	if !f.Known() {
		return ""
	}
	return fmt.Sprintf("%.1f %s", float64(f), unit)
}

func tookHeading(r queries.InspectionRow) string {
	switch {
	case !r.Minutes.Known():
		return "When the visit ended is not recorded"
	case r.Points == 0:
		return fmt.Sprintf("The visit took %.0f minutes", float64(r.Minutes))
	}
	return fmt.Sprintf("The visit took %.0f minutes, %.1f a point", float64(r.Minutes), float64(r.Minutes)/float64(r.Points))
}

func (v visit) readingsSection(b *queries.Book) Section {
	t := Table{ID: "readings-table", Caption: "Every reading in order of time", Sortable: true, Folded: true, Columns: []Column{{Head: "Minute", Numeric: true}, {Head: "Reading"}, {Head: "Point"}, {Head: "Unit"},
		{Head: "Gain", Numeric: true}, {Head: "Hold", Unit: "s", Numeric: true}, {Head: "Level", Unit: "%", Numeric: true}, {Head: "Call"}, {Head: "Battery", Unit: "%", Numeric: true}}}
	for _, r := range v.readings[:min(len(v.readings), mostReadings)] {
		point := r.PointID
		if r.Control {
			point += " (control)"
		}
		t.Rows = append(t.Rows, Row{Cells: []Cell{decimal(r.Minute, 1), text(r.ReadingID), text(point), text(r.UnitID), count(int64(r.Gain)), decimal(r.HoldS, 1), decimal(r.LevelPct, 1),
			text(callWords[r.Call]), decimal(r.BatteryPct, 0)}})
	}
	s := Section{ID: "readings", Heading: counted(int64(len(v.readings)), "reading was written down", "readings were written down"), Tables: []Table{t}, Source: sourceOf(b, "inspection_readings", "")}
	if len(t.Rows) < len(v.readings) {
		s.Sub = fmt.Sprintf("The first %d; the CSV below holds all.", len(t.Rows))
	}
	if len(t.Rows) == 0 {
		s.Tables = nil
	}
	return s
}
