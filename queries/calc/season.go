package calc

import (
	"errors"
	"fmt"
	"strings"

	"scanledger/queries/stats"
)

var seasonMethods = []Method{
	method("seasonality-counts", "tests of 12 monthly counts for a yearly wave, with or without the population at risk",
		"Edwards 1961; Roger 1977; Walter & Elwood 1975; Barnett & Dobson 2010", seasonalityCounts),
	method("harmonic-logistic", "one yearly wave in the odds of an event, with its peak month",
		"Stolwijk, Straatman & Zielhuis 1999", harmonicLogistic),
	method("cosinor", "one yearly wave in counts, for months of unequal length",
		"Barnett & Dobson 2010, ch. 3", cosinor),
}

// monthShift reads where on the circle a month stands from the formula in the input:
// 2*pi*(month-0.5)/12 or 2*pi*(month-1)/12. What follows a comma is a remark.
func monthShift(field, formula string, fallback float64) (float64, error) {
	formula, _, _ = strings.Cut(formula, ",")
	switch strings.ReplaceAll(formula, " ", "") {
	case "":
		return fallback, nil
	case "2*pi*(month-0.5)/12":
		return 0.5, nil
	case "2*pi*(month-1)/12":
		return 1, nil
	}
	return 0, fmt.Errorf("%s is %q: give 2*pi*(month-0.5)/12 or 2*pi*(month-1)/12", field, formula)
}

// requireMidMonth refuses the other angle where a method is defined on mid-months.
func requireMidMonth(formula string) error {
	shift, err := monthShift("month_angle", formula, 0.5)
	if err == nil && shift != 0.5 {
		err = errors.New("month_angle: this method takes 2*pi*(month-0.5)/12")
	}
	return err
}

// yearAngles are the mid-month angles of January to December.
func yearAngles() []float64 {
	out := make([]float64, 12)
	for m := range out {
		out[m] = stats.MonthAngle(m+1, 0.5)
	}
	return out
}

type seasonalityIn struct {
	Counts     []count `json:"monthly_counts" calc:"required"`
	Population []real  `json:"population_or_expected"`
	Angle      string  `json:"month_angle"`
}

type wavesOut struct {
	Total        int      `json:"total"`
	WalterElwood Num      `json:"walter_elwood_chisq"`
	WalterP      Num      `json:"walter_elwood_p"`
	Pearson      Num      `json:"pearson_uniform_chisq"`
	PearsonDF    int      `json:"pearson_df"`
	PearsonP     Num      `json:"pearson_p"`
	LogAmplitude Num      `json:"poisson_cosinor_log_amplitude"`
	PeakDegrees  Num      `json:"poisson_cosinor_peak_degrees"`
	Cos          Num      `json:"poisson_cosinor_coef_cos"`
	Sin          Num      `json:"poisson_cosinor_coef_sin"`
	LR           Num      `json:"poisson_cosinor_lr_chisq"`
	LRP          Num      `json:"poisson_cosinor_lr_p"`
	PeakToLow    Num      `json:"peak_to_low_ratio"`
	Warnings     []string `json:"warnings,omitempty"`
}

// evenWavesOut adds the tests that need months of even exposure.
type evenWavesOut struct {
	wavesOut
	EdwardsAmplitude Num `json:"edwards_amplitude"`
	EdwardsPeak      Num `json:"edwards_peak_degrees"`
	Edwards          Num `json:"edwards_chisq"`
	EdwardsP         Num `json:"edwards_p"`
	Roger            Num `json:"roger_chisq"`
	RogerP           Num `json:"roger_p"`
	FirstAmplitude   Num `json:"first_harmonic_amplitude"`
	FirstPeak        Num `json:"first_harmonic_peak_degrees"`
}

func seasonalityCounts(in seasonalityIn) (any, error) {
	if err := requireMidMonth(in.Angle); err != nil {
		return nil, err
	}
	if len(in.Counts) != 12 {
		return nil, fmt.Errorf("%d monthly_counts: give 12, January first", len(in.Counts))
	}
	counts := stats.MonthCounts(ints(in.Counts))
	if in.Population == nil {
		return evenWaves(counts)
	}
	if len(in.Population) != 12 {
		return nil, fmt.Errorf("%d population_or_expected: give 12, January first, or none", len(in.Population))
	}
	return waves(counts, [12]float64(reals(in.Population)))
}

func waves(counts stats.MonthCounts, exposure [12]float64) (wavesOut, error) {
	walter, err := stats.WalterElwoodTest(counts, exposure)
	if err != nil {
		return wavesOut{}, err
	}
	pearson, err := stats.MonthHomogeneity(counts, exposure)
	if err != nil {
		return wavesOut{}, err
	}
	wave, err := stats.PoissonCosinor(counts[:], exposure[:], yearAngles())
	out := wavesOut{
		WalterElwood: Num(walter.Statistic), WalterP: Num(walter.P),
		Pearson: Num(pearson.Statistic), PearsonDF: pearson.DF, PearsonP: Num(pearson.P),
		LogAmplitude: Num(wave.Amplitude), PeakDegrees: Num(wave.PeakDegrees()),
		Cos: Num(wave.Coef[1]), Sin: Num(wave.Coef[2]),
		LR: Num(wave.LikelihoodRatio.Statistic), LRP: Num(wave.LikelihoodRatio.P), PeakToLow: Num(wave.PeakToLow()),
		Warnings: wave.Warnings,
	}
	for _, c := range counts {
		out.Total += c
	}
	return out, err
}

func evenWaves(counts stats.MonthCounts) (any, error) {
	var even [12]float64
	for m := range even {
		even[m] = 1
	}
	common, err := waves(counts, even)
	if err != nil {
		return nil, err
	}
	edwards, err := stats.EdwardsTest(counts)
	if err != nil {
		return nil, err
	}
	roger, err := stats.RogerTest(counts)
	return evenWavesOut{
		wavesOut:         common,
		EdwardsAmplitude: Num(edwards.Amplitude), EdwardsPeak: Num(edwards.PeakDegrees),
		Edwards: Num(edwards.Test.Statistic), EdwardsP: Num(edwards.Test.P),
		Roger: Num(roger.Test.Statistic), RogerP: Num(roger.Test.P),
		FirstAmplitude: Num(roger.Amplitude), FirstPeak: Num(roger.PeakDegrees),
	}, err
}

type harmonicIn struct {
	Events []count `json:"events" calc:"required"`
	Trials []count `json:"trials" calc:"required"`
	Angle  string  `json:"month_angle"`
}

type harmonicOut struct {
	Coefficients     []Num    `json:"coefficients"`
	StdErrors        []Num    `json:"std_errors"`
	Amplitude        Num      `json:"amplitude_log_odds"`
	AmplitudeSE      Num      `json:"amplitude_se_delta"`
	PeakDegrees      Num      `json:"peak_degrees"`
	PeakDegreesSE    Num      `json:"peak_se_degrees_delta"`
	PeakMonth        Num      `json:"peak_month"`
	LR               Num      `json:"lr_chisq"`
	LRP              Num      `json:"lr_p"`
	Wald             Num      `json:"wald_chisq"`
	ResidualDeviance Num      `json:"residual_deviance"`
	Warnings         []string `json:"warnings,omitempty"`
}

func harmonicLogistic(in harmonicIn) (any, error) {
	if err := requireMidMonth(in.Angle); err != nil {
		return nil, err
	}
	if len(in.Events) != 12 {
		return nil, fmt.Errorf("%d events: give 12, January first", len(in.Events))
	}
	f, err := stats.LogisticHarmonic(ints(in.Events), ints(in.Trials), yearAngles())
	return harmonicOut{
		Coefficients: nums(f.Coef[:]), StdErrors: nums(f.StdErr[:]),
		Amplitude: Num(f.Amplitude), AmplitudeSE: Num(f.AmplitudeSE),
		PeakDegrees: Num(f.PeakDegrees()), PeakDegreesSE: Num(f.PeakDegreesSE()), PeakMonth: Num(f.PeakMonth()),
		LR: Num(f.LikelihoodRatio.Statistic), LRP: Num(f.LikelihoodRatio.P),
		Wald: Num(f.Wald.Statistic), ResidualDeviance: Num(f.ResidualDeviance), Warnings: f.Warnings,
	}, err
}

type cosinorIn struct {
	Years  []count `json:"year"`
	Months []count `json:"month" calc:"required"`
	Counts []count `json:"deaths" calc:"required"`
	Days   []real  `json:"days_in_month"`
	Angle  string  `json:"angle"`
	Offset string  `json:"offset"`
}

type cosinorOut struct {
	Intercept Num      `json:"intercept"`
	Cos       Num      `json:"cos"`
	Sin       Num      `json:"sin"`
	StdErrors []Num    `json:"std_errors"`
	Amplitude Num      `json:"amplitude_log"`
	Phase     Num      `json:"phase_radians"`
	Warnings  []string `json:"warnings,omitempty"`
}

func cosinor(in cosinorIn) (any, error) {
	shift, err := monthShift("angle", in.Angle, 1)
	if err != nil {
		return nil, err
	}
	if err := in.check(); err != nil {
		return nil, err
	}
	var exposure []float64
	for _, d := range in.Days {
		exposure = append(exposure, float64(d)/stats.MeanMonthDays)
	}
	angles := make([]float64, len(in.Months))
	for i, m := range in.Months {
		angles[i] = stats.MonthAngle(int(m), shift)
	}
	f, err := stats.PoissonCosinor(ints(in.Counts), exposure, angles)
	return cosinorOut{
		Intercept: Num(f.Coef[0]), Cos: Num(f.Coef[1]), Sin: Num(f.Coef[2]), StdErrors: nums(f.StdErr[:]),
		Amplitude: Num(f.Amplitude), Phase: Num(f.PeakRadians), Warnings: f.Warnings,
	}, err
}

func (in cosinorIn) check() error {
	if in.Years != nil && len(in.Years) != len(in.Counts) || len(in.Months) != len(in.Counts) {
		return fmt.Errorf("%d years, %d months and %d deaths: give one of each per row", len(in.Years), len(in.Months), len(in.Counts))
	}
	switch {
	case in.Days != nil && len(in.Days) != len(in.Counts):
		return fmt.Errorf("%d days_in_month for %d deaths: give one each, or none", len(in.Days), len(in.Counts))
	case in.Days == nil && in.Offset != "":
		return errors.New("offset without days_in_month: give the days of each month")
	}
	for i, m := range in.Months {
		if m < 1 || m > 12 {
			return fmt.Errorf("month %d is %d: give 1 to 12", i+1, m)
		}
	}
	for i, d := range in.Days {
		if !(d > 0 && d <= 31) {
			return fmt.Errorf("days_in_month %d is %v: give days above 0, at most 31", i+1, d)
		}
	}
	return nil
}
