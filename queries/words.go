package queries

import "scanledger/queries/words"

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

// Percent writes a share for a person.
func Percent(f Figure) string {
	if !f.Known() {
		return "not known"
	}
	return words.Percent(float64(f))
}

// Range writes an interval of shares for a person.
func Range(low, high Figure) string {
	if !low.Known() || !high.Known() {
		return "not known"
	}
	return words.Range(float64(low), float64(high))
}

// Count writes a count with its thousands apart.
func Count(n int64) string { return words.Count(int(n)) }
