package dashboards

import (
	"fmt"
	"strings"

	"scanledger/queries"
)

func overviewPage(b *queries.Book, biz Business) Page {
	return Page{
		Title:   "Overview",
		Heading: overviewHeading(b),
		Lead: fmt.Sprintf("What the calls of %s say, from what had been received by %s. Every rate stands with its interval and its count.",
			period(b), b.AsOf),
		Sections: []Section{thisMonthSection(b, biz), nextSection(b, biz), heldUpSection(b), flowSection(b), quoteSection(b), costSection(b, biz)},
	}
}

// overviewHeading answers whether the calls can be trusted, or says why that cannot be said.
func overviewHeading(b *queries.Book) string {
	all, ok := allAccuracy(b)
	switch {
	case !ok || all.ActiveCalls+all.ClearCalls == 0:
		return "No calls have been taken in yet"
	case !all.Enough:
		return fmt.Sprintf("Too few active calls have been checked to say how they hold up: %s of %s",
			queries.Count(all.ActiveVerified), queries.Count(all.ActiveCalls))
	}
	return fmt.Sprintf("%s of checked active calls were confirmed", queries.Percent(all.PPV))
}

func allAccuracy(b *queries.Book) (queries.AccuracyRow, bool) {
	for _, r := range b.Accuracy {
		if r.By == "all" {
			return r, true
		}
	}
	return queries.AccuracyRow{}, false
}

// maxActions is how many findings the overview lists.
const maxActions = 5

// nextSection lists what to do, the dearest first.
func nextSection(b *queries.Book, biz Business) Section {
	actions := queries.Actions(b.Findings, biz.FalseAlarmCost, biz.MissedCost)
	s := Section{ID: "findings", Heading: nextHeading(b, actions, biz)}
	if len(actions) > 0 {
		s.Sub = fmt.Sprintf("From everything on record, %s. Costs are of known wrong calls beyond what was expected, by what the house says each costs; circumstances overlap, so they do not add up.", period(b))
	}
	for _, f := range actions[:min(maxActions, len(actions))] {
		s.List = append(s.List, Item{actionText(f, biz), findingLink(f)})
	}
	if len(b.Findings) == 0 {
		s.Paragraphs = []string{"There are too few calls and findings to say anything. The records page tells what was taken in."}
	}
	if n := len(actions) - maxActions; n > 0 {
		s.Paragraphs = []string{fmt.Sprintf("%s; the list of open matters holds them.", counted(int64(n), "more thing to do", "more things to do"))}
	}
	return s
}

func nextHeading(b *queries.Book, actions []queries.Finding, biz Business) string {
	n := int64(min(maxActions, len(actions)))
	switch {
	case len(b.Findings) == 0:
		return "The figures say nothing yet"
	case n == 0:
		return "Nothing in the figures asks for action"
	case n == 1:
		return "What to do next"
	case biz.FalseAlarmCost+biz.MissedCost == 0:
		return fmt.Sprintf("What to do next: %s, the most wrong calls beyond expectation first", counted(n, "thing", "things"))
	}
	return fmt.Sprintf("What to do next: %s, the dearest first", counted(n, "thing", "things"))
}

// actionText says what to do, why, and what it is about in money.
func actionText(f queries.Finding, biz Business) string {
	text := f.Do + " " + f.Text
	if cost := f.Cost(biz.FalseAlarmCost, biz.MissedCost); cost.Known() && cost >= 1 {
		text += fmt.Sprintf(" Wrong calls beyond expectation cost about %s.", money(cost, biz))
	}
	return text
}

// findingLink leads to the evidence: the page of the technician where there is one.
func findingLink(f queries.Finding) string {
	if f.TechnicianID != "" {
		return pageFile("technician", f.TechnicianID)
	}
	return f.Page
}

func heldUpSection(b *queries.Book) Section {
	all, _ := allAccuracy(b)
	s := Section{
		ID:      "held-up",
		Heading: heldUpHeading(b),
		Sub: fmt.Sprintf("Share of verified active calls that were confirmed, by month of the visit; bars are 95%% intervals. %s verified active calls.",
			queries.Count(all.ActiveVerified)),
		Figure: confirmedMonths(b),
		Source: sourceOf(b, "accuracy", fmt.Sprintf("%s active calls, %s of them verified, %s confirmed.",
			queries.Count(all.ActiveCalls), queries.Count(all.ActiveVerified), queries.Count(all.Confirmed))),
		Margin: []Note{{queries.Percent(all.PPV), fmt.Sprintf("of %s verified active calls were confirmed (95%% interval %s).",
			queries.Count(all.ActiveVerified), queries.Range(all.PPVLow, all.PPVHigh))}},
	}
	if all.ClearVerifiedShare.Known() {
		s.Margin = append(s.Margin, Note{queries.Percent(all.ClearVerifiedShare), fmt.Sprintf("of %s clear calls were ever checked; %s of those were active.",
			queries.Count(all.ClearCalls), ofAll(all.Missed, all.ClearVerified))})
	}
	if !all.Enough {
		s.Margin = []Note{{"", fmt.Sprintf("%s verified active calls: too few for a rate.", queries.Count(all.ActiveVerified))}}
	}
	return s
}

// heldUpHeading compares the newest and the earliest half of the months that have enough, and claims a
// change only where the two intervals do not touch.
func heldUpHeading(b *queries.Book) string {
	var months []queries.AccuracyRow
	for _, r := range b.Accuracy {
		if r.By == "month" && r.Enough {
			months = append(months, r)
		}
	}
	if len(months) < 2 {
		return "Too few months have enough checked calls to show a course"
	}
	first, last := months[0], months[len(months)-1]
	switch {
	case last.PPVLow > first.PPVHigh:
		return fmt.Sprintf("More active calls are confirmed in %s than in %s", monthName(*last.Month), monthName(*first.Month))
	case last.PPVHigh < first.PPVLow:
		return fmt.Sprintf("Fewer active calls are confirmed in %s than in %s", monthName(*last.Month), monthName(*first.Month))
	}
	return fmt.Sprintf("Between %s and %s, no change in confirmed calls beyond what chance gives", monthName(*first.Month), monthName(*last.Month))
}

func flowSection(b *queries.Book) Section {
	f := flowCounts(b)
	checked := f["verified active"] + f["verified clear"] + f["verified unsure"]
	s := Section{
		ID:      "flow",
		Heading: fmt.Sprintf("%s points tested, %s later checked by looking", queries.Count(f["points"]), queries.Count(checked)),
		Sub:     "From readings to findings, with the counts lost at each step (after STARD 2015). Decisive findings only: opened, drilled, borescope.",
		Figure:  flowFigure(f),
		Source:  sourceOf(b, "flow", ""),
	}
	if f["points"] == 0 {
		s.Heading = "No points have been tested yet"
	}
	return s
}

// flowCounts are the rows of flow by step, call and outcome, joined by spaces.
func flowCounts(b *queries.Book) map[string]int64 {
	out := map[string]int64{}
	for _, r := range b.Flow {
		key := r.Step
		for _, part := range []string{r.Call, r.Outcome} {
			if part != "" {
				key += " " + part
			}
		}
		out[key] += r.N
	}
	return out
}

// quoteSection is what may be said, as one paragraph.
func quoteSection(b *queries.Book) Section {
	var sentences []string
	for _, r := range b.Statement {
		sentences = append(sentences, r.Text)
	}
	return Section{
		ID: "quote", Heading: quoteHeading(b),
		Sub:    "One click marks the whole paragraph, to be copied. Quote it whole: a rate without its count, interval and limits says more than was seen.",
		Quote:  strings.Join(sentences, " "),
		Source: sourceOf(b, "statement", ""),
	}
}

// quoteHeading says how many rates the paragraph holds.
func quoteHeading(b *queries.Book) string {
	var rates int64
	for _, r := range b.Statement {
		if r.Rate.Known() {
			rates++
		}
	}
	if rates == 0 {
		return "What may be said holds no rate yet"
	}
	return "What may be said, with " + counted(rates, "rate and its interval", "rates and their intervals")
}

func costSection(b *queries.Book, biz Business) Section {
	all, _ := allAccuracy(b)
	s := Section{ID: "cost", Heading: "What wrong calls cost is not set",
		Paragraphs: []string{"Set costs.false_alarm and costs.missed in the configuration to see what wrong calls cost."},
		Source:     sourceOf(b, "accuracy", "")}
	if biz.FalseAlarmCost+biz.MissedCost == 0 {
		return s
	}
	s.Heading = fmt.Sprintf("Known wrong calls cost %s", money(queries.Figure(float64(all.FalseAlarms)*biz.FalseAlarmCost+float64(all.Missed+all.MissedReported)*biz.MissedCost), biz))
	s.Sub = fmt.Sprintf("Counted from checked points only, %s; what was never checked is not in it.", period(b))
	s.Paragraphs = nil
	s.Tables = []Table{{ID: "costs", Caption: "Known wrong calls and what the house says each costs",
		Columns: []Column{{Head: "Kind"}, {Head: "Known", Numeric: true}, {Head: "Each", Unit: biz.Currency, Numeric: true}, {Head: "Together", Unit: biz.Currency, Numeric: true}},
		Rows: []Row{
			costRow("False alarms: called active, something else was found", all.FalseAlarms, biz.FalseAlarmCost),
			costRow("Missed, seen when opened", all.Missed, biz.MissedCost),
			costRow("Missed, from a report or return visit", all.MissedReported, biz.MissedCost),
		}}}
	s.Margin = []Note{{queries.Count(all.FalseAlarms), "false alarms among " + queries.Count(all.ActiveVerified) + " verified active calls."}}
	return s
}

func costRow(kind string, n int64, each float64) Row {
	return Row{Cells: []Cell{text(kind), count(n), count(int64(each + 0.5)), count(int64(float64(n)*each + 0.5))}}
}
