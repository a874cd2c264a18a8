package dashboards

import (
	"fmt"
	"strings"
	"testing"

	"scanledger/queries"
)

// seasons gives the book two years with a season, a change and regions that turn round.
func seasons(b *queries.Book) {
	for _, measure := range []string{queries.ActiveRate, queries.ConfirmedShare} {
		for k := range 24 {
			r := queries.TrendRow{Measure: measure, Month: fmt.Sprintf("%d-%02d", 2024+k/12, 1+k%12), N: 100, Events: 20, Rate: 0.2, Low: 0.13, High: 0.29,
				Baseline: k < 12, Centre: 0.2, LCL: 0.08, UCL: 0.32, LaneyLCL: 0.05, LaneyUCL: 0.35, SigmaZ: 1.25, Chart: queries.LaneyChart,
				EWMA: 0.2, EWMALCL: 0.16, EWMAUCL: 0.24, Enough: true}
			if k == 23 {
				r.Events, r.Rate, r.Low, r.High, r.Beyond, r.Rules, r.EWMA, r.Signal = 40, 0.4, 0.31, 0.5, true, "beyond limits", 0.25, true
			}
			b.Trend = append(b.Trend, r)
		}
		b.TrendSummary = append(b.TrendSummary, queries.TrendSummaryRow{Measure: measure, Months: 24, MonthsUsed: 24, BaselineFrom: "2024-01", BaselineTo: "2024-12",
			Centre: 0.2, SigmaZ: 1.25, Chart: queries.LaneyChart, MonthsBeyond: 1, MonthsSignalled: 1, S: ptr(int64(60)), P: 0.14, Slope: 0.001, SlopeLow: -0.0005, SlopeHigh: 0.0025,
			LastN: 1200, LastEvents: 340, LastRate: 0.28, BeforeN: 1200, BeforeEvents: 240, BeforeRate: 0.2, Difference: 0.08, DifferenceLow: 0.04, DifferenceHigh: 0.12, Enough: true})
	}
	b.TrendSummary[1].Difference, b.TrendSummary[1].DifferenceLow, b.TrendSummary[1].DifferenceHigh = -0.1, -0.14, -0.06
	wave := queries.SeasonRow{N: 1200, Events: 240, Sites: 90, Months: 24, Rate: 0.2, DesignEffect: 1.4, Amplitude: 0.3, AmplitudeLow: 0.1, AmplitudeHigh: 0.5,
		OddsRatio: 1.82, OddsRatioLow: 1.22, OddsRatioHigh: 2.72, PeakDay: 10, PeakDayLow: 350, PeakDayHigh: 35, PeakMonth: ptr(1), PeakMonthNorth: ptr(7), PeakMonthSouth: ptr(1), P: 0.001, Enough: true}
	for _, g := range []queries.SeasonGroup{{Group: queries.FourSeason, Measure: queries.CalledActive}, {Group: queries.OneRegion, Region: ptr("S"), Measure: queries.CalledActive},
		{Group: queries.OneRegion, Region: ptr("S"), Measure: queries.Confirmed}} {
		wave.SeasonGroup = g
		b.Season = append(b.Season, wave)
		for m := 1; m <= 12; m++ {
			b.SeasonMonths = append(b.SeasonMonths, queries.SeasonMonthRow{SeasonGroup: g, MonthOfYear: m, N: 100, Events: 20, Sites: 9, Rate: 0.2, Low: 0.13, High: 0.29, Wave: 0.21, Enough: m > 1})
		}
	}
	b.RegionStandardised = []queries.StandardisedRow{
		{Region: "N", PointVisits: 500, Active: 220, Sites: 40, RawRate: 0.44, RawLow: 0.4, RawHigh: 0.48, Rate: 0.3, Low: 0.27, High: 0.33, Difference: -0.14, MaterialsMissing: "brick", WeightCovered: 0.95, Enough: true},
		{Region: "S", PointVisits: 500, Active: 150, Sites: 40, RawRate: 0.3, RawLow: 0.26, RawHigh: 0.34, Rate: 0.43, Low: 0.39, High: 0.47, Difference: 0.13, WeightCovered: 1, Enough: true},
	}
}

func thinSeasons(b *queries.Book) {
	for i := range b.TrendSummary {
		r := &b.TrendSummary[i]
		r.Months, r.MonthsUsed, r.Enough, r.S, r.P = 8, 8, false, nil, queries.Unknown
		r.Difference, r.DifferenceLow, r.DifferenceHigh = queries.Unknown, queries.Unknown, queries.Unknown
	}
	for i := range b.Trend {
		r := &b.Trend[i]
		r.Centre, r.LCL, r.UCL, r.LaneyLCL, r.LaneyUCL, r.EWMA = queries.Unknown, queries.Unknown, queries.Unknown, queries.Unknown, queries.Unknown, queries.Unknown
		r.Beyond, r.Signal, r.Rules, r.Enough = false, false, "", false
	}
	for i := range b.Season {
		b.Season[i].Enough, b.Season[i].WhyNot, b.Season[i].P, b.Season[i].PeakMonth = false, "fewer than 12 months: not enough to say", queries.Unknown, nil
	}
	for i := range b.RegionStandardised {
		b.RegionStandardised[i].Enough, b.RegionStandardised[i].WhyNot = false, "fewer cases than the floor"
	}
}

func levelSeasons(b *queries.Book) {
	for i := range b.TrendSummary {
		r := &b.TrendSummary[i]
		r.MonthsBeyond, r.MonthsSignalled, r.DifferenceLow, r.DifferenceHigh = 0, 0, -0.1, 0.1
	}
	for i := range b.Season {
		r := &b.Season[i]
		r.P, r.PeakMonth, r.PeakDayLow, r.PeakDayHigh = 0.4, nil, queries.Unknown, queries.Unknown
	}
	for i := range b.RegionStandardised {
		b.RegionStandardised[i].Low, b.RegionStandardised[i].High = 0.1, 0.6
	}
}

func TestSeasonHeadings(t *testing.T) {
	four := func(b *queries.Book) string {
		r, ok := seasonOf(b, queries.FourSeason)
		if !ok {
			return ""
		}
		return seasonHeading(r)
	}
	for _, h := range []struct {
		name string
		of   func(b *queries.Book) string
		want map[string]string
	}{
		{"trend", func(b *queries.Book) string {
			return trendHeading(summaryOf(b, queries.ActiveRate), "share of points called active")
		}, map[string]string{
			"strong": "The share of points called active was outside its limits in 1 of 24 months", "level": "The share of points called active stayed within its limits in all 24 months",
			"thin": "Too few months to say whether the share of points called active moves: 8 with enough cases", "nothing": "No months to chart yet"}},
		{"years", yearHeading, map[string]string{
			"strong": "Year on year, the share of points called active rose, and the share of verified active calls that were confirmed fell",
			"level":  "Year on year, nothing changed beyond chance in 2 measures", "thin": "Too few months or cases to compare one year with the next",
			"nothing": "Too few months or cases to compare one year with the next"}},
		{"season", four, map[string]string{"strong": "In regions with four seasons movement is called most around July in the north, January in the south",
			"level":   "In regions with four seasons, no yearly wave beyond what chance gives",
			"thin":    "No season can be told for regions with four seasons: fewer than 12 months: not enough to say",
			"nothing": ""}},
		{"waves", wavesHeading, map[string]string{"strong": "Regions looked at alone: a yearly wave of active calls beyond chance in 1 of 1",
			"level": "Regions looked at alone: a yearly wave of active calls beyond chance in 0 of 1", "thin": "Too little in any one region to speak of its season",
			"nothing": "Too little in any one region to speak of its season"}},
		{"regions", regionsHeading, map[string]string{"strong": "On one mix of materials movement is called more often in South (43%) than in North (30%)",
			"level": "On one mix of materials no region stands clear of the others", "thin": "Too few points to compare regions on one mix of materials",
			"nothing": "Too few points to compare regions on one mix of materials"}},
		{"turned round", func(b *queries.Book) string { return strings.Join(turned(b), "") }, map[string]string{
			"strong": "As counted, the highest rate is that of North; on one mix of materials it is that of South.", "level": "", "thin": "", "nothing": ""}},
	} {
		for name, b := range books() {
			if got := h.of(b); got != h.want[name] {
				t.Errorf("%s, %s figures:\ngot  %q\nwant %q", h.name, name, got, h.want[name])
			}
		}
	}
}

// TestTrendHeadingOfOneSignal: what is outside is named as what it is.
func TestTrendHeadingOfOneSignal(t *testing.T) {
	r := queries.TrendSummaryRow{Months: 24, MonthsUsed: 20, Enough: true, MonthsSignalled: 3, MonthsInRuns: 2}
	if got := trendHeading(r, "rate"); got != "The smoothed rate was outside its limits in 3 of 20 months" {
		t.Error(got)
	}
	r.MonthsSignalled = 0
	if got := trendHeading(r, "rate"); got != "The rate ran on one side of its centre for 8 months or more" {
		t.Error(got)
	}
}
