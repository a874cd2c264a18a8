package calc

import (
	"fmt"

	"scanledger/queries/stats"
)

var periodMethods = []Method{
	method("fisher-g", "Test for one hidden period in an evenly spaced series",
		"Fisher 1929", fisherG),
	method("fisher-g-critical", "Critical values of Fisher's g",
		"Fisher 1929", fisherGCritical),
	method("lomb-scargle", "Periodogram of a series at any times",
		"Scargle 1982", lombScargle),
}

type fisherGIn struct {
	X []real `json:"x" calc:"required"`
}

type fisherGOut struct {
	N             int   `json:"n"`
	Frequencies   int   `json:"frequencies"`
	G             Num   `json:"g"`
	P             Num   `json:"p_value"`
	Peak          *int  `json:"peak_index"`
	PeakFrequency Num   `json:"peak_frequency_cycles_per_sample"`
	Periodogram   []Num `json:"periodogram"`
}

func fisherG(in fisherGIn) (fisherGOut, error) {
	g, err := stats.FisherGTest(reals(in.X))
	if err != nil {
		return fisherGOut{}, err
	}
	out := fisherGOut{
		N: len(in.X), Frequencies: len(g.Periodogram), G: Num(g.G), P: Num(g.P),
		PeakFrequency: Num(g.PeakFrequency(len(in.X))), Periodogram: nums(g.Periodogram),
	}
	if g.Peak > 0 {
		out.Peak = &g.Peak
	}
	return out, nil
}

type fisherGCriticalIn struct {
	M []count `json:"m" calc:"required"`
}

type fisherGCriticalOut struct {
	FivePercent []Num `json:"critical_g_5_percent"`
	OnePercent  []Num `json:"critical_g_1_percent"`
}

// maxCritical keeps the root searches within seconds.
const maxCritical = 1000

func fisherGCritical(in fisherGCriticalIn) (fisherGCriticalOut, error) {
	if n := len(in.M); n == 0 || n > maxCritical {
		return fisherGCriticalOut{}, fmt.Errorf("%d values of \"m\"; give from 1 to %d", n, maxCritical)
	}
	var out fisherGCriticalOut
	for _, m := range in.M {
		five, err := stats.FisherGCritical(int(m), 0.05)
		if err != nil {
			return fisherGCriticalOut{}, err
		}
		one, err := stats.FisherGCritical(int(m), 0.01)
		if err != nil {
			return fisherGCriticalOut{}, err
		}
		out.FivePercent, out.OnePercent = append(out.FivePercent, Num(five)), append(out.OnePercent, Num(one))
	}
	return out, nil
}

type lombScargleIn struct {
	T           []real `json:"t" calc:"required"`
	Y           []real `json:"y" calc:"required"`
	Frequencies []real `json:"frequencies" calc:"required"`
}

type lombScargleOut struct {
	Power         []Num `json:"power_standard_normalisation"`
	PeakFrequency Num   `json:"peak_frequency"`
	PeakPower     Num   `json:"peak_power"`
	SingleP       Num   `json:"single_frequency_p"`
	FalseAlarm    Num   `json:"false_alarm_probability_M_independent"`
	Fraction      []Num `json:"power_least_squares_fraction"`
}

func lombScargle(in lombScargleIn) (lombScargleOut, error) {
	l, err := stats.LombScarglePeriodogram(reals(in.T), reals(in.Y), reals(in.Frequencies))
	return lombScargleOut{
		nums(l.Power), Num(l.PeakFrequency), Num(l.PeakPower), Num(l.SingleP), Num(l.FalseAlarm), nums(l.Fraction),
	}, err
}
