package people

import (
	"math"

	"scanledger/queries/stats"
)

// course is what following a diary says of one month.
type course struct {
	trials, events, expected float64 // expected at the average technician
	watched                  bool
	level                    float64 // odds of the own level over the average technician's
	own, spread              float64 // expected at the own level, and the variance of the events
	up, down                 float64
	leftUp, leftDown         int // months in which the sums last left 0
	signal                   string
	since                    int
	average, averageError    float64 // 0 where there is none
}

// history is what happened in the months of a diary.
type history interface {
	// count sums the month's calls.
	count(c *course, month int)
	// ratios sets what the month's visits give at the own level, and returns the log-likelihood ratios of odds
	// shift times as large and as small.
	ratios(c *course, month int) [2]float64
}

// follow goes through the diary with what happened.
func (d diary) follow(h history, within limits) ([]course, error) {
	out := make([]course, len(d.months))
	frozen := len(out)
	for i := range out {
		c := &out[i]
		h.count(c, i)
		if i < d.learnt {
			continue
		}
		c.watched = true
		c.level = levelOf(out[:min(frozen, max(d.learnt, i-guard))])
		c.add(out[i-1], i, h.ratios(c, i))
		if c.judge(within); c.signal != "" {
			frozen = min(frozen, max(d.learnt, c.since))
		}
	}
	return out, smooth(out)
}

// told is a history visit by visit: the events of each.
type told struct {
	diary
	events [][]int
}

func (h told) count(c *course, month int) {
	for k, v := range h.months[month] {
		c.events += float64(h.events[month][k])
		c.trials += float64(len(v.odds))
		for _, o := range v.odds {
			c.expected += o / (1 + o)
		}
	}
}

// levelOf is the odds of a false alarm over those of the average technician in the given months, drawn
// towards 1 as a normal prior of spread technicianSpread on log-odds would: by as many trials as that is worth.
// No trials give level 1.
func levelOf(months []course) float64 {
	var trials, events, expected float64
	for _, c := range months {
		trials, events, expected = trials+c.trials, events+c.events, expected+c.expected
	}
	if trials == 0 {
		return 1
	}
	p := expected / trials
	prior := 1 / (p * (1 - p) * technicianSpread * technicianSpread)
	share := (events + prior*p) / (trials + prior)
	return share / (1 - share) * (1 - p) / p
}

func (h told) ratios(c *course, month int) (by [2]float64) {
	for k, v := range h.months[month] {
		at := v.at(c.level, h.likeness)
		c.own += at.own
		c.spread += at.spread
		alike, x := h.alike(v), float64(h.events[month][k])*math.Log(shift)
		by[0] += (x + at.upper) / alike
		by[1] += (at.lower - x) / alike
	}
	return by
}

// alike is how many calls of the visit count as one.
func (d diary) alike(v visit) float64 { return 1 + d.likeness*float64(len(v.odds)-1) }

// levelled is what a visit's odds make at a level, whatever happened: events expected and their variance, and what no event
// at all says for odds shift times as large and as small.
type levelled struct{ own, spread, upper, lower float64 }

func (v visit) at(level, likeness float64) (out levelled) {
	var roots, variance float64
	for _, o := range v.odds {
		odds := o * level
		p := odds / (1 + odds)
		out.own += p
		variance += p * (1 - p)
		roots += math.Sqrt(p * (1 - p))
		out.upper += math.Log((1 + odds) / (1 + odds*shift))
		out.lower += math.Log((1 + odds) / (1 + odds/shift))
	}
	out.spread = variance + likeness*(roots*roots-variance)
	return out
}

// add carries the sums on from the month before; after a signal they start again.
func (c *course) add(before course, month int, by [2]float64) {
	if before.signal != "" {
		before.up, before.down = 0, 0
	}
	c.leftUp, c.leftDown = before.leftUp, before.leftDown
	if before.up == 0 {
		c.leftUp = month
	}
	if before.down == 0 {
		c.leftDown = month
	}
	c.up, c.down = max(0, before.up+by[0]), max(0, before.down+by[1])
}

func (c *course) judge(within limits) {
	switch {
	case c.up > within.up:
		c.signal, c.since = Up, c.leftUp
	case c.down > within.down:
		c.signal, c.since = Down, c.leftDown
	}
}

// smooth sets the weighted average of what the share has beyond the own level, in months with calls.
func smooth(months []course) error {
	var at []int
	in := stats.EWMAInput{Sigma: math.NaN(), Lambda: newest, L: 1}
	for i, c := range months {
		if c.watched && c.trials > 0 {
			at = append(at, i)
			in.X, in.Sigmas = append(in.X, (c.events-c.own)/c.trials), append(in.Sigmas, math.Sqrt(c.spread)/c.trials)
		}
	}
	if len(at) == 0 {
		return nil
	}
	chart, err := stats.NewEWMA(in)
	if err != nil {
		return err
	}
	for k, i := range at {
		months[i].average, months[i].averageError = chart.EWMA[k], chart.Exact[k].High
	}
	return nil
}
