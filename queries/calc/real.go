package calc

import (
	"encoding/json"
	"errors"
	"fmt"
)

// real is a number of an input that may not be null, which encoding/json would read as 0.
type real float64

// UnmarshalJSON reads one number.
func (r *real) UnmarshalJSON(raw []byte) error {
	if string(raw) == "null" {
		return errors.New("null among the numbers; leave it out")
	}
	var f float64
	if err := json.Unmarshal(raw, &f); err != nil {
		return fmt.Errorf("%.40s is not a number in range: %w", raw, err)
	}
	*r = real(f)
	return nil
}

// reals keeps nil (a field left out) apart from empty.
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
