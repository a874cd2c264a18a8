package queries

import (
	"fmt"
	"math"
	"strings"

	"scanledger/queries/stats"
)

// CurveRow is how the chance of having shown movement runs with gain at active points of one cut.
type CurveRow struct {
	ladderCut
	Points     int64  `json:"points"`
	NEffective Figure `json:"n_effective"`
	GainSteps  int    `json:"gain_steps"`
	Intercept  Figure `json:"intercept"`
	Slope      Figure `json:"slope"`
	A50        Figure `json:"a50"`
	A90        Figure `json:"a90"`
	A9095      Figure `json:"a90_95"`
	Floor      Figure `json:"floor"`
	Ceiling    Figure `json:"ceiling"`
	WhyNot     string `json:"why_not"`
}

// curveSteps is the fewest gain steps for a curve: it has four free numbers, and one step more
// leaves something to see how well it fits.
const curveSteps = 5

// leastRise is the least difference of shares, from the lowest step to the highest, that is called a rise; shares come
// from an iteration that ends before it is exact to the last digit.
const leastRise = 1e-3

func (d *desk) gainCurve() error {
	cells, q, err := run(d, "gain_curve", d.clustered(d.clusters.Circumstances), func(scan func(...any) error, c *ladderCell) error {
		return scan(&c.By, &c.Material, &c.DensityClass, &c.ThicknessBand, &c.Model, &c.truth, &c.site, &c.weighedAs, &c.call,
			&c.unshown, &c.shown, &c.points)
	})
	if err != nil {
		return err
	}
	if d.ladders, err = d.climbAll(cells); err != nil {
		return fmt.Errorf("analysis gain_curve: %w", err)
	}
	rows := []CurveRow{}
	for _, l := range d.ladders {
		if l.active.points == 0 {
			continue
		}
		row := CurveRow{ladderCut: l.ladderCut, Points: l.active.points, GainSteps: len(l.active.gains)}
		if err := row.fit(l.active, d.opt.Floor); err != nil {
			return fmt.Errorf("analysis gain_curve, by %s: %w", l.By, err)
		}
		rows = append(rows, row)
	}
	d.book.Curves = rows
	d.conclude(q, rows, fmt.Sprintf("A curve needs at least %d gain steps, and no fewer points in effect than the floor.", curveSteps))
	return nil
}

func (r *CurveRow) fit(l ladder, floor int) error {
	r.NEffective, r.Intercept, r.Slope, r.A50, r.A90, r.A9095, r.Floor, r.Ceiling = 0, Unknown, Unknown, Unknown, Unknown, Unknown, Unknown, Unknown
	in := stats.PODInput{Conf: Confidence, Floor: true, Ceiling: true}
	for i, rate := range l.rates {
		n := max(1, math.Round(rate.effective/float64(len(l.rates))))
		in.Size, in.Inspections = append(in.Size, float64(l.gains[i])), append(in.Inspections, int(n))
		in.Hits = append(in.Hits, int(math.Round(rate.Value*n)))
		r.NEffective += Figure(n)
	}
	switch {
	case float64(r.NEffective) < float64(floor):
		r.WhyNot = "fewer points, in effect, than the floor"
		return nil
	case r.GainSteps < curveSteps:
		r.WhyNot = fmt.Sprintf("points tried at %d gain steps; a curve with floor and ceiling needs %d", r.GainSteps, curveSteps)
		return nil
	case l.rates[len(l.rates)-1].Value-l.rates[0].Value < leastRise: // the counts given to the fit are rounded, and may seem to rise
		r.WhyNot = "detection does not rise with gain: no gain can be said"
		return nil
	}
	pod, err := stats.ProbabilityOfDetection(in)
	if err != nil {
		return err
	}
	r.WhyNot = strings.ReplaceAll(strings.Join(pod.Warnings, "; "), "size", "gain")
	if !(pod.Slope > 0) {
		return nil // a falling line has neither floor nor ceiling
	}
	r.Intercept, r.Slope, r.Floor, r.Ceiling = Figure(pod.Intercept), Figure(pod.Slope), Figure(pod.Floor), Figure(pod.Ceiling)
	lowest, highest := in.Size[0], in.Size[len(in.Size)-1]
	r.A50, r.A90, r.A9095 = within(pod.A50, lowest, highest), within(pod.A90, lowest, highest), within(pod.A9095LikelihoodRatio, lowest, highest)
	if r.WhyNot == "" && !r.A9095.Known() {
		r.WhyNot = "the gains tried do not bound the gain of 90%"
	}
	return nil
}

// within is x where that is among the gains tried: a curve says nothing beyond them.
func within(x, lowest, highest float64) Figure {
	if x < lowest || x > highest {
		return Unknown
	}
	return Figure(x)
}
