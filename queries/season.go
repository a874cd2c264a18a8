package queries

import (
	"fmt"
	"math"

	"scanledger/queries/stats"
)

// SeasonGroup is what a wave is fitted to: all regions with four seasons, all with a wet and a dry
// one, or one region alone; and on which measure.
type SeasonGroup struct {
	Group   string  `json:"group"`
	Region  *string `json:"region"`
	Measure string  `json:"measure"`
}

// Groups and measures of SeasonGroup.
const (
	FourSeason   = "four_season"
	WetDry       = "wet_dry"
	OneRegion    = "region"
	CalledActive = "called_active"
	Confirmed    = "confirmed"
)

// key tells groups apart; codes of regions hold no line breaks.
func (g SeasonGroup) key() string {
	if g.Region == nil {
		return g.Group + "\n\n" + g.Measure
	}
	return g.Group + "\n" + *g.Region + "\n" + g.Measure
}

// SeasonRow is the yearly wave of one group on one measure.
type SeasonRow struct {
	SeasonGroup
	N              int64  `json:"n"`
	Events         int64  `json:"events"`
	Sites          int64  `json:"sites"`
	Months         int64  `json:"months"`
	Rate           Figure `json:"rate"`
	DesignEffect   Figure `json:"design_effect"`
	Amplitude      Figure `json:"amplitude_log_odds"`
	AmplitudeLow   Figure `json:"amplitude_low"`
	AmplitudeHigh  Figure `json:"amplitude_high"`
	OddsRatio      Figure `json:"odds_ratio"`
	OddsRatioLow   Figure `json:"odds_ratio_low"`
	OddsRatioHigh  Figure `json:"odds_ratio_high"`
	PeakDay        Figure `json:"peak_day"`
	PeakDayLow     Figure `json:"peak_day_low"`
	PeakDayHigh    Figure `json:"peak_day_high"`
	PeakMonth      *int   `json:"peak_month"`
	PeakMonthNorth *int   `json:"peak_month_north"`
	PeakMonthSouth *int   `json:"peak_month_south"`
	P              Figure `json:"p"`
	Enough         bool   `json:"enough"`
	WhyNot         string `json:"why_not"`
}

const (
	daysInYear = 365.25
	halfYear   = daysInYear / 2
	// waveLevel is the p below which a wave is taken to be more than chance, so that it has a peak.
	waveLevel = 1 - Confidence
	// rarerNeeded is how many cases there must be of the rarer kind: 10 for each of the two
	// coefficients of a wave (Peduzzi et al. 1996, J Clin Epidemiol 49:1373-1379).
	rarerNeeded = 20
	// minMonthsOfYear must have been seen, so that at most a quarter of the wave is guessed: the
	// house's choice.
	minMonthsOfYear = 9
)

// Wave reports whether the group has a wave beyond chance.
func (r SeasonRow) Wave() bool { return r.Enough && r.P < waveLevel }

// seasonDay is what one group counted on one day of the year, with what is the same on all its days.
type seasonDay struct {
	SeasonGroup
	southern             bool
	day, n, events       int
	sums                 stats.ClusterSums
	months, monthsOfYear int64
}

// angle places the middle of the day on the circle of the group's calendar, whose zero is the start
// of January: northern in a group, local for a region alone.
func (d seasonDay) angle() float64 {
	at := float64(d.day) - 0.5
	if d.southern && d.Group != OneRegion {
		at += halfYear
	}
	return 2 * math.Pi * at / daysInYear
}

func (d *desk) season() error {
	days, q, err := run(d, "season", d.months(), func(scan func(...any) error, r *seasonDay) error {
		return scan(&r.Group, &r.Region, &r.Measure, &r.southern, &r.day, &r.n, &r.events, &r.sums.Clusters,
			&r.sums.EventsSquared, &r.sums.EventsUnits, &r.sums.UnitsSqrd, &r.months, &r.monthsOfYear)
	})
	if err != nil {
		return err
	}
	rows, waves := []SeasonRow{}, map[string]stats.HarmonicFit{}
	for start, end := 0, 0; start < len(days); start = end {
		for end < len(days) && days[end].key() == days[start].key() {
			end++
		}
		row, fit, err := fitSeason(days[start:end], d.book.Floor)
		if err != nil {
			return fmt.Errorf("analysis season, %s %s: %w", row.Group, row.Measure, err)
		}
		rows = append(rows, row)
		if row.Enough {
			waves[row.key()] = fit
		}
	}
	d.book.Season = rows
	d.conclude(q, rows)
	return d.seasonMonths(waves)
}

// fitSeason fits one wave to the days of one group.
func fitSeason(days []seasonDay, floor int) (SeasonRow, stats.HarmonicFit, error) {
	sums := days[0].sums
	var events, trials []int
	var angles []float64
	for _, d := range days {
		events, trials, angles = append(events, d.events), append(trials, d.n), append(angles, d.angle())
		sums.Events += d.events
		sums.Units += d.n
	}
	row := noWave(days[0], sums)
	e, err := stats.ClusterProportion(sums, 0, Confidence)
	if err != nil {
		return row, stats.HarmonicFit{}, err
	}
	row.Rate, row.DesignEffect = Figure(e.P), Figure(e.DesignEffect)
	if row.WhyNot = tooLittleForWave(days[0], sums, floor); row.WhyNot != "" {
		return row, stats.HarmonicFit{}, nil
	}
	fit, err := stats.LogisticHarmonic(events, trials, angles)
	if err != nil {
		return row, fit, err
	}
	if len(fit.Warnings) > 0 {
		row.WhyNot = fit.Warnings[0]
		return row, fit, nil
	}
	row.Enough = true
	fit = fit.Widened(e.DesignEffect)
	row.wave(fit, days[0].southern)
	return row, fit, nil
}

// noWave is the row of a group before anything is known of its wave.
func noWave(d seasonDay, s stats.ClusterSums) SeasonRow {
	return SeasonRow{SeasonGroup: d.SeasonGroup, N: int64(s.Units), Events: int64(s.Events), Sites: int64(s.Clusters), Months: d.months,
		Amplitude: Unknown, AmplitudeLow: Unknown, AmplitudeHigh: Unknown, OddsRatio: Unknown, OddsRatioLow: Unknown, OddsRatioHigh: Unknown,
		PeakDay: Unknown, PeakDayLow: Unknown, PeakDayHigh: Unknown, P: Unknown}
}

func tooLittleForWave(d seasonDay, s stats.ClusterSums, floor int) string {
	switch {
	case d.months < yearMonths:
		return fmt.Sprintf("fewer than %d months: not enough to say", yearMonths)
	case d.monthsOfYear < minMonthsOfYear:
		return fmt.Sprintf("fewer than %d of the 12 months of the year have been seen", minMonthsOfYear)
	case s.Units < floor:
		return belowFloor
	case min(s.Events, s.Units-s.Events) < rarerNeeded:
		return fmt.Sprintf("fewer than %d cases of the rarer kind", rarerNeeded)
	}
	return ""
}

func (r *SeasonRow) wave(fit stats.HarmonicFit, southern bool) {
	limits := fit.AmplitudeLimits(Confidence)
	r.Amplitude, r.AmplitudeLow, r.AmplitudeHigh = Figure(fit.Amplitude), Figure(limits.Low), Figure(limits.High)
	r.OddsRatio, r.OddsRatioLow, r.OddsRatioHigh = exp2(r.Amplitude), exp2(r.AmplitudeLow), exp2(r.AmplitudeHigh)
	r.P = Figure(fit.LikelihoodRatio.P)
	if !r.Wave() {
		return
	}
	days := daysInYear / (2 * math.Pi)
	peak, half := fit.PeakRadians*days, fit.PeakHalfWidth(Confidence)*days
	r.PeakDay, r.PeakDayLow, r.PeakDayHigh = Figure(peak), Figure(aroundYear(peak-half)), Figure(aroundYear(peak+half))
	month, other := monthOfDay(peak), monthOfDay(aroundYear(peak+halfYear))
	r.PeakMonth, r.PeakMonthNorth, r.PeakMonthSouth = &month, &month, &other
	if southern && r.Group == OneRegion {
		r.PeakMonthNorth, r.PeakMonthSouth = &other, &month
	}
}

// exp2 turns an amplitude in log odds into the ratio of the odds at peak and low.
func exp2(amplitude Figure) Figure { return Figure(math.Exp(2 * float64(amplitude))) }

// aroundYear brings a day into the year.
func aroundYear(day float64) float64 {
	return math.Mod(math.Mod(day, daysInYear)+daysInYear, daysInYear)
}

// monthOfDay is the month, of twelve equal ones, that a day of the year falls in.
func monthOfDay(day float64) int { return min(12, int(day/stats.MeanMonthDays)+1) }

// SeasonMonthRow is what one group counted in one month of its calendar, all years together.
type SeasonMonthRow struct {
	SeasonGroup
	MonthOfYear int    `json:"month_of_year"`
	N           int64  `json:"n"`
	Events      int64  `json:"events"`
	Sites       int64  `json:"sites"`
	Rate        Figure `json:"rate"`
	Low         Figure `json:"low"`
	High        Figure `json:"high"`
	Wave        Figure `json:"wave"`
	Enough      bool   `json:"enough"`
}

// seasonMonths counts by month, with the waves fitted to the days beside the counts.
func (d *desk) seasonMonths(waves map[string]stats.HarmonicFit) error {
	rows, q, err := run(d, "season_months", d.months(), func(scan func(...any) error, r *SeasonMonthRow) error {
		var s stats.ClusterSums
		err := scan(&r.Group, &r.Region, &r.Measure, &r.MonthOfYear, &s.Units, &s.Events, &s.Clusters, &s.EventsSquared, &s.EventsUnits, &s.UnitsSqrd)
		if err != nil {
			return err
		}
		rate, err := clusterRate(s, d.book.Floor)
		r.N, r.Events, r.Sites = int64(s.Units), int64(s.Events), int64(s.Clusters)
		r.Rate, r.Low, r.High, r.Enough, r.Wave = rate.Rate, rate.Low, rate.High, s.Units >= d.book.Floor, Unknown
		if fit, ok := waves[r.key()]; ok {
			r.Wave = Figure(1 / (1 + math.Exp(-fit.Linear(stats.MonthAngle(r.MonthOfYear, 0.5)))))
		}
		return err
	})
	if err != nil {
		return err
	}
	d.book.SeasonMonths = rows
	d.conclude(q, rows)
	return nil
}
