package calc

import (
	"encoding/json"
	"fmt"
	"math"

	"scanledger/queries/stats"
)

// count is a whole number from 0 in an input, however JSON spells it (12, 12.0, 1e5). Null or a
// fraction is refused.
type count int

// UnmarshalJSON reads one count.
func (c *count) UnmarshalJSON(text []byte) error {
	var r real
	if err := r.UnmarshalJSON(text); err != nil {
		return err
	}
	if r < 0 || r > stats.MaxCount || float64(r) != math.Trunc(float64(r)) {
		return fmt.Errorf("%s is no count: give whole numbers from 0 to %d", text, stats.MaxCount)
	}
	*c = count(r)
	return nil
}

// real is a number in an input that may not be null; encoding/json would read null as 0.
type real float64

// UnmarshalJSON reads one number.
func (r *real) UnmarshalJSON(text []byte) error {
	var f *float64
	if err := json.Unmarshal(text, &f); err != nil {
		return fmt.Errorf("%.40s is not a number in range: %w", text, err)
	}
	if f == nil {
		return fmt.Errorf("null among the numbers: leave it out")
	}
	*r = real(*f)
	return nil
}

func counts(cs []count) []int {
	out := make([]int, len(cs))
	for i, c := range cs {
		out[i] = int(c)
	}
	return out
}

func countRows(rows [][]count) [][]int {
	out := make([][]int, len(rows))
	for i, row := range rows {
		out[i] = counts(row)
	}
	return out
}

// reals keeps nil apart from empty: nil is a field left out.
func reals(rs []real) []float64 {
	if rs == nil {
		return nil
	}
	out := make([]float64, len(rs))
	for i, r := range rs {
		out[i] = float64(r)
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

func limits(low, high float64) [2]Num { return [2]Num{Num(low), Num(high)} }
