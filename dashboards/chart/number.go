package chart

import (
	"math"
	"strconv"
	"strings"
)

// unknown stands where there is no number.
const unknown = "–"

// noFigure says that numbers came in but cannot be drawn.
const noFigure = "no figure"

// Percent writes a rate (0 to 1) as a percentage: one decimal under 10 %, none
// from there on. A rate that is not quite 0 or 1 is never rounded to "0%" or
// "100%", since both would claim more than was seen.
func Percent(rate float64) string {
	p := 100 * rate
	switch {
	case !finite(rate):
		return unknown
	case p == 0:
		return "0%"
	case p > 0 && p < 0.05:
		return "<0.1%"
	case p < 100 && p >= 99.95:
		return ">99.9%"
	case p < 9.95 || p < 100 && p >= 99.5:
		return strconv.FormatFloat(p, 'f', 1, 64) + "%"
	}
	return strconv.FormatFloat(p, 'f', 0, 64) + "%"
}

// PercentRange writes an interval of rates, such as "8.1% to 14%".
func PercentRange(low, high float64) string { return Percent(low) + " to " + Percent(high) }

// Ratio writes a ratio with two decimals under 10, one under 100, none above.
func Ratio(v float64) string {
	decimals := 0
	switch {
	case !finite(v):
		return unknown
	case math.Abs(v) < 9.995:
		decimals = 2
	case math.Abs(v) < 99.95:
		decimals = 1
	}
	return strconv.FormatFloat(v, 'f', decimals, 64)
}

// Count writes a whole number with a narrow no-break space (U+202F) between
// groups of three digits (ISO 80000-1:2022, 7.3.1). Four digits stay together.
func Count(n int) string {
	s := strconv.Itoa(n)
	sign := ""
	if s[0] == '-' {
		sign, s = "-", s[1:]
	}
	if len(s) < 5 {
		return sign + s
	}
	var groups []string
	for len(s) > 3 {
		groups = append([]string{s[len(s)-3:]}, groups...)
		s = s[:len(s)-3]
	}
	return sign + strings.Join(append([]string{s}, groups...), "\u202f")
}

// tickPercent writes a tick or limit with no more decimals than it needs.
func tickPercent(rate float64) string { return tickNumber(100*rate) + "%" }

// tickNumber rounds to four decimals first, so that 0.1+0.2 reads as 0.3.
func tickNumber(v float64) string {
	return strconv.FormatFloat(math.Round(v*1e4)/1e4, 'f', -1, 64)
}

func finite(vs ...float64) bool {
	for _, v := range vs {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

// isRate says whether all are rates; a NaN is not.
func isRate(vs ...float64) bool {
	for _, v := range vs {
		if !(v >= 0 && v <= 1) {
			return false
		}
	}
	return true
}
