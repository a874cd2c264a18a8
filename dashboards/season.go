package dashboards

import (
	"fmt"
	"html/template"
	"strings"
	"time"

	"scanledger/dashboards/chart"
	"scanledger/queries"
)

func seasonPage(b *queries.Book, _ Business) Page {
	p := Page{
		Title:   "Season and trend",
		Heading: yearHeading(b),
		Lead: "Whether the rates move over the months and with the time of year, and how regions compare on one mix of materials. " +
			"Nothing on the other pages is adjusted for any of this.",
	}
	for _, w := range trendWords[:2] {
		p.Sections = append(p.Sections, trendSection(b, w.measure, w.share, w.unit))
	}
	p.Sections = append(p.Sections, yearSection(b))
	for _, group := range []string{queries.FourSeason, queries.WetDry} {
		if r, ok := seasonOf(b, group); ok {
			p.Sections = append(p.Sections, seasonSection(b, r))
		}
	}
	p.Sections = append(p.Sections, wavesSection(b), regionsSection(b), rawMonthsSection(b))
	return p
}

// groupWords name the regions of a group.
var groupWords = map[string]string{queries.FourSeason: "regions with four seasons", queries.WetDry: "regions with a wet and a dry season"}

func groupName(b *queries.Book, g queries.SeasonGroup) string {
	if g.Region != nil {
		return b.Labels.Region(*g.Region)
	}
	return groupWords[g.Group]
}

// seasonOf is the row on active calls of a group of several regions.
func seasonOf(b *queries.Book, group string) (queries.SeasonRow, bool) {
	for _, r := range b.Season {
		if r.Group == group && r.Measure == queries.CalledActive {
			return r, true
		}
	}
	return queries.SeasonRow{}, false
}

func seasonHeading(r queries.SeasonRow) string {
	name := groupWords[r.Group]
	switch {
	case !r.Enough:
		return fmt.Sprintf("No season can be told for %s: %s", name, r.WhyNot)
	case !r.Wave():
		return fmt.Sprintf("In %s, no yearly wave beyond what chance gives", name)
	}
	return fmt.Sprintf("In %s movement is called most around %s in the north, %s in the south", name,
		time.Month(*r.PeakMonthNorth), time.Month(*r.PeakMonthSouth))
}

func seasonSection(b *queries.Book, r queries.SeasonRow) Section {
	s := Section{
		ID: "season-" + r.Group, Heading: seasonHeading(r),
		Sub: fmt.Sprintf("Share of %s points called active by month of the year, with 95%% intervals and the fitted wave. Months are northern: southern ones are moved by half a year, so that summers, and wet seasons, coincide.",
			queries.Count(r.N)),
		Figure: seasonFigure(b, r),
		Source: sourceOf(b, "season_months", ""),
	}
	if r.Enough {
		s.Margin = []Note{{fmt.Sprintf("%.1f×", float64(r.OddsRatio)), fmt.Sprintf("the odds of an active call at the peak against the low of the wave; 95%% interval %.1f to %.1f, p %s, sites as clusters.",
			float64(r.OddsRatioLow), float64(r.OddsRatioHigh), chance(r.P))}}
	}
	return s
}

// chance writes a p-value; a very small one is not written out.
func chance(p queries.Figure) string {
	if p < 0.001 {
		return "under 0.001"
	}
	return fmt.Sprintf("%.3f", float64(p))
}

func monthShort(m int) string { return time.Month(m).String()[:3] }

func seasonFigure(b *queries.Book, row queries.SeasonRow) template.HTML {
	f := chart.Months{Frame: chart.Frame{ID: "season-" + strings.ReplaceAll(row.Group, "_", "-") + "-figure", Title: "Active calls by month of the year: " + groupWords[row.Group],
		Desc: "Share of points called active by month of the year, with 95% intervals and the fitted yearly wave."},
		SmoothedLabel: "fitted wave", Smoothed: row.Enough, Centred: row.Enough, Centre: number(row.Rate)}
	for _, r := range b.SeasonMonths {
		if r.Group == row.Group && r.Measure == row.Measure {
			f.Points = append(f.Points, chart.MonthPoint{Label: monthShort(r.MonthOfYear), Value: number(r.Rate), Low: number(r.Low), High: number(r.High),
				N: int(r.N), Enough: r.Enough, Standing: chart.InLine, Smooth: number(r.Wave),
				Title: rateTitle(time.Month(r.MonthOfYear).String(), r.Rate, r.Low, r.High, r.Events, r.N)})
		}
	}
	return f.SVG()
}

// measureNames say what a measure of the season counts.
var measureNames = map[string]string{queries.CalledActive: "called active", queries.Confirmed: "confirmed"}

// wavesHeading counts the regions with a wave of their own.
func wavesHeading(b *queries.Book) string {
	judged, waves := 0, 0
	for _, r := range b.Season {
		if r.Group == queries.OneRegion && r.Measure == queries.CalledActive && r.Enough {
			judged++
			if r.Wave() {
				waves++
			}
		}
	}
	if judged == 0 {
		return "Too little in any one region to speak of its season"
	}
	return fmt.Sprintf("Regions looked at alone: a yearly wave of active calls beyond chance in %d of %d", waves, judged)
}

func wavesSection(b *queries.Book) Section {
	t := Table{ID: "waves-table", Caption: "One wave a year: groups, and each region alone", Columns: []Column{{Head: "Regions"}, {Head: "Measure"},
		{Head: "Cases", Numeric: true}, {Head: "Events", Numeric: true}, {Head: "Odds, peak to low", Unit: "times", Numeric: true}, {Head: "95% interval", Numeric: true},
		{Head: "p", Numeric: true}, {Head: "Peak, local", Unit: "groups: northern"}, {Head: "Its 95% interval"}}}
	for _, r := range b.Season {
		row := Row{Held: !r.Enough, Cells: []Cell{text(groupName(b, r.SeasonGroup)), text(measureNames[r.Measure]), count(r.N), count(r.Events)}}
		if !r.Enough {
			row.Cells = append(row.Cells, text(r.WhyNot), text(""), text(""), text(""), text(""))
		} else {
			row.Cells = append(row.Cells, decimal(r.OddsRatio, 2), Cell{Text: fmt.Sprintf("%.2f to %.2f", float64(r.OddsRatioLow), float64(r.OddsRatioHigh)), Class: "num"},
				Cell{Text: chance(r.P), Class: "num"}, text(peakWords(r)), text(peakRange(r)))
		}
		t.Rows = append(t.Rows, row)
	}
	return Section{
		ID: "waves", Heading: wavesHeading(b),
		Sub:    "Harmonic logistic regression on the local day of the year (Stolwijk, Straatman and Zielhuis 1999); intervals and p are widened by the design effect of the group, sites as clusters.",
		Tables: []Table{t}, Source: sourceOf(b, "season", ""),
	}
}

func peakWords(r queries.SeasonRow) string {
	if r.PeakMonth == nil {
		return "none beyond chance"
	}
	return time.Month(*r.PeakMonth).String()
}

func peakRange(r queries.SeasonRow) string {
	if !r.PeakDayLow.Known() || !r.PeakDayHigh.Known() {
		return ""
	}
	return dayOfYear(r.PeakDayLow) + " to " + dayOfYear(r.PeakDayHigh)
}

// dayOfYear writes a day of the year as a date of a year without a leap day.
func dayOfYear(day queries.Figure) string {
	return time.Date(2001, time.January, 1+min(364, int(day)), 0, 0, 0, 0, time.UTC).Format("2 Jan")
}

func rawMonthsSection(b *queries.Book) Section {
	t := Table{ID: "raw-months", Caption: "Raw counts by month of the year, all years together", Sortable: true, Find: true, Folded: true, Columns: []Column{{Head: "Regions"}, {Head: "Measure"}, {Head: "Month"},
		{Head: "Cases", Numeric: true}, {Head: "Events", Numeric: true}, {Head: "Rate", Numeric: true}, {Head: "95% interval", Numeric: true}}}
	var n int64
	for _, r := range b.SeasonMonths {
		if r.Group != queries.OneRegion {
			continue // the groups are drawn above
		}
		if r.Measure == queries.CalledActive {
			n += r.N
		}
		month := Cell{Text: monthShort(r.MonthOfYear), Sort: fmt.Sprintf("%02d", r.MonthOfYear)}
		row := Row{Held: !r.Enough, Cells: []Cell{text(groupName(b, r.SeasonGroup)), text(measureNames[r.Measure]), month, count(r.N), count(r.Events), percent(r.Rate), interval(r.Low, r.High)}}
		if !r.Enough {
			row.Cells[5], row.Cells[6] = text("too few"), text("")
		}
		t.Rows = append(t.Rows, row)
	}
	return Section{
		ID: "months-of-year", Heading: fmt.Sprintf("The raw counts behind the waves: %s points by region and month", queries.Count(n)),
		Sub:    "As counted, in local months; nothing is adjusted.",
		Tables: []Table{t}, Source: sourceOf(b, "season_months", ""),
	}
}

// extremes are the regions with the lowest and highest rate; nil where fewer than two have enough.
func extremes(rows []queries.StandardisedRow, rate func(r queries.StandardisedRow) queries.Figure) (low, high *queries.StandardisedRow) {
	for i := range rows {
		r := &rows[i]
		if !r.Enough {
			continue
		}
		if low == nil || rate(*r) < rate(*low) {
			low = r
		}
		if high == nil || rate(*r) > rate(*high) {
			high = r
		}
	}
	if low == high {
		return nil, nil
	}
	return low, high
}

func onMix(r queries.StandardisedRow) queries.Figure     { return r.Rate }
func asCounted(r queries.StandardisedRow) queries.Figure { return r.RawRate }

func regionsHeading(b *queries.Book) string {
	low, high := extremes(b.RegionStandardised, onMix)
	switch {
	case low == nil:
		return "Too few points to compare regions on one mix of materials"
	case low.High < high.Low:
		return fmt.Sprintf("On one mix of materials movement is called more often in %s (%s) than in %s (%s)",
			b.Labels.Region(high.Region), queries.Percent(high.Rate), b.Labels.Region(low.Region), queries.Percent(low.Rate))
	}
	return "On one mix of materials no region stands clear of the others"
}

// turned says where the highest region as counted is clearly not the highest on one mix of materials.
func turned(b *queries.Book) []string {
	_, raw := extremes(b.RegionStandardised, asCounted)
	_, same := extremes(b.RegionStandardised, onMix)
	if raw == nil || raw.High >= same.Low {
		return nil
	}
	return []string{fmt.Sprintf("As counted, the highest rate is that of %s; on one mix of materials it is that of %s.",
		b.Labels.Region(raw.Region), b.Labels.Region(same.Region))}
}

func regionsSection(b *queries.Book) Section {
	f := chart.Dots{Frame: chart.Frame{ID: "regions-dots", Title: "Active calls by region, raw and on one mix of materials",
		Desc: "Two rows a region: the rate as counted, and standardised to the materials of all regions together, with 95% intervals."}, NLabel: "points"}
	t := Table{ID: "regions-table", Caption: "Regions as counted and on one mix of materials", Sortable: true, Columns: []Column{{Head: "Region"}, {Head: "Points", Numeric: true}, {Head: "Active", Numeric: true},
		{Head: "As counted", Numeric: true}, {Head: "95% interval", Numeric: true}, {Head: "One mix", Numeric: true}, {Head: "95% interval", Numeric: true}, {Head: "Left out"}}}
	for _, r := range b.RegionStandardised {
		name := b.Labels.Region(r.Region)
		dot := func(label string, rate, low, high queries.Figure) {
			f.Rows = append(f.Rows, chart.DotRow{Label: label, Value: number(rate), Low: number(low), High: number(high), N: int(r.PointVisits), Enough: r.Enough, Standing: chart.InLine})
		}
		dot(name+", as counted", r.RawRate, r.RawLow, r.RawHigh)
		dot(name+", one mix", r.Rate, r.Low, r.High)
		row := Row{Held: !r.Enough, Cells: []Cell{text(name), count(r.PointVisits), count(r.Active), percent(r.RawRate), interval(r.RawLow, r.RawHigh), percent(r.Rate), interval(r.Low, r.High),
			text(missingWords(b, r))}}
		if !r.Enough {
			row.Cells[3], row.Cells[5] = text("too few"), text(r.WhyNot)
		}
		t.Rows = append(t.Rows, row)
	}
	return Section{
		ID: "regions", Heading: regionsHeading(b), Paragraphs: turned(b),
		Sub:    "Share of points called active, as counted, and with rates by material weighted by the materials of all regions together (direct standardisation); sites as clusters.",
		Figure: f.SVG(), Tables: []Table{t}, Source: sourceOf(b, "region_standardised", ""),
	}
}

// missingWords name the materials left out of a region's standardised rate.
func missingWords(b *queries.Book, r queries.StandardisedRow) string {
	if r.MaterialsMissing == "" {
		return "none"
	}
	var names []string
	for _, code := range strings.Split(r.MaterialsMissing, "; ") {
		names = append(names, b.Labels.Material(code))
	}
	return fmt.Sprintf("%s; %s of the mix remains", strings.Join(names, ", "), queries.Percent(r.WeightCovered))
}
