package dashboards

import (
	"fmt"

	"scanledger/queries"
)

// checkedSection shows what share of calls was ever checked, and how the active ones held up.
func checkedSection(b *queries.Book) Section {
	t := Table{ID: "checked", Caption: "Calls and how many were checked by looking", Sortable: true, Columns: []Column{{Head: "Cut"},
		{Head: "Active calls", Unit: "checked", Numeric: true}, {Head: "Confirmed", Unit: "of those", Numeric: true}, {Head: "95% interval", Numeric: true},
		{Head: "Clear calls", Unit: "checked", Numeric: true}, {Head: "Missed", Unit: "of those", Numeric: true}, {Head: "Missed", Unit: "reported only", Numeric: true}}}
	for _, r := range audited(b) {
		row := Row{Held: !r.Enough, Cells: []Cell{text(cutLabel(b, r)), checkedOf(r.ActiveVerified, r.ActiveCalls, r.ActiveVerifiedShare), percent(r.PPV),
			interval(r.PPVLow, r.PPVHigh), checkedOf(r.ClearVerified, r.ClearCalls, r.ClearVerifiedShare), count(r.Missed), count(r.MissedReported)}}
		if !r.Enough {
			row.Cells[2], row.Cells[3] = tooFewCell(), text("")
		}
		t.Rows = append(t.Rows, row)
	}
	return Section{
		ID: "checked-calls", Heading: checkedHeading(b),
		Sub:    "Share of calls with a decisive finding within the truth window; intervals take sites as clusters. What a report or a return visit says is never pooled with opened walls.",
		Tables: []Table{t}, Source: sourceOf(b, "accuracy", ""),
	}
}

func checkedHeading(b *queries.Book) string {
	all, ok := allAccuracy(b)
	switch {
	case !ok || !all.ActiveVerifiedShare.Known() || !all.ClearVerifiedShare.Known():
		return "Too little has been checked to compare"
	case all.ClearVerified == 0 && all.ActiveVerified > 0:
		return "Only active calls were ever checked, which hides what is missed"
	case all.ActiveVerifiedShare > all.ClearVerifiedShare:
		return fmt.Sprintf("Active calls are checked %.0f times as often as clear ones, which flatters what is found", float64(all.ActiveVerifiedShare/all.ClearVerifiedShare))
	}
	return "Clear calls are checked at least as often as active ones"
}

// cutNames are the cuts that an auditor is shown, and what they are called.
var cutNames = map[string]string{"all": "everything", "material": "material", "density_class": "density", "region": "region", "season": "season", "model": "model", "thickness_band": "thickness in mm"}

// audited are the rows of those cuts.
func audited(b *queries.Book) []queries.AccuracyRow {
	var out []queries.AccuracyRow
	for _, r := range b.Accuracy {
		if cutNames[r.By] != "" {
			out = append(out, r)
		}
	}
	return out
}

// cutLabel names the value of the cut, with what it is a value of.
func cutLabel(b *queries.Book, r queries.AccuracyRow) string {
	if r.By == "all" {
		return cutNames[r.By]
	}
	value := "not given"
	switch {
	case r.Material != nil:
		value = b.Labels.Material(*r.Material)
	case r.Region != nil:
		value = b.Labels.Region(*r.Region)
	default:
		for _, v := range []*string{r.DensityClass, r.Season, r.Model, r.ThicknessBand} {
			if v != nil {
				value = *v
			}
		}
	}
	return cutNames[r.By] + ": " + value
}

// correctedSection sets what the checked points alone say of all calls beside what the correction makes of it.
func correctedSection(b *queries.Book) Section {
	all, _ := allAccuracy(b)
	return Section{
		ID: "corrected", Heading: correctedHeading(all),
		Sub: "Naive: among checked points only. Corrected: weighted by the share checked of each kind of call, within material, density and whether another visit called the point active (Begg and Greenes 1983).",
		Tables: []Table{{ID: "corrected-table", Caption: "Naive and corrected, all calls", Columns: []Column{{Head: "Figure"}, {Head: "Naive", Numeric: true}, {Head: "Corrected", Numeric: true}, {Head: "95% interval", Numeric: true}},
			Rows: []Row{
				correctedRow("Sensitivity: active points that were called active", all.SensitivityNaive, all.Sensitivity, all.SensitivityLow, all.SensitivityHigh, all.SensitivityEnough),
				correctedRow("Specificity: points not active that were called clear", all.SpecificityNaive, all.Specificity, all.SpecificityLow, all.SpecificityHigh, all.SpecificityEnough),
			}}},
		Source: sourceOf(b, "accuracy", fmt.Sprintf("%s checked active calls (%s confirmed), %s checked clear calls (%s active).",
			queries.Count(all.ActiveVerified), queries.Count(all.Confirmed), queries.Count(all.ClearVerified), queries.Count(all.Missed))),
		Margin: []Note{{queries.Count(all.Missed), "missed points carry the corrected sensitivity: with few, it can move far when one more is found."}},
	}
}

func correctedRow(name string, naive, value, low, high queries.Figure, enough bool) Row {
	row := Row{Held: !enough, Cells: []Cell{text(name), percent(naive), percent(value), interval(low, high)}}
	if !enough {
		row.Cells[1], row.Cells[2], row.Cells[3] = tooFewCell(), tooFewCell(), text("")
	}
	return row
}

// correctedHeading claims a difference only where the naive figure lies outside the corrected interval.
func correctedHeading(all queries.AccuracyRow) string {
	switch {
	case !all.SensitivityEnough && all.SensitivityWhyNot == "":
		return "What is missed cannot be said: there are no calls"
	case !all.SensitivityEnough:
		return "What is missed cannot be said: " + all.SensitivityWhyNot
	case all.SensitivityNaive > all.SensitivityHigh:
		return fmt.Sprintf("Counting only checked points, sensitivity looks like %s; corrected, it is nearer %s",
			queries.Percent(all.SensitivityNaive), queries.Percent(all.Sensitivity))
	}
	return "Correcting for what was never checked moves sensitivity no further than its own doubt"
}

// cutsSection shows the corrected rates of every cut, with the share checked beside each.
func cutsSection(b *queries.Book) Section {
	t := Table{ID: "corrected-cuts", Caption: "Sensitivity and specificity by cut", Sortable: true, Columns: []Column{{Head: "Cut"},
		{Head: "Checked", Unit: "active", Numeric: true}, {Head: "Checked", Unit: "clear", Numeric: true}, {Head: "Missed", Numeric: true},
		{Head: "Sensitivity", Unit: "naive", Numeric: true}, {Head: "Sensitivity", Unit: "corrected", Numeric: true}, {Head: "95% interval", Numeric: true},
		{Head: "Specificity", Unit: "corrected", Numeric: true}, {Head: "Openings", Unit: "still needed", Numeric: true}}}
	for _, r := range audited(b) {
		row := Row{Held: !r.SensitivityEnough, Cells: []Cell{text(cutLabel(b, r)), percent(r.ActiveVerifiedShare), percent(r.ClearVerifiedShare), count(r.Missed),
			percent(r.SensitivityNaive), percent(r.Sensitivity), interval(r.SensitivityLow, r.SensitivityHigh), percent(r.Specificity), openings(r)}}
		if !r.SensitivityEnough {
			row.Cells[4], row.Cells[5], row.Cells[6] = text(""), tooFewCell(), text("")
		}
		if !r.SpecificityEnough {
			row.Cells[7] = tooFewCell()
		}
		t.Rows = append(t.Rows, row)
	}
	all, _ := allAccuracy(b)
	s := Section{
		ID: "corrected-by-cut", Heading: cutsHeading(b),
		Sub:    "Openings still needed: how many more clear points, drawn at random and opened, would bring sensitivity within 10 points at 95%, if what was found so far holds.",
		Tables: []Table{t}, Source: sourceOf(b, "accuracy", ""),
	}
	if all.ActiveCalls+all.ClearCalls > 0 {
		s.Paragraphs = []string{"Of all calls: " + queries.OpeningsInWords(all)}
	}
	return s
}

// checkedOf shows how many of all were checked, and what share that is.
func checkedOf(n, all int64, share queries.Figure) Cell {
	c := percent(share)
	if share.Known() {
		c.Text = fmt.Sprintf("%s (%s)", ofAll(n, all), c.Text)
	}
	return c
}

func tooFewCell() Cell { return Cell{Text: "too few", Class: "num"} }

func openings(r queries.AccuracyRow) Cell {
	switch {
	case r.OpeningsNeeded == nil && r.Confirmed == 0:
		return Cell{Text: "not known", Class: "num"}
	case r.OpeningsNeeded == nil:
		return Cell{Text: "none would do", Class: "num"}
	}
	c := count(*r.OpeningsNeeded)
	if r.OpeningsWorstCase {
		c.Text = "up to " + c.Text
	}
	return c
}

func cutsHeading(b *queries.Book) string {
	var said, cuts int64
	for _, r := range audited(b) {
		if r.By != "all" {
			cuts++
			if r.SensitivityEnough {
				said++
			}
		}
	}
	switch {
	case cuts == 0:
		return "There is nothing to compare yet"
	case said == 0:
		return "In no cut was enough checked to say what is missed"
	}
	return fmt.Sprintf("In %s cuts, enough was checked to say what is missed", ofAll(said, cuts))
}
