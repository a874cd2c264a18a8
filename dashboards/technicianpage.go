package dashboards

import (
	"fmt"
	"slices"
	"strings"

	"scanledger/dashboards/chart"
	"scanledger/queries"
	"scanledger/transform/protocol"
)

// technicianPages are one page for each technician, to be read and printed by itself.
func technicianPages(b *queries.Book, _ Business) []Page {
	var out []Page
	for _, id := range technicianIDs(b) {
		w := worker{b, id}
		out = append(out, Page{
			File: pageFile("technician", id), Title: "Technician " + id, Heading: w.heading(),
			Lead: fmt.Sprintf("What the records of %s say of one technician, against others under the same conditions and against the technician's own earlier months. "+
				"It asks for a look and a talk; it is no verdict and no rank. Records may be wrong, and figures of few cases stray.", period(b)),
			Sections: slices.Concat([]Section{w.standings()}, w.course(), []Section{w.gainUse(), w.agreement(), w.habits(), w.examples()}),
		})
	}
	return out
}

// technicianIDs lists everyone who is compared on anything.
func technicianIDs(b *queries.Book) []string {
	var out []string
	for _, r := range b.Consistency {
		out = append(out, r.TechnicianID)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// technicianCell names a technician and leads to the page.
func technicianCell(id string) Cell { return Cell{Text: id, Href: pageFile("technician", id)} }

// worker is one technician in the book.
type worker struct {
	b  *queries.Book
	id string
}

// of keeps the rows of the technician.
func of[R any](rows []R, id string, technician func(r R) string) []R {
	var out []R
	for _, r := range rows {
		if technician(r) == id {
			out = append(out, r)
		}
	}
	return out
}

func (w worker) measures() []queries.ConsistencyRow {
	return of(w.b.Consistency, w.id, func(r queries.ConsistencyRow) string { return r.TechnicianID })
}

// heading says on which measures the technician is outside the outer limits.
func (w worker) heading() string {
	judged, out := 0, []string{}
	for _, m := range measures {
		for _, r := range w.measures() {
			if r.Measure != m.name || !r.Enough {
				continue
			}
			judged++
			if r.Standing == queries.Act {
				out = append(out, moreOrFewerWords(r)+" "+strings.ToLower(m.heading))
			}
		}
	}
	switch {
	case judged == 0:
		return w.id + ": too few cases to compare with others"
	case len(out) == 0:
		return fmt.Sprintf("%s: within the outer limits on %s", w.id, counted(int64(judged), "measure", "measures"))
	}
	return fmt.Sprintf("%s: %s than the outer limits allow", w.id, words(out))
}

func moreOrFewerWords(r queries.ConsistencyRow) string {
	if r.Ratio < 1 {
		return "fewer"
	}
	return "more"
}

func (w worker) standings() Section {
	f := chart.Dots{Frame: chart.Frame{ID: "standing-dots", Title: "Observed over expected", Desc: "Observed over expected on each measure, with 95% intervals."},
		Ratio: true, Reference: true, ReferenceAt: 1, ReferenceLabel: "as expected", NLabel: "cases"}
	t := Table{ID: "standing-table", Caption: "Against what the average technician would give under the same conditions", Columns: []Column{{Head: "Measure"}, {Head: "Observed", Unit: "of cases", Numeric: true},
		{Head: "Expected", Numeric: true}, {Head: "Observed / expected", Unit: "95% interval", Numeric: true}, {Head: "Goes with gain", Unit: "of the difference", Numeric: true}, {Head: "Standing"}}}
	for _, m := range measures {
		for _, r := range w.measures() {
			if r.Measure != m.name {
				continue
			}
			standing := standingOf(r)
			f.Rows = append(f.Rows, chart.DotRow{Label: m.heading, Value: number(r.Ratio), Low: number(r.Low), High: number(r.High), N: int(r.Opportunities), Enough: r.Enough, Standing: standing,
				Title: fmt.Sprintf("%s: %s, %s expected; %s", m.heading, ofAll(r.Observed, r.Opportunities), figure(r.Expected, 1), standingWords[standing])})
			t.Rows = append(t.Rows, Row{Held: !r.Enough, Cells: []Cell{{Text: m.heading, Href: "technicians.html#" + m.name}, outOf(r.Observed, r.Opportunities), decimal(r.Expected, 1),
				ratioCell(r.Ratio, r.Low, r.High), gainCell(r), {Text: standingWords[standing], Mark: mark(standing)}}})
		}
	}
	return Section{ID: "standing", Heading: w.heading(),
		Sub:    "Expected for the average technician under the same materials, thicknesses, seasons, regions and purposes.",
		Figure: f.SVG(), Tables: []Table{t}, Source: sourceOf(w.b, "technician_consistency", "")}
}

// course is the technician's own months, whether or not there is a signal.
func (w worker) course() []Section {
	months := of(w.b.Drift, w.id, func(r queries.DriftRow) string { return r.TechnicianID })
	if len(months) == 0 {
		return nil
	}
	if _, ok := firstSignal(months); ok {
		return []Section{changedSection(w.b, months)}
	}
	s := Section{ID: "course", Heading: courseHeading(w.id, months), Figure: driftFigure(months), Tables: []Table{monthsTable(months)}, Source: sourceOf(w.b, "technician_drift", ""),
		Sub: "Share of verified active calls that were false alarms, by month, with 95% intervals; open circles are months with few calls."}
	return []Section{s}
}

func courseHeading(id string, months []queries.DriftRow) string {
	if watchedMonths(months) == 0 {
		return id + ": too few false alarms were to be expected to watch over time"
	}
	return id + " has not changed against earlier months beyond what chance gives"
}

func (w worker) gainUse() Section {
	s := Section{ID: "gain-use", Heading: "Too few readings to compare the use of gain", Source: sourceOf(w.b, "technician_gain", "")}
	for _, r := range of(w.b.GainUse, w.id, func(r queries.GainUseRow) string { return r.TechnicianID }) {
		s.Heading = gainUseHeading(r)
		s.Sub = fmt.Sprintf("%s readings against the others' on the same mix of materials and models; sites as clusters.", queries.Count(r.Readings))
		s.Tables = []Table{{ID: "gain-use-table", Caption: "Use of gain", Columns: []Column{{Head: "What"}, {Head: "Here", Numeric: true}, {Head: "Others", Numeric: true}},
			Rows: []Row{
				{Held: !r.Enough, Cells: []Cell{text("Mean step, share of the unit's range"), percent(r.MeanStep), percent(r.PeersMeanStep)}},
				{Held: !r.StartsEnough, Cells: []Cell{text("First reading not at the unit's starting step"), rangedShare(r.ElsewhereRate, r.ElsewhereLow, r.ElsewhereHigh, r.StartedElsewhere, r.Starts), percent(r.PeersElsewhere)}},
				{Held: !r.SteppedEnough, Cells: []Cell{text("Stepped up after a clear reading on dense material"), rangedShare(r.SteppedRate, r.SteppedLow, r.SteppedHigh, r.SteppedUp, r.DenseClear), percent(r.PeersStepped)}},
			}}}
	}
	return s
}

func gainUseHeading(r queries.GainUseRow) string {
	return map[string]string{"too few": "Too few readings to compare the use of gain", "alike": "Gain is used as the others use it on the same materials, or nearly so",
		"higher": "Gain is used higher than by the others on the same materials", "lower": "Gain is used lower than by the others on the same materials"}[gainWord(r)]
}

// rangedShare is a share with its counts and interval.
func rangedShare(rate, low, high queries.Figure, n, all int64) Cell {
	c := percent(rate)
	c.Text = fmt.Sprintf("%s, %s (%s)", ofAll(n, all), c.Text, queries.Range(low, high))
	return c
}

func (w worker) agreement() Section {
	s := Section{ID: "agreement", Heading: "No points of this technician were called twice", Source: sourceOf(w.b, "technician_agreement", "")}
	for _, r := range of(w.b.Agreement, w.id, func(r queries.AgreementRow) string { return r.TechnicianID }) {
		s.Heading = fmt.Sprintf("Too little was called twice to say how far others agree: %s", counted(r.Pairs, "point", "points"))
		if r.Enough {
			s.Heading = fmt.Sprintf("Others called the same point alike at %s of %s; kappa is %s (95%% interval %s)", queries.Percent(r.Agreement), counted(r.Pairs, "point", "points"),
				figure(r.Kappa, 2), span(r.KappaLow, r.KappaHigh, 2))
		}
		s.Sub = fmt.Sprintf("Blind rechecks at either end. Only this technician called active: %s; only the other: %s; both: %s. Agreement is no truth.", queries.Count(r.OnlyThis),
			queries.Count(r.OnlyOther), queries.Count(r.BothActive))
	}
	for _, r := range of(w.b.Repeats, w.id, func(r queries.RepeatRow) string { return r.TechnicianID }) {
		if r.Enough {
			s.Paragraphs = append(s.Paragraphs, fmt.Sprintf("Read again at the same point and gain in one visit (%s), the level strays by %s points (standard deviation), and the call was the same at %s.",
				counted(r.Sets, "time", "times"), figure(r.LevelSD, 1), queries.Percent(r.SameShare)))
		}
	}
	return s
}

func (w worker) habits() Section {
	t := Table{ID: "protocol-table", Caption: "How inspections were done, check by check", Sortable: true, Columns: []Column{{Head: "Check"}, {Head: "Breaches", Unit: "of chances", Numeric: true},
		{Head: "Rate", Unit: "95% interval", Numeric: true}, {Head: "Others", Numeric: true}, {Head: "Standing"}}}
	var out []string
	for _, r := range of(w.b.Protocol, w.id, func(r queries.ProtocolRow) string { return r.TechnicianID }) {
		check, _ := protocol.Lookup(r.Check)
		standing := Cell{Text: r.WhyNot}
		if r.Standing != "" {
			standing = Cell{Text: standingWords[r.Standing], Mark: mark(r.Standing)}
		}
		if r.Standing == queries.Act {
			out = append(out, strings.ToLower(check.Title))
		}
		rate := percent(r.Rate)
		if r.Low.Known() {
			rate.Text += " (" + queries.Range(r.Low, r.High) + ")"
		}
		t.Rows = append(t.Rows, Row{Held: !r.Enough, Cells: []Cell{{Text: check.Title, Href: pageFile("check", r.Check)}, outOf(r.Breaches, r.Chances), rate, percent(r.Others), standing}})
	}
	s := Section{ID: "protocol", Heading: "Nothing stands out in how inspections were done", Tables: []Table{t}, Source: sourceOf(w.b, "protocol", ""),
		Sub: "A breach is a departure from what was asked, not a fault: the record may be wrong, or the rule unfit for the place."}
	switch {
	case len(t.Rows) == 0:
		s.Heading, s.Tables = "No check had a chance to be breached", nil
	case len(out) > 0:
		s.Heading = "Clearly more often than with the others: " + words(out)
	}
	return s
}

// mostExamples is how many inspections a technician's page lists. (House's choice.)
const mostExamples = 12

func (w worker) examples() Section {
	rows := of(w.b.Inspections, w.id, func(r queries.InspectionRow) string { return r.TechnicianID })
	t := Table{ID: "examples-table", Caption: "The weightiest flagged inspections", Sortable: true, Columns: []Column{{Head: "Inspection"}, {Head: "Date"}, {Head: "Points", Numeric: true}, {Head: "Called active", Numeric: true},
		{Head: "False alarms", Numeric: true}, {Head: "Missed", Numeric: true}, {Head: "Breaches", Numeric: true}}}
	for _, r := range rows[:min(len(rows), mostExamples)] {
		t.Rows = append(t.Rows, Row{Cells: []Cell{{Text: r.InspectionID, Href: inspectionLink(w.b, r.InspectionID)}, day(r.Date), count(r.Points), count(r.CalledActive), count(r.FalseAlarms), count(r.Missed), count(r.Breaches)}})
	}
	s := Section{ID: "examples", Heading: fmt.Sprintf("%s flagged", counted(int64(len(rows)), "inspection is", "inspections are")), Tables: []Table{t}, Source: sourceOf(w.b, "flagged_inspections", ""),
		Sub: fmt.Sprintf("Flagged for a false alarm, a missed point or breaches of consequence; at most %d are listed here, all are in the CSV.", mostExamples)}
	if len(rows) == 0 {
		s.Heading, s.Tables = "No inspection is flagged", nil
	}
	return s
}
