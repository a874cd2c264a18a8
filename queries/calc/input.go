package calc

import (
	"fmt"
	"math"
	"strconv"

	"scanledger/queries/stats"
)

// count is a whole number of an input; 12, 12.0 and 1.2e1 are the same count.
type count int

// UnmarshalJSON refuses null, fractions and numbers too large to be counted exactly.
func (c *count) UnmarshalJSON(raw []byte) error {
	f, err := strconv.ParseFloat(string(raw), 64)
	if err != nil || f != math.Trunc(f) || math.Abs(f) >= 1<<53 {
		return fmt.Errorf("%.40s is not a count; give a whole number", raw)
	}
	*c = count(f)
	return nil
}

// real is a number in a list of an input. It may not be null, which encoding/json would read as 0.
type real float64

// UnmarshalJSON reads one number.
func (r *real) UnmarshalJSON(raw []byte) error {
	f, err := strconv.ParseFloat(string(raw), 64)
	if err != nil {
		return fmt.Errorf("%.40s is not a number; leave that row out", raw)
	}
	*r = real(f)
	return nil
}

// reals keeps nil, a field left out, apart from an empty list.
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

func ints(cs []count) []int {
	out := make([]int, len(cs))
	for i, c := range cs {
		out[i] = int(c)
	}
	return out
}

func floats(cs []count) []float64 {
	out := make([]float64, len(cs))
	for i, c := range cs {
		out[i] = float64(c)
	}
	return out
}

// confidence is the optional level of an input; absent it is 0.95.
type confidence struct {
	Conf *float64 `json:"conf"`
}

func (c confidence) level() float64 {
	if c.Conf == nil {
		return 0.95
	}
	return *c.Conf
}

// limits prints an interval as two numbers, low and high.
type limits [2]Num

func limitsOf(i stats.Interval) limits { return limits{Num(i.Low), Num(i.High)} }

func endsOf(e stats.Estimate) limits { return limits{Num(e.Low), Num(e.High)} }
