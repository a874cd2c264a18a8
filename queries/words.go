package queries

import (
	"strconv"
	"strings"
)

// Material is the name shown for a material code.
func (l Labels) Material(code string) string { return labelOr(l.Materials, code) }

// Region is the name shown for a region code.
func (l Labels) Region(code string) string { return labelOr(l.Regions, code) }

func labelOr(labels map[string]string, code string) string {
	if label := labels[code]; label != "" {
		return label
	}
	return code
}

// Percent writes a share for a person: no more digits than help.
func Percent(f Figure) string {
	if !f.Known() {
		return "not known"
	}
	p := 100 * float64(f)
	if p > 0 && p < 10 || p > 99 && p < 100 {
		return strconv.FormatFloat(p, 'f', 1, 64) + "%"
	}
	return strconv.FormatFloat(p, 'f', 0, 64) + "%"
}

// Range writes an interval of shares for a person.
func Range(low, high Figure) string {
	if !low.Known() || !high.Known() {
		return "not known"
	}
	return strings.TrimSuffix(Percent(low), "%") + " to " + Percent(high)
}

// Count writes a count with its thousands apart.
func Count(n int64) string {
	s := strconv.FormatInt(n, 10)
	if -10_000 < n && n < 10_000 {
		return s // four digits stay together (ISO 80000-1)
	}
	for i := len(s) - 3; i > 0 && s[i-1] != '-'; i -= 3 {
		s = s[:i] + "\u00a0" + s[i:]
	}
	return s
}
