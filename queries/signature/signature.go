// Package signature tells what movement in the log of one hold looks like.
//
// In: the levels of a hold over time. Out: its dominant period with its p value and steadiness, whether it came as the
// hold began, whether the scale was full. It never says what moved: fans, pumps and footsteps keep time, and what does
// not keep time may still be anything.
package signature

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Settings say what counts. Times are in seconds, levels in percent of full scale.
type Settings struct {
	Samples, Cycles int     // fewest samples in which a period is looked for, and fewest cycles of it
	Onset           float64 // first seconds of a hold
	Full            float64 // level from which the scale is full
	Most            int     // samples after these are not searched for a period
}

// Signature is what a movement looks like; NaN where nothing can be said.
type Signature struct {
	Period, Explained, G, WhiteP, P, Steadiness float64 // see Period
	Full                                        float64 // share of samples with a full scale
	Early, Late                                 float64 // share of samples above the band in the first Onset seconds, and after
	Trace                                       string  // see trace
}

// Describe describes a hold: seconds since its first sample, which rise, the level at each, and the upper edge of
// what is noise. It takes one pass and, for the period, time that grows with the square of the samples.
func Describe(seconds, levels []float64, band float64, set Settings) (Signature, error) {
	if err := check(seconds, levels); err != nil {
		return Signature{}, err
	}
	out := Signature{Full: share(levels, func(level float64) bool { return level >= set.Full }), Trace: trace(seconds, levels)}
	after := 0
	for after < len(seconds) && seconds[after] <= set.Onset {
		after++
	}
	above := func(level float64) bool { return level > band }
	out.Early, out.Late = share(levels[:after], above), share(levels[after:], above)
	found := noPeriod
	if n := min(len(seconds), set.Most); n >= set.Samples {
		var err error
		if found, err = FindPeriod(seconds[:n], levels[:n], set.Cycles); err != nil {
			return Signature{}, err
		}
	}
	out.Period, out.Explained, out.G, out.WhiteP, out.P, out.Steadiness = found.Seconds, found.Explained, found.G, found.WhiteP, found.P, found.Steadiness
	return out, nil
}

func check(seconds, levels []float64) error {
	if len(seconds) == 0 || len(seconds) != len(levels) {
		return fmt.Errorf("describe movement: %d times and %d levels; give one level for each time", len(seconds), len(levels))
	}
	for i := range seconds {
		if math.IsNaN(levels[i]) || math.IsInf(levels[i], 0) || math.IsInf(seconds[i], 0) || math.IsNaN(seconds[i]) {
			return errors.New("describe movement: a time or level is not finite; leave such samples out")
		}
		if i > 0 && !(seconds[i] > seconds[i-1]) {
			return fmt.Errorf("describe movement: sample %d does not come after the one before it; sort them and leave repeats out", i+1)
		}
	}
	return nil
}

// share is the share of levels that are; NaN of none.
func share(levels []float64, is func(level float64) bool) float64 {
	n := 0
	for _, v := range levels {
		if is(v) {
			n++
		}
	}
	return float64(n) / float64(len(levels))
}

// traceParts is how many parts a trace has at most: what a figure of a few hundred dots can show.
const traceParts = 160

// trace gives the highest level in each of even parts of the hold, in whole percent with spaces between; a part
// without a sample is -. A hold of fewer samples has as many parts as samples.
func trace(seconds, levels []float64) string {
	parts := min(traceParts, len(seconds))
	highest := make([]float64, parts)
	for i := range highest {
		highest[i] = math.NaN()
	}
	length := seconds[len(seconds)-1] - seconds[0]
	for i, t := range seconds {
		p := 0
		if length > 0 {
			p = min(parts-1, int(float64(parts)*(t-seconds[0])/length))
		}
		if !(highest[p] >= levels[i]) {
			highest[p] = levels[i]
		}
	}
	text := make([]string, parts)
	for i, v := range highest {
		if text[i] = "-"; !math.IsNaN(v) {
			text[i] = strconv.Itoa(int(math.Round(v)))
		}
	}
	return strings.Join(text, " ")
}
