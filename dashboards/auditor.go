package dashboards

import (
	"fmt"

	"scanledger/queries"
)

func auditorPage(b *queries.Book, _ Business) Page {
	return Page{
		Title:    "Auditor",
		Heading:  auditorHeading(b),
		Lead:     "How far the figures can be trusted: what share of calls was ever checked, what is still open, and who asks for a look.",
		Sections: []Section{checkedSection(b), correctedSection(b), lookSection(b), openRowsSection(b)},
	}
}

func auditorHeading(b *queries.Book) string {
	all, ok := allAccuracy(b)
	if !ok || all.ActiveCalls+all.ClearCalls == 0 {
		return "There are no calls to audit yet"
	}
	return fmt.Sprintf("%s of active calls and %s of clear calls were ever checked", queries.Percent(all.ActiveVerifiedShare), queries.Percent(all.ClearVerifiedShare))
}

func checkedSection(b *queries.Book) Section {
	t := Table{ID: "checked", Caption: "Calls and how many were checked by looking", Sortable: true, Columns: []Column{{Head: "Cut"}, {Head: "Value"},
		{Head: "Active calls", Numeric: true}, {Head: "checked", Numeric: true}, {Head: "Clear calls", Numeric: true}, {Head: "checked", Numeric: true},
		{Head: "missed", Unit: "of those checked", Numeric: true}, {Head: "missed", Unit: "reported only", Numeric: true}}}
	for _, r := range b.Accuracy {
		if r.By != "all" && r.By != "material" && r.By != "region" && r.By != "season" {
			continue
		}
		t.Rows = append(t.Rows, Row{Cells: []Cell{text(r.By), text(cutLabel(b, r)), count(r.ActiveCalls), percent(r.ActiveVerifiedShare), count(r.ClearCalls),
			percent(r.ClearVerifiedShare), count(r.Missed), count(r.MissedReported)}})
	}
	return Section{
		ID: "checked-calls", Heading: checkedHeading(b),
		Sub:    "Share of calls with a decisive finding within the truth window. A rate of misses rests on the clear calls that were opened.",
		Tables: []Table{t}, Source: sourceOf(b, "accuracy", ""),
	}
}

func checkedHeading(b *queries.Book) string {
	all, ok := allAccuracy(b)
	switch {
	case !ok || !all.ActiveVerifiedShare.Known() || !all.ClearVerifiedShare.Known():
		return "Too little has been checked to compare"
	case all.ActiveVerifiedShare > all.ClearVerifiedShare:
		return fmt.Sprintf("Active calls are checked %.0f times as often as clear ones, which flatters what is found", float64(all.ActiveVerifiedShare/all.ClearVerifiedShare))
	}
	return "Clear calls are checked at least as often as active ones"
}

func cutLabel(b *queries.Book, r queries.AccuracyRow) string {
	switch {
	case r.Material != nil:
		return b.Labels.Material(*r.Material)
	case r.Region != nil:
		return b.Labels.Region(*r.Region)
	case r.Season != nil:
		return *r.Season
	}
	return "everything"
}

func correctedSection(b *queries.Book) Section {
	all, _ := allAccuracy(b)
	s := Section{
		ID: "corrected", Heading: correctedHeading(all),
		Sub: "Naive: among checked points only. Corrected: weighted by the share checked in each kind of call (Begg and Greenes 1983).",
		Tables: []Table{{ID: "corrected-table", Caption: "Naive and corrected, all calls", Columns: []Column{{Head: "Figure"}, {Head: "Naive", Numeric: true}, {Head: "Corrected", Numeric: true}, {Head: "95% interval", Numeric: true}},
			Rows: []Row{
				{Cells: []Cell{text("Sensitivity: active points that were called active"), percent(all.SensitivityNaive), percent(all.Sensitivity), interval(all.SensitivityLow, all.SensitivityHigh)}},
				{Cells: []Cell{text("Specificity: points not active that were called clear"), percent(all.SpecificityNaive), percent(all.Specificity), interval(all.SpecificityLow, all.SpecificityHigh)}},
			}}},
		Source: sourceOf(b, "accuracy", fmt.Sprintf("%s checked active calls (%s confirmed), %s checked clear calls (%s active).",
			queries.Count(all.ActiveVerified), queries.Count(all.Confirmed), queries.Count(all.ClearVerified), queries.Count(all.Missed))),
		Margin: []Note{{queries.Count(all.Missed), "missed points carry the corrected sensitivity: with so few, it can move far when one more is found."}},
	}
	return s
}

func correctedHeading(all queries.AccuracyRow) string {
	if !all.Sensitivity.Known() || !all.SensitivityNaive.Known() {
		return "What is missed cannot be said: too few points were checked"
	}
	if all.SensitivityNaive-all.Sensitivity > 0.02 {
		return fmt.Sprintf("Counting only checked points, sensitivity looks like %s; corrected, it is nearer %s",
			queries.Percent(all.SensitivityNaive), queries.Percent(all.Sensitivity))
	}
	return "Correcting for what was never checked changes sensitivity little"
}

func lookSection(b *queries.Book) Section {
	t := Table{ID: "look", Caption: "Technicians outside a limit", Sortable: true, Columns: []Column{{Head: "Technician"}, {Head: "Measure"},
		{Head: "Observed", Numeric: true}, {Head: "Expected", Numeric: true}, {Head: "Cases", Numeric: true}, {Head: "Standing"}}}
	words := map[string]string{"detections": "detections", "false_alarms": "false alarms", "missed": "missed points"}
	for _, r := range b.Consistency {
		if r.Enough && r.Standing != queries.InLine {
			t.Rows = append(t.Rows, Row{Cells: []Cell{{Text: r.TechnicianID, Href: "technicians.html#" + r.Measure}, text(words[r.Measure]), count(r.Observed),
				decimal(r.Expected, 1), count(r.Opportunities), {Text: standingWords[r.Standing], Mark: mark(r.Standing)}}})
		}
	}
	s := Section{ID: "look-into", Heading: counted(int64(len(t.Rows)), "comparison asks", "comparisons ask") + " for a look",
		Sub: "Of every technician and measure; some fall outside the 95% limits by chance alone.", Tables: []Table{t}, Source: sourceOf(b, "technician_consistency", "")}
	if len(t.Rows) == 0 {
		s.Heading, s.Tables = "No technician is outside a limit", nil
	}
	return s
}

func openRowsSection(b *queries.Book) Section {
	t := Table{ID: "open-rows", Caption: "Record files with rows that do not count", Sortable: true, Columns: []Column{{Head: "File"}, {Head: "Rows", Numeric: true},
		{Head: "Waiting", Numeric: true}, {Head: "Rejected", Numeric: true}}}
	var waiting, rejected int64
	for _, r := range b.Quality {
		waiting += r.Waiting
		rejected += r.Rejected
		if r.Waiting+r.Rejected > 0 {
			t.Rows = append(t.Rows, Row{Cells: []Cell{{Text: r.File, Href: "quality.html#files", Class: "code"}, count(r.Rows), count(r.Waiting), count(r.Rejected)}})
		}
	}
	s := Section{ID: "open", Heading: fmt.Sprintf("%s rejected, %s", counted(rejected, "row was", "rows were"), counted(waiting, "waits", "wait")),
		Sub:    "A rejected row needs mending at its source; a waiting one comes in by itself once what it names arrives.",
		Tables: []Table{t}, Source: sourceOf(b, "data_quality", "")}
	if len(t.Rows) == 0 {
		s.Heading, s.Tables = "Every row that was read counts", nil
	}
	return s
}
