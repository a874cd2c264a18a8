package dashboards

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"

	"scanledger/dashboards/chart"
	"scanledger/queries"
)

// mostTraces bounds the holds drawn on the page of an inspection; the CSV holds all.
const mostTraces = 12

// logSection sets what the units logged in an inspection beside what was written down.
func (v visit) logSection(b *queries.Book) Section {
	s := Section{ID: "log", Heading: logHeading(v.traces), Source: sourceOf(b, "log_traces", "")}
	if len(v.traces) == 0 {
		return s
	}
	looks := map[string]queries.SignatureRow{}
	for _, r := range b.Signatures.Moved {
		if r.InspectionID == v.InspectionID {
			looks[traceKey(r.UnitID, r.Date, r.HoldNo)] = r
		}
	}
	shown := foremostTraces(v.traces, looks)
	s.Sub = "The level over the seconds of each hold, as the unit logged it, with the call written down for it and what the movement looks like. Movement in a log is no finding."
	if len(shown) < len(v.traces) {
		s.Paragraphs = []string{fmt.Sprintf("%d of %d holds are drawn: those with something to ask about first, then others that moved.", len(shown), len(v.traces))}
	}
	if len(shown) == 0 {
		s.Paragraphs = []string{"No hold moved above the noise of its day, and none asks for a look."}
		return s
	}
	if off := largestOffset(v.traces); math.Abs(off) >= b.LogSettings.Value("offset_say_s") {
		s.Margin = append(s.Margin, Note{fmt.Sprintf("%.1f min", off/60), "put on the unit's clock, found by maximum agreement with the readings."})
	}
	for _, r := range shown {
		if look := looks[traceKey(r.UnitID, r.Date, r.HoldNo)]; look.Periodic {
			s.Paragraphs = append(s.Paragraphs, upperFirst(fmt.Sprintf("%s: %s.", traceLabel(r), periodText(look))))
		}
	}
	s.Figure = traceFigure(v.InspectionID, shown, looks)
	return s
}

func traceKey(unit, date string, hold int64) string { return fmt.Sprint(unit, " ", date, " ", hold) }

func logHeading(traces []queries.TraceRow) string {
	matched, unrecorded := int64(0), int64(0)
	for _, r := range traces {
		switch r.Status {
		case "matched":
			matched++
		case "unrecorded":
			unrecorded++
		}
	}
	switch {
	case len(traces) == 0:
		return "No unit logged this inspection"
	case unrecorded == 0:
		return fmt.Sprintf("The log shows %s, none left unrecorded", counted(int64(len(traces)), "hold", "holds"))
	}
	return fmt.Sprintf("The log shows %s: %s matched with a reading, %s that nobody wrote down", counted(int64(len(traces)), "hold", "holds"), queries.Count(matched), queries.Count(unrecorded))
}

func largestOffset(traces []queries.TraceRow) float64 {
	most := 0.0
	for _, r := range traces {
		if math.Abs(float64(r.OffsetS)) > math.Abs(most) {
			most = float64(r.OffsetS)
		}
	}
	return most
}

// foremostTraces chooses the holds to draw, and gives them in order of time. Still holds are left out unless there is
// something to ask about them.
func foremostTraces(traces []queries.TraceRow, looks map[string]queries.SignatureRow) []queries.TraceRow {
	const leftOut = 3
	weight := func(r queries.TraceRow) int {
		look := looks[traceKey(r.UnitID, r.Date, r.HoldNo)]
		switch {
		case look.Periodic:
			return 0
		case len(look.Looks()) > 0 || r.Status == "unrecorded" || r.Call == "active" && r.Trace == "":
			return 1
		case r.Trace != "":
			return 2
		}
		return leftOut
	}
	var order []int
	for i, r := range traces {
		if weight(r) < leftOut {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(i, j int) int { return weight(traces[i]) - weight(traces[j]) })
	order = order[:min(len(order), mostTraces)]
	slices.Sort(order)
	var out []queries.TraceRow
	for _, i := range order {
		out = append(out, traces[i])
	}
	return out
}

func traceFigure(id string, traces []queries.TraceRow, looks map[string]queries.SignatureRow) template.HTML {
	f := chart.Traces{Frame: chart.Frame{ID: "log-figure", Title: "Log of inspection " + id, Desc: "For each hold the level over time, the noise of the day, the call, and what the movement looks like."}}
	for _, r := range traces {
		look := looks[traceKey(r.UnitID, r.Date, r.HoldNo)]
		label, says := traceLabel(r), traceSays(r, look)
		f.Holds = append(f.Holds, chart.Trace{Label: label, Call: stripCalls[r.Call], Seconds: number(r.HoldS), Noise: number(r.BandPct), Levels: levelsOf(r.Trace),
			Says: says, Strong: len(look.Looks()) > 0 || r.Status == "unrecorded", Title: label + ", " + says})
	}
	return f.SVG()
}

// traceLabel says which hold it is.
func traceLabel(r queries.TraceRow) string {
	label := fmt.Sprintf("gain %d, minute %.0f", r.Gain, float64(r.Minute))
	if r.PointID != "" {
		return r.PointID + ", " + label
	}
	return label
}

// traceSays says what a hold looks like in the width that the figure has.
func traceSays(r queries.TraceRow, look queries.SignatureRow) string {
	says := queries.Percent(r.AboveShare) + " above the noise"
	if r.Trace == "" {
		says = "no movement above the noise"
	}
	switch {
	case look.Periodic:
		says = fmt.Sprintf("periodic: %.1f s, q %s", float64(look.PeriodS), chance(look.Q))
	case len(look.Looks()) > 0:
		says = lookWords[look.Looks()[0]]
	}
	if r.Status == "unrecorded" {
		return "unrecorded; " + says
	}
	return says
}

// levelsOf reads a trace; a part without a sample is NaN.
func levelsOf(trace string) (out []float64) {
	for field := range strings.FieldsSeq(trace) {
		v, err := strconv.ParseFloat(field, 64)
		if err != nil {
			v = math.NaN()
		}
		out = append(out, v)
	}
	return out
}
