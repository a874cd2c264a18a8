package queries

import (
	"fmt"
	"slices"
	"time"
)

// StatementRow is one sentence of what may be said, and where its figures come from.
type StatementRow struct {
	Topic  string `json:"topic"`
	Text   string `json:"text"`
	N      *int64 `json:"n"`
	Rate   Figure `json:"rate"`
	Low    Figure `json:"low"`
	High   Figure `json:"high"`
	Source string `json:"source"`
}

// scope is when and how much was tested.
type scope struct {
	first, last                     string // dates; empty where nothing was tested
	pointVisits, inspections, sites int64
	truthDays                       int
}

// statement needs detection and accuracy.
func (d *desk) statement() error {
	scopes, q, err := run(d, "statement", d.months(), func(scan func(...any) error, s *scope) error {
		return scan(&s.first, &s.last, &s.pointVisits, &s.inspections, &s.sites, &s.truthDays)
	})
	if err != nil {
		return err
	}
	d.book.Statement = statement(d.book, scopes[0])
	d.conclude(q, d.book.Statement)
	return nil
}

// statement is the sentences that the figures of the book bear out.
func statement(b *Book, s scope) []StatementRow {
	rows := []StatementRow{scopeSentence(s)}
	i := slices.IndexFunc(b.Detection, func(r DetectionRow) bool { return r.By == "all" })
	if s.pointVisits > 0 && i >= 0 {
		all := b.Accuracy[0]
		rows = append(rows, shownSentence(b.Detection[i]), verifiedSentence(all), confirmedSentence(all), foundSentence(all))
	}
	return append(rows, said("basis", "data_quality", fmt.Sprintf(
		"These figures rest on records received by %s, and on what was found up to %d days after each visit.", inWords(b.AsOf), s.truthDays)),
		said("limits", "", "A clear reading never proves absence: it says that no movement was shown at the points and settings tested, on that day."),
		said("limits", "", "Movement has other causes than termites, and tested points and houses are chosen: none of these shares is a rate of infestation."))
}

// said is a sentence without a rate.
func said(topic, source, text string) StatementRow {
	return StatementRow{Topic: topic, Text: text, Rate: Unknown, Low: Unknown, High: Unknown, Source: source}
}

func scopeSentence(s scope) StatementRow {
	if s.pointVisits == 0 {
		return said("scope", "statement", "No point was tested in the months of this statement.")
	}
	return said("scope", "statement", fmt.Sprintf("From %s to %s, %s points were tested in %s inspections of %s sites, each point counted once per inspection.",
		inWords(s.first), inWords(s.last), Count(s.pointVisits), Count(s.inspections), Count(s.sites)))
}

func shownSentence(r DetectionRow) StatementRow {
	left := "."
	if r.Unsure > 0 {
		left = fmt.Sprintf("; %s were left undecided.", Count(r.Unsure))
	}
	return said("shown", "detection, by all", "").rated("Movement was shown at %s points tested%s"+left, r.Active, r.N(), r.Rate, r.Low, r.High, r.Enough)
}

func verifiedSentence(r AccuracyRow) StatementRow {
	return said("verified", "accuracy, by all", fmt.Sprintf(
		"Of %s calls of movement, %s were later verified by opening, drilling or borescope; of %s clear calls, %s were.",
		Count(r.ActiveCalls), partOf(r.ActiveVerified, r.ActiveCalls), Count(r.ClearCalls), partOf(r.ClearVerified, r.ClearCalls)))
}

func confirmedSentence(r AccuracyRow) StatementRow {
	if r.ActiveVerified == 0 {
		return said("confirmed", "accuracy, by all", "How many calls of movement were right cannot be said: none was verified.")
	}
	return said("confirmed", "accuracy, by all", "").rated("Activity was found at %s verified calls of movement%s.",
		r.Confirmed, r.ActiveVerified, r.PPV, r.PPVLow, r.PPVHigh, r.Enough)
}

// foundSentence says what share of active points was called active, or why that cannot be said.
func foundSentence(r AccuracyRow) StatementRow {
	const about = "What share of active points was called active"
	row := said("found", "accuracy, by all", "")
	if !r.SensitivityEnough {
		row.Text = fmt.Sprintf("%s cannot be said: %s. %s", about, r.SensitivityWhyNot, OpeningsInWords(r))
		return row
	}
	n := r.ActiveVerified + r.ClearVerified
	row.N, row.Rate, row.Low, row.High = &n, r.Sensitivity, r.SensitivityLow, r.SensitivityHigh
	row.Text = fmt.Sprintf("%s is estimated at %s (95%% interval %s), corrected for which points were ever verified; it rests on %s verified points, of which %s had been missed.",
		about, Percent(r.Sensitivity), Range(r.SensitivityLow, r.SensitivityHigh), Count(n), Count(r.Missed))
	return row
}

// rated writes x of n and, where there is enough, the rate with its interval into a format that takes
// the two. All and none are said in words, so that no rate claims more than was seen.
func (r StatementRow) rated(format string, x, n int64, rate, low, high Figure, enough bool) StatementRow {
	r.N = &n
	part := Count(x)
	switch x {
	case 0:
		part = "none"
	case n:
		part = "all"
	}
	doubt := " (too few, or too uneven, for a rate)"
	if enough {
		r.Rate, r.Low, r.High = rate, low, high
		switch x {
		case 0:
			doubt = fmt.Sprintf(" (95%% interval up to %s)", Percent(high))
		case n:
			doubt = fmt.Sprintf(" (95%% interval from %s)", Percent(low))
		default:
			doubt = fmt.Sprintf(" (%s, 95%% interval %s)", Percent(rate), Range(low, high))
		}
	}
	r.Text = fmt.Sprintf(format, part+" of "+Count(n), doubt)
	return r
}

// partOf writes x of n with its share; all and none are said in words.
func partOf(x, n int64) string {
	switch x {
	case 0:
		return "none"
	case n:
		return "all"
	}
	return fmt.Sprintf("%s (%s)", Count(x), Percent(share(x, n)))
}

// inWords writes 2026-09-07 as 7 September 2026.
func inWords(date string) string {
	day, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return date
	}
	return day.Format("2 January 2006")
}
