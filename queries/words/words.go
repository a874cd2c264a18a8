// Package words writes numbers for people.
//
// In: one number. Out: its text, the same on every page and in every sentence. It never knows what
// the number is of.
package words

import (
	"math"
	"strconv"
	"strings"
)

// Unknown stands where there is no number.
const Unknown = "–"

// Percent writes a rate (0 to 1) as a percentage: one decimal under 10 %, none
// from there on. A rate that is not quite 0 or 1 is never rounded to "0%" or
// "100%", since both would claim more than was seen.
func Percent(rate float64) string {
	p := 100 * rate
	switch {
	case !finite(rate):
		return Unknown
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

// Range writes an interval of rates, such as "8.1% to 14%".
func Range(low, high float64) string { return Percent(low) + " to " + Percent(high) }

// Ratio writes a ratio with two decimals under 10, one under 100, none above.
func Ratio(v float64) string {
	decimals := 0
	switch {
	case !finite(v):
		return Unknown
	case math.Abs(v) < 9.995:
		decimals = 2
	case math.Abs(v) < 99.95:
		decimals = 1
	}
	return strconv.FormatFloat(v, 'f', decimals, 64)
}

// Count writes a whole number with a no-break space between
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
	return sign + strings.Join(append([]string{s}, groups...), "\u00a0")
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
