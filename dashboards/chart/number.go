package chart

import (
	"math"
	"strconv"
)

// noFigure says that numbers came in but cannot be drawn.
const noFigure = "no figure"

// tickPercent writes a tick or limit with no more decimals than it needs.
func tickPercent(rate float64) string { return tickNumber(100*rate) + "%" }

// tickNumber rounds to four decimals first, so that 0.1+0.2 reads as 0.3.
func tickNumber(v float64) string {
	return strconv.FormatFloat(math.Round(v*1e4)/1e4, 'f', -1, 64)
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
