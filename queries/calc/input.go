package calc

import (
	"fmt"
	"math"
	"strconv"

	"scanledger/queries/stats"
)

// count is a whole number of an input; 12, 12.0 and 1.2e1 are the same count.
type count int

// UnmarshalJSON refuses fractions and numbers too large to be counted exactly.
func (c *count) UnmarshalJSON(raw []byte) error {
	f, err := strconv.ParseFloat(string(raw), 64)
	if string(raw) == "null" {
		return nil
	}
	if err != nil {
		return fmt.Errorf("%s is not a count; give a whole number", raw)
	}
	if f != math.Trunc(f) || math.Abs(f) >= 1<<53 {
		return fmt.Errorf("%s is not a count; give a whole number", raw)
	}
	*c = count(f)
	return nil
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
