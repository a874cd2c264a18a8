package dashboards

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strconv"

	"scanledger/dashboards/chart"
	"scanledger/queries"
)

// number is a figure as the chart package takes it: NaN where it is not known.
func number(f queries.Figure) float64 { return float64(f) }

// rateTitle says a rate in full, for the tooltip of its mark.
func rateTitle(what string, rate, low, high queries.Figure, events, n int64) string {
	if !rate.Known() {
		return what + ": not known"
	}
	return fmt.Sprintf("%s: %s (%s; 95%% interval %s)", what, queries.Percent(rate), ofAll(events, n), queries.Range(low, high))
}

func confirmedMonths(b *queries.Book) template.HTML {
	f := chart.Months{Frame: chart.Frame{ID: "confirmed-months", Title: "Confirmed active calls by month",
		Desc: "Share of verified active calls that were confirmed, by month, with 95% intervals."}}
	for _, r := range b.Accuracy {
		if r.By == "month" {
			f.Points = append(f.Points, chart.MonthPoint{Label: *r.Month, Value: number(r.PPV), Low: number(r.PPVLow), High: number(r.PPVHigh),
				N: int(r.ActiveVerified), Enough: r.Enough, Standing: chart.InLine,
				Title: rateTitle(monthName(*r.Month), r.PPV, r.PPVLow, r.PPVHigh, r.Confirmed, r.ActiveVerified)})
		}
	}
	if all, ok := allAccuracy(b); ok && all.Enough {
		f.Centred, f.Centre = true, number(all.PPV)
	}
	return f.SVG()
}

func detectionMonths(b *queries.Book) template.HTML {
	f := chart.Months{Frame: chart.Frame{ID: "detection-months", Title: "Active calls by month",
		Desc: "Share of point-visits called active, by local month, with 95% intervals."}}
	for _, r := range cut(b, "month") {
		f.Points = append(f.Points, chart.MonthPoint{Label: *r.Month, Value: number(r.Rate), Low: number(r.Low), High: number(r.High), N: int(r.N()),
			Enough: r.Enough, Standing: chart.InLine, Title: rateTitle(monthName(*r.Month), r.Rate, r.Low, r.High, r.Active, r.N())})
	}
	if all := cut(b, "all"); len(all) > 0 && all[0].Enough {
		f.Centred, f.Centre = true, number(all[0].Rate)
	}
	return f.SVG()
}

func materialDots(b *queries.Book) template.HTML {
	f := chart.Dots{Frame: chart.Frame{ID: "material-dots", Title: "Active calls by material", Desc: "Share of point-visits called active, by material, with 95% intervals."},
		NLabel: "points"}
	for _, r := range cut(b, "material") {
		name := b.Labels.Material(*r.Material)
		f.Rows = append(f.Rows, chart.DotRow{Label: name, Value: number(r.Rate), Low: number(r.Low), High: number(r.High), N: int(r.N()), Enough: r.Enough,
			Standing: chart.InLine, Title: rateTitle(name, r.Rate, r.Low, r.High, r.Active, r.N())})
	}
	if all := cut(b, "all"); len(all) > 0 && all[0].Enough {
		f.Reference, f.ReferenceAt, f.ReferenceLabel = true, number(all[0].Rate), "All: "+queries.Percent(all[0].Rate)
	}
	return f.SVG()
}

func confirmedDots(b *queries.Book) template.HTML {
	f := chart.Dots{Frame: chart.Frame{ID: "confirmed-dots", Title: "Confirmed active calls by material",
		Desc: "Share of verified active calls that were confirmed, by material, with 95% intervals."}, NLabel: "verified"}
	for _, r := range b.Accuracy {
		if r.By != "material" {
			continue
		}
		name := b.Labels.Material(*r.Material)
		f.Rows = append(f.Rows, chart.DotRow{Label: name, Value: number(r.PPV), Low: number(r.PPVLow), High: number(r.PPVHigh), N: int(r.ActiveVerified),
			Enough: r.Enough, Standing: chart.InLine, Title: rateTitle(name, r.PPV, r.PPVLow, r.PPVHigh, r.Confirmed, r.ActiveVerified)})
	}
	if all, ok := allAccuracy(b); ok && all.Enough {
		f.Reference, f.ReferenceAt, f.ReferenceLabel = true, number(all.PPV), "All: "+queries.Percent(all.PPV)
	}
	return f.SVG()
}

// heatAxes says which columns of a cut make the rows and columns of its heat table.
type heatAxes struct {
	corner   string
	row, col func(r queries.DetectionRow) string // codes
	rowLabel func(code string) string
	colLabel func(code string) string
}

func axesOf(b *queries.Book, by string) heatAxes {
	material := func(r queries.DetectionRow) string { return *r.Material }
	season := func(r queries.DetectionRow) string { return *r.Season }
	same := func(s string) string { return s }
	switch by {
	case "material+gain":
		return heatAxes{"Material", material, func(r queries.DetectionRow) string { return strconv.Itoa(*r.Gain) }, b.Labels.Material,
			func(s string) string { return "gain " + s }}
	case "material+season":
		return heatAxes{"Material", material, season, b.Labels.Material, same}
	default:
		return heatAxes{"Region", func(r queries.DetectionRow) string { return *r.Region }, season, b.Labels.Region, same}
	}
}

// seasonOrder is the order of the year, wet and dry last.
var seasonOrder = []string{"summer", "autumn", "winter", "spring", "wet", "dry"}

func heatFigure(b *queries.Book, by string) template.HTML {
	axes, rows := axesOf(b, by), cut(b, by)
	var rowCodes, colCodes []string
	cells := map[[2]string]queries.DetectionRow{}
	for _, r := range rows {
		at := [2]string{axes.row(r), axes.col(r)}
		cells[at] = r
		if !slices.Contains(rowCodes, at[0]) {
			rowCodes = append(rowCodes, at[0])
		}
		if !slices.Contains(colCodes, at[1]) {
			colCodes = append(colCodes, at[1])
		}
	}
	slices.SortFunc(colCodes, compareColumns)
	f := chart.HeatTable{Frame: chart.Frame{ID: "heat-" + strconv.Itoa(len(by)), Title: "Active calls by " + by, Desc: "Share called active in each cell, with interval and count."},
		Corner: axes.corner, EmptyWords: "none", Steps: rampSteps(rows)}
	for _, c := range colCodes {
		f.Columns = append(f.Columns, axes.colLabel(c))
	}
	for _, code := range rowCodes {
		row := chart.HeatRow{Label: axes.rowLabel(code)}
		for _, c := range colCodes {
			row.Cells = append(row.Cells, heatCell(cells, code, c, row.Label+", "+axes.colLabel(c)))
		}
		f.Rows = append(f.Rows, row)
	}
	return f.SVG()
}

func heatCell(cells map[[2]string]queries.DetectionRow, row, col, what string) chart.HeatCell {
	r, ok := cells[[2]string{row, col}]
	if !ok {
		return chart.HeatCell{Empty: true, Title: what + ": none"}
	}
	return chart.HeatCell{Rate: number(r.Rate), Low: number(r.Low), High: number(r.High), N: int(r.N()), Enough: r.Enough,
		Title: rateTitle(what, r.Rate, r.Low, r.High, r.Active, r.N())}
}

// compareColumns puts numbers in order and seasons in the order of the year.
func compareColumns(x, y string) int {
	a, errA := strconv.Atoi(x)
	c, errB := strconv.Atoi(y)
	if errA == nil && errB == nil {
		return a - c
	}
	return slices.Index(seasonOrder, x) - slices.Index(seasonOrder, y)
}

// rampSteps are six round rates that part the shown rates into seven shades.
func rampSteps(rows []queries.DetectionRow) []float64 {
	top := 0.0
	for _, r := range rows {
		if r.Enough && r.Rate.Known() {
			top = max(top, float64(r.Rate))
		}
	}
	for _, step := range []float64{0.01, 0.02, 0.05, 0.1, 0.15} {
		if top < 7*step {
			return multiples(step)
		}
	}
	return multiples(0.15)
}

func multiples(step float64) []float64 {
	out := make([]float64, 6)
	for i := range out {
		out[i] = math.Round(float64(i+1)*step*100) / 100
	}
	return out
}

// lostReadings says why there are more readings than points.
func lostReadings(n map[string]int64) string {
	return fmt.Sprintf("%s control readings, %s repeats on a point", queries.Count(n["control_readings"]), queries.Count(n["readings"]-n["control_readings"]-n["points"]))
}

// flowFigure draws how readings became findings.
func flowFigure(n map[string]int64) template.HTML {
	f := chart.Flow{Frame: chart.Frame{ID: "flow-figure", Title: "From readings to findings", Desc: "Boxes for readings, points, calls, checked calls and findings, with the counts lost at each step."}}
	if n["readings"] == 0 {
		return f.SVG()
	}
	f.Levels = append(f.Levels,
		[]chart.FlowBox{{Lines: []string{"Readings", queries.Count(n["readings"])}}},
		[]chart.FlowBox{{Lines: []string{"Points tested", queries.Count(n["points"])}, From: []int{0}, Lost: lostReadings(n)}})
	var calls, verified, found []chart.FlowBox
	for _, call := range []string{"active", "clear", "unsure"} {
		all, seen := n["call "+call], n["verified "+call]
		calls = append(calls, chart.FlowBox{Lines: []string{"Called " + call, queries.Count(all)}, From: []int{0}})
		verified = append(verified, chart.FlowBox{Lines: []string{"Checked", queries.Count(seen)}, From: []int{len(calls) - 1}, Lost: queries.Count(all-seen) + " never checked"})
		found = append(found, chart.FlowBox{Lines: []string{"Found active " + queries.Count(n["finding "+call+" active"]), "not active " + queries.Count(n["finding "+call+" not_active"])},
			From: []int{len(calls) - 1}})
	}
	f.Levels = append(f.Levels, calls, verified, found)
	return f.SVG()
}
