package stats

import (
	"errors"
	"fmt"
	"math"
)

// MaxCount bounds one count: far above a century of inspections, low enough that sums of counts
// stay exact in float64.
const MaxCount = 1_000_000_000

// ChiSquareTest is a chi-square statistic, its degrees of freedom and its upper-tail p. Statistic
// and P are NaN when the test cannot be said; P is NaN when DF is 0.
type ChiSquareTest struct {
	Statistic float64
	DF        int
	P         float64
}

func chiSquareTest(statistic float64, df int) ChiSquareTest {
	return ChiSquareTest{statistic, df, chiSquaredP(statistic, float64(df))}
}

func checkCounts(name string, counts ...int) error {
	for i, c := range counts {
		if c < 0 || c > MaxCount {
			return fmt.Errorf("%s: value %d is %d: give counts from 0 to %d", name, i+1, c, MaxCount)
		}
	}
	return nil
}

func checkFinite(name string, values ...float64) error {
	for i, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("%s: value %d is %v: give finite numbers", name, i+1, v)
		}
	}
	return nil
}

// checkShares refuses counts that cannot be part of their whole.
func checkShares(partName string, part []int, wholeName string, whole []int) error {
	if err := errors.Join(checkCounts(partName, part...), checkCounts(wholeName, whole...)); err != nil {
		return err
	}
	for i := range part {
		if part[i] > whole[i] {
			return fmt.Errorf("%s: value %d is %d of %d %s: give a part no larger than its whole",
				partName, i+1, part[i], whole[i], wholeName)
		}
	}
	return nil
}

func checkPositive(name string, v float64) error {
	if !(v > 0) || math.IsInf(v, 1) {
		return fmt.Errorf("%s is %v: give a finite number above 0", name, v)
	}
	return nil
}

func checkNotNegative(name string, v float64) error {
	if !(v >= 0) || math.IsInf(v, 1) {
		return fmt.Errorf("%s is %v: give a finite number from 0", name, v)
	}
	return nil
}

func sumCounts(counts []int) int {
	total := 0
	for _, c := range counts {
		total += c
	}
	return total
}

func square(x float64) float64 { return x * x }
