package dashboards

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"scanledger/queries"
)

// lookWords name a look of interference.
var lookWords = map[string]string{
	queries.LookPeriodic:   "keeps time",
	queries.LookHandling:   "only as the hold began",
	queries.LookGainChange: "only after a change of gain",
	queries.LookFull:       "full scale",
	queries.LookTogether:   "other points moved as well",
	queries.LookAny:        "any of these",
}

// lookText says all looks of a hold, for a table.
func lookText(r queries.SignatureRow) string {
	var out []string
	for _, look := range r.Looks() {
		switch look {
		case queries.LookPeriodic:
			out = append(out, periodText(r))
		case queries.LookTogether:
			out = append(out, fmt.Sprintf("%d of %d points near moved as well", r.PointsMoved, r.PointsNear))
		case queries.LookFull:
			out = append(out, queries.Percent(r.FullShare)+" of it with a full scale")
		case queries.LookAny:
		default:
			out = append(out, "moved "+lookWords[look])
		}
	}
	return strings.Join(out, "; ")
}

// periodText is all that may be said of movement that keeps time, and only where it does.
func periodText(r queries.SignatureRow) string {
	return fmt.Sprintf("periodic movement, as a fan, pump or footsteps would give: every %.1f s, q %s, steadiness %.2f", float64(r.PeriodS), chance(r.Q), float64(r.Steadiness))
}

// withLook counts the holds that have a look.
func withLook(b *queries.Book, look string) (n int64) {
	for _, r := range b.Signatures.Moved {
		if slices.Contains(r.Looks(), look) {
			n++
		}
	}
	return n
}

func looksHeading(b *queries.Book) string {
	moved, periodic := int64(len(b.Signatures.Moved)), withLook(b, queries.LookPeriodic)
	switch {
	case logTotals(b).Days == 0:
		return "No log exists, so no movement can be looked at"
	case moved == 0:
		return "No hold moved above the noise of its day"
	case b.Signatures.Searched == 0:
		return fmt.Sprintf("%s moved, none long enough to look for a period", counted(moved, "hold", "holds"))
	case periodic == 0:
		return fmt.Sprintf("Movement keeps time in none of %s that were long enough to tell", counted(b.Signatures.Searched, "hold", "holds"))
	}
	return fmt.Sprintf("Movement keeps time in %s that were long enough to tell", ofHolds(periodic, b.Signatures.Searched))
}

func ofHolds(n, all int64) string {
	return fmt.Sprintf("%s of %s", queries.Count(n), counted(all, "hold", "holds"))
}

// shownLooks bounds the holds listed; all are in the CSV.
const shownLooks = 40

func looksSection(b *queries.Book) Section {
	set := b.LogSettings
	s := Section{ID: "looks", Heading: looksHeading(b), Source: sourceOf(b, "log_signatures", ""),
		Sub: fmt.Sprintf("Holds that moved for over %s of their time. A period counts where its chance, against a background that bursts and drifts would give and after allowing for all holds searched, is at most %g, and its phase holds.",
			queries.Percent(queries.Figure(set.Value("quiet_share"))), set.Value("period_q"))}
	if len(b.Signatures.Moved) == 0 {
		return s
	}
	s.Paragraphs = []string{"No look says that what moved was alive, or that it was not. It is a reason to switch off what may swing, and to hold again."}
	for _, look := range queries.Looks[:len(queries.Looks)-1] {
		s.Margin = append(s.Margin, Note{queries.Count(withLook(b, look)), lookWords[look] + "."})
	}
	t := Table{ID: "looks-table", Caption: fmt.Sprintf("Holds with a look of interference, up to %d: those that keep time first, then the newest", shownLooks), Sortable: true, Folded: true,
		Columns: []Column{{Head: "Date"}, {Head: "Unit"}, {Head: "Inspection"}, {Head: "Point"}, {Head: "Call"}, {Head: "Found"}, {Head: "Above noise", Numeric: true}, {Head: "Look"}}}
	for _, r := range foremostLooks(b.Signatures.Moved) {
		t.Rows = append(t.Rows, Row{Cells: []Cell{day(r.Date), text(r.UnitID), {Text: r.InspectionID, Href: inspectionLink(b, r.InspectionID)}, text(r.PointID), text(callWords[r.Call]), text(truthWords[r.Truth]),
			percent(r.AboveShare), text(lookText(r))}})
	}
	if len(t.Rows) > 0 {
		s.Tables = []Table{t}
	}
	return s
}

// foremostLooks are the holds to list: those that keep time, the surest first, then the newest of the others.
func foremostLooks(moved []queries.SignatureRow) []queries.SignatureRow {
	var out, others []queries.SignatureRow
	for _, r := range moved {
		switch {
		case r.Periodic:
			out = append(out, r)
		case len(r.Looks()) > 0:
			others = append(others, r)
		}
	}
	slices.SortStableFunc(out, func(a, c queries.SignatureRow) int { return cmp.Compare(a.Q, c.Q) })
	slices.SortStableFunc(others, func(a, c queries.SignatureRow) int { return strings.Compare(c.Date, a.Date) })
	out = append(out, others...)
	return out[:min(len(out), shownLooks)]
}

func lookCheckHeading(b *queries.Book) string {
	var calls int
	var more []string
	few := true
	for _, r := range b.SignatureCheck {
		calls = r.Calls
		if r.Says != queries.LookTooFew {
			few = false
		}
		if r.Says == queries.LookMore && r.Look != queries.LookAny {
			more = append(more, fmt.Sprintf("“%s” (%s of %d against %s of %d)", lookWords[r.Look], queries.Percent(r.WithRate), r.With, queries.Percent(r.WithoutRate), r.Without))
		}
	}
	switch {
	case calls == 0:
		return "No checked active call has a log yet, so no look can be set against findings"
	case few:
		return fmt.Sprintf("Too few checked active calls with a log to say whether a look goes with false alarms: %d", calls)
	case len(more) == 0:
		return fmt.Sprintf("No look is shown to go with more false alarms, of %d checked active calls with a log", calls)
	}
	return "False alarms are more frequent among calls with: " + strings.Join(more, ", ")
}

func lookCheckSection(b *queries.Book) Section {
	s := Section{ID: "look-check", Heading: lookCheckHeading(b), Source: sourceOf(b, "signature_check", ""),
		Sub: fmt.Sprintf("Share of false alarms among checked active calls with the look and without it, sites as clusters, 95%% intervals; rates of fewer than %d calls are held back.", b.Floor)}
	if len(b.SignatureCheck) == 0 || b.SignatureCheck[0].Calls == 0 {
		return s
	}
	t := Table{ID: "look-check-table", Caption: "False alarms with and without each look", Columns: []Column{{Head: "Look"}, {Head: "Calls with it", Numeric: true}, {Head: "False", Numeric: true}, {Head: "Share", Unit: "95% interval", Numeric: true},
		{Head: "Without", Numeric: true}, {Head: "False", Numeric: true}, {Head: "Share", Unit: "95% interval", Numeric: true}, {Head: "Says"}}}
	for _, r := range b.SignatureCheck {
		t.Rows = append(t.Rows, Row{Held: r.Says == queries.LookTooFew, Cells: []Cell{text(lookWords[r.Look]), count(int64(r.With)), count(int64(r.WithFalse)), rateCell(r.WithRate, r.WithLow, r.WithHigh, r.WithEnough),
			count(int64(r.Without)), count(int64(r.WithoutFalse)), rateCell(r.WithoutRate, r.WithoutLow, r.WithoutHigh, r.WithoutEnough), text(lookSays[r.Says])}})
	}
	s.Tables = []Table{t}
	return s
}

var lookSays = map[string]string{
	queries.LookMore:     "more false alarms",
	queries.LookFewer:    "fewer false alarms",
	queries.LookNotShown: "no difference shown",
	queries.LookTooFew:   "too few to say",
}
