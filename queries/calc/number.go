package calc

import "math"

func countRows(rows [][]count) [][]int {
	out := make([][]int, len(rows))
	for i, row := range rows {
		out[i] = ints(row)
	}
	return out
}

// given is the value of an optional field, or fallback when it was left out or null.
func given(field *float64, fallback float64) float64 {
	if field == nil {
		return fallback
	}
	return *field
}

// orNaN turns numbers with nulls into numbers with NaN.
func orNaN(fields []*float64) []float64 {
	out := make([]float64, len(fields))
	for i, f := range fields {
		out[i] = given(f, math.NaN())
	}
	return out
}
