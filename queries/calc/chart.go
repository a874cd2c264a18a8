package calc

import (
	"math"
	"slices"

	"scanledger/queries/stats"
)

// Usual chart settings, where an input leaves them out.
const (
	defaultSigmas    = 3.0
	defaultLambda    = 0.2
	defaultAllowance = 0.5
)

var chartMethods = []Method{
	method("p-chart", "control chart of shares, with Laney's p-prime", "Shewhart 1931; Laney 2002", pChart),
	method("ewma", "exponentially weighted moving average chart", "Roberts 1959; Lucas and Saccucci 1990", ewma),
	method("cusum", "tabular cumulative sum chart", "Page 1954", cusum),
	method("cusum-arl", "average run length of a cumulative sum chart", "Page 1954; Goel and Wu 1971; Kemp 1961", cusumARL),
	method("g-chart", "control chart of gaps between rare events",
		"Kaminsky, Benneyan, Davis and Burke 1992; Benneyan 2001", gChart),
}

type pChartIn struct {
	Nonconforming []count  `json:"nonconforming" calc:"required"`
	Sizes         []count  `json:"sizes" calc:"required"`
	Sigmas        *float64 `json:"sigmas"`
}

type pChartOut struct {
	Centre      Num   `json:"centre"`
	UCL         any   `json:"ucl"` // one number when all sizes are equal, else one per subgroup; so below
	LCL         any   `json:"lcl"`
	Beyond      []int `json:"beyond_limits_1based"`
	SigmaZ      Num   `json:"laney_sigma_z"`
	LaneyUCL    any   `json:"laney_ucl"`
	LaneyLCL    any   `json:"laney_lcl"`
	LaneyBeyond []int `json:"laney_beyond_1based"`
	Z           []Num `json:"z_scores"`
}

func pChart(in pChartIn) (pChartOut, error) {
	r, err := stats.NewPChart(ints(in.Nonconforming), ints(in.Sizes), given(in.Sigmas, defaultSigmas))
	if err != nil {
		return pChartOut{}, err
	}
	side := func(bounds []stats.Interval, end func(stats.Interval) float64) any {
		if slices.Min(in.Sizes) == slices.Max(in.Sizes) {
			return Num(end(bounds[0]))
		}
		return ends(bounds, end)
	}
	return pChartOut{
		Centre: Num(r.Centre), UCL: side(r.Limits, high), LCL: side(r.Limits, low), Beyond: r.Beyond,
		SigmaZ: Num(r.SigmaZ), LaneyUCL: side(r.Laney, high), LaneyLCL: side(r.Laney, low), LaneyBeyond: r.LaneyBeyond,
		Z: nums(r.Z),
	}, nil
}

func low(i stats.Interval) float64  { return i.Low }
func high(i stats.Interval) float64 { return i.High }

func ends(bounds []stats.Interval, end func(stats.Interval) float64) []Num {
	out := make([]Num, len(bounds))
	for i, l := range bounds {
		out[i] = Num(end(l))
	}
	return out
}

type ewmaIn struct {
	X      []real   `json:"x" calc:"required"`
	Target *float64 `json:"target"`
	Sigma  *float64 `json:"sigma"`
	Lambda *float64 `json:"lambda"`
	L      *float64 `json:"L"`
}

type ewmaOut struct {
	Target            Num   `json:"target"`
	Sigma             Num   `json:"sigma"`
	EWMA              []Num `json:"ewma"`
	UCLAsymptotic     Num   `json:"ucl_asymptotic"`
	LCLAsymptotic     Num   `json:"lcl_asymptotic"`
	UCLExact          []Num `json:"ucl_exact"`
	LCLExact          []Num `json:"lcl_exact"`
	SignalsAsymptotic []int `json:"signals_asymptotic_1based"`
	SignalsExact      []int `json:"signals_exact_1based"`
}

func ewma(in ewmaIn) (ewmaOut, error) {
	r, err := stats.NewEWMA(stats.EWMAInput{
		X:      reals(in.X),
		Target: given(in.Target, math.NaN()), Sigma: given(in.Sigma, math.NaN()),
		Lambda: given(in.Lambda, defaultLambda), L: given(in.L, defaultSigmas),
	})
	return ewmaOut{
		Target: Num(r.Target), Sigma: Num(r.Sigma), EWMA: nums(r.EWMA),
		UCLAsymptotic: Num(r.Asymptotic.High), LCLAsymptotic: Num(r.Asymptotic.Low),
		UCLExact: ends(r.Exact, high), LCLExact: ends(r.Exact, low),
		SignalsAsymptotic: r.SignalsAsymptotic, SignalsExact: r.SignalsExact,
	}, err
}

type cusumIn struct {
	X      []real   `json:"x" calc:"required"`
	Target *float64 `json:"target"`
	Sigma  *float64 `json:"sigma"`
	K      *float64 `json:"k"`
	H      *float64 `json:"h"`
}

type cusumOut struct {
	Target     Num   `json:"target"`
	K          Num   `json:"k"`
	H          Num   `json:"h"`
	Upper      []Num `json:"upper"`
	Lower      []Num `json:"lower"`
	FirstUpper *int  `json:"first_upper_signal_1based"` // null: no signal
	FirstLower *int  `json:"first_lower_signal_1based"`
	Deviation  []Num `json:"cumulative_deviation"`
}

func cusum(in cusumIn) (cusumOut, error) {
	r, err := stats.NewCUSUM(stats.CUSUMInput{
		X:      reals(in.X),
		Target: given(in.Target, math.NaN()), Sigma: given(in.Sigma, math.NaN()),
		K: given(in.K, math.NaN()), H: given(in.H, math.NaN()),
	})
	return cusumOut{
		Target: Num(r.Target), K: Num(r.K), H: Num(r.H),
		Upper: nums(r.Upper), Lower: nums(r.Lower),
		FirstUpper: position(r.FirstUpper), FirstLower: position(r.FirstLower),
		Deviation: nums(r.Deviation),
	}, err
}

// position is where a signal stands, nil for none.
func position(i int) *int {
	if i == 0 {
		return nil
	}
	return &i
}

type runLengthIn struct {
	K      *float64 `json:"k_sigma"`
	H      *float64 `json:"h_sigma" calc:"required"`
	Shifts []real   `json:"shifts_sigma"`
}

type runLengthOut struct {
	Shifts   []Num `json:"shifts_sigma"`
	TwoSided []Num `json:"arl_two_sided"`
	OneSided []Num `json:"arl_one_sided"`
}

// tabledShifts are the shifts a run length table usually shows, in sigmas.
var tabledShifts = []real{0, 0.25, 0.5, 0.75, 1, 1.5, 2, 3}

func cusumARL(in runLengthIn) (runLengthOut, error) {
	shifts := in.Shifts
	if shifts == nil {
		shifts = tabledShifts
	}
	r, err := stats.CUSUMRunLength(given(in.K, defaultAllowance), *in.H, reals(shifts))
	out := runLengthOut{Shifts: nums(reals(shifts))}
	for _, length := range r {
		out.TwoSided = append(out.TwoSided, Num(length.TwoSided))
		out.OneSided = append(out.OneSided, Num(length.OneSided))
	}
	return out, err
}

type gChartIn struct {
	Gaps   []count  `json:"between_events" calc:"required"`
	Sigmas *float64 `json:"sigmas"`
}

type gChartOut struct {
	Mean      Num    `json:"mean"`
	Sigma     Num    `json:"sigma"`
	UCL       Num    `json:"ucl_3sigma"` // 3 unless the input says otherwise
	LCL       Num    `json:"lcl_3sigma"`
	Median    Num    `json:"median_centre_line"`
	P         Num    `json:"geometric_p"`
	Quantiles [3]int `json:"probability_limit_quantiles_0_00135_0_5_0_99865"`
	Beyond    []int  `json:"beyond_1based"`
}

func gChart(in gChartIn) (gChartOut, error) {
	r, err := stats.NewGChart(ints(in.Gaps), given(in.Sigmas, defaultSigmas))
	return gChartOut{
		Mean: Num(r.Mean), Sigma: Num(r.Sigma), UCL: Num(r.Limits.High), LCL: Num(r.Limits.Low),
		Median: Num(r.Median), P: Num(r.P), Quantiles: r.Quantiles, Beyond: r.Beyond,
	}, err
}
