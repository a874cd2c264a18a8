package dashboards

import (
	"fmt"

	"scanledger/queries"
)

var sampleMeasures = map[string]string{queries.Disagreement: "calls a recheck contradicts", queries.Missed: "clear calls that missed activity"}

// auditSampleHeading says what all samples together show of missed points, or else of contradicted calls.
func auditSampleHeading(b *queries.Book) string {
	var drawn, back int64
	for _, measure := range []string{queries.Missed, queries.Disagreement} {
		r, ok := pooledSample(b, measure)
		if ok && r.Enough {
			if measure == queries.Missed {
				return fmt.Sprintf("Audit samples put missed points at %s of clear calls (%s)", queries.Percent(r.Rate), queries.Range(r.Low, r.High))
			}
			return fmt.Sprintf("Audit samples put contradicted calls at %s of all (%s)", queries.Percent(r.Rate), queries.Range(r.Low, r.High))
		}
		drawn, back = max(drawn, r.Drawn), back+r.CameBack
	}
	if drawn == 0 {
		return "No audit sample has been drawn"
	}
	return fmt.Sprintf("Audit samples do not say yet: %s from %s", counted(back, "answer", "answers"), counted(drawn, "drawn point", "drawn points"))
}

func pooledSample(b *queries.Book, measure string) (queries.AuditSampleRow, bool) {
	for _, r := range b.AuditSample {
		if r.Sample == queries.AllSamples && r.Measure == measure {
			return r, true
		}
	}
	return queries.AuditSampleRow{}, false
}

func auditSampleSection(b *queries.Book) Section {
	s := Section{ID: "samples", Heading: auditSampleHeading(b), Source: sourceOf(b, "audit_sample", ""),
		Sub: "Points drawn by lot, tested again blind and, where clear, opened. Each answer is weighted by the inverse of its chance of being drawn; intervals are 95%, with sites as clusters."}
	if len(b.AuditSample) == 0 {
		s.Paragraphs = []string{"Walls opened for a reason say little of those that were not. Draw next month's sample with: scanledger sample --store DIR --month YYYY-MM --detect 0.05"}
		return s
	}
	t := Table{ID: "samples-table", Caption: "Audit samples and what came back", Sortable: true, Columns: []Column{{Head: "Sample"}, {Head: "Counts"}, {Head: "Drawn", Unit: "of the frame", Numeric: true},
		{Head: "Came back", Numeric: true}, {Head: "Not back", Numeric: true}, {Head: "At fault", Numeric: true}, {Head: "Share of the frame", Unit: "95% interval", Numeric: true}, {Head: "If those not back", Unit: "are all right / at fault", Numeric: true}}}
	for _, r := range b.AuditSample {
		t.Rows = append(t.Rows, auditSampleRow(r))
	}
	s.Tables = []Table{t}
	for _, measure := range []string{queries.Missed, queries.Disagreement} {
		if r, ok := pooledSample(b, measure); ok {
			s.Margin = append(s.Margin, Note{ofAll(r.CameBack, r.Drawn), fmt.Sprintf("drawn points have an answer on %s; %s were at fault.", sampleMeasures[measure], ofAll(r.Faults, r.CameBack))})
		}
	}
	return s
}

func auditSampleRow(r queries.AuditSampleRow) Row {
	name, share := r.Sample, Cell{Text: fmt.Sprintf("%s (%s)", queries.Percent(r.Rate), queries.Range(r.Low, r.High)), Class: "num"}
	if name == queries.AllSamples {
		name = "first of every month"
	}
	if !r.Enough {
		share.Text = r.WhyNot
	}
	return Row{Held: !r.Enough, Cells: []Cell{{Text: name, Class: "code"}, text(sampleMeasures[r.Measure]), {Text: ofAll(r.Drawn, r.Frame), Class: "num"}, count(r.CameBack),
		count(r.Outstanding + r.Undecided), count(r.Faults), share, {Text: queries.Percent(r.RateIfNone) + " / " + queries.Percent(r.RateIfAll), Class: "num"}}}
}
