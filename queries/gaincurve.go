package queries

import (
	"fmt"
	"math"
	"strings"

	"scanledger/queries/stats"
)

// CurveRow is how the chance of a hit runs with gain in one cut.
type CurveRow struct {
	By           string  `json:"by"`
	Material     *string `json:"material"`
	DensityClass *string `json:"density_class"`
	Model        *string `json:"model"`
	Readings     int64   `json:"readings"`
	NEffective   Figure  `json:"n_effective"`
	GainSteps    int     `json:"gain_steps"`
	Intercept    Figure  `json:"intercept"`
	Slope        Figure  `json:"slope"`
	A50          Figure  `json:"a50"`
	A90          Figure  `json:"a90"`
	A9095        Figure  `json:"a90_95"`
	Floor        Figure  `json:"floor"`
	Ceiling      Figure  `json:"ceiling"`
	WhyNot       string  `json:"why_not"`
}

// curveSteps is the fewest gain steps for a curve: it has four free numbers, and one step more
// leaves something to see how well it fits.
const curveSteps = 5

type curveCell struct {
	CurveRow
	gain                  int
	site, weighedAs, call string
	hits                  int64
}

func (d *desk) gainCurve() error {
	cells, q, err := run(d, "gain_curve", d.months(), func(scan func(...any) error, c *curveCell) error {
		return scan(&c.By, &c.Material, &c.DensityClass, &c.Model, &c.gain, &c.site, &c.weighedAs, &c.call, &c.Readings, &c.hits)
	})
	if err != nil {
		return err
	}
	weight := weights(d.book.Weights)
	rows := []CurveRow{}
	for _, cut := range runsOf(cells, func(a, b curveCell) bool { return sameCurve(a.CurveRow, b.CurveRow) }) {
		row, err := curve(cut, weight, d.opt.Floor)
		if err != nil {
			return fmt.Errorf("analysis gain_curve, by %s: %w", cut[0].By, err)
		}
		rows = append(rows, row)
	}
	d.book.Curves = rows
	d.conclude(q, rows, fmt.Sprintf("A curve needs at least %d gain steps, and no fewer readings than the floor.", curveSteps))
	return nil
}

func sameCurve(a, b CurveRow) bool {
	return a.By == b.By && equal(a.Material, b.Material) && equal(a.DensityClass, b.DensityClass) && equal(a.Model, b.Model)
}

// curve fits hits and readings as if independent: at each gain, the weighted rate out of as many
// readings as would tell as much.
func curve(cells []curveCell, weight map[class]float64, floor int) (CurveRow, error) {
	row := cells[0].CurveRow
	row.Readings, row.NEffective = 0, 0
	in := stats.PODInput{Conf: Confidence, Floor: true, Ceiling: true}
	for _, step := range runsOf(cells, func(a, b curveCell) bool { return a.gain == b.gain }) {
		var w weighted
		for _, c := range step {
			w.add(c.site, c.Readings, c.hits, weight[class{c.weighedAs, c.call}])
		}
		rate, err := w.rate(floor)
		if err != nil {
			return row, err
		}
		n := max(1, math.Round(rate.effective))
		in.Size, in.Inspections = append(in.Size, float64(step[0].gain)), append(in.Inspections, int(n))
		in.Hits = append(in.Hits, int(math.Round(rate.Value*n)))
		row.Readings += w.n
		row.NEffective += Figure(n)
	}
	row.GainSteps = len(in.Size)
	return row, row.fit(in, floor)
}

func (r *CurveRow) fit(in stats.PODInput, floor int) error {
	r.Intercept, r.Slope, r.A50, r.A90, r.A9095, r.Floor, r.Ceiling = Unknown, Unknown, Unknown, Unknown, Unknown, Unknown, Unknown
	switch {
	case float64(r.NEffective) < float64(floor):
		r.WhyNot = "fewer readings, in effect, than the floor"
		return nil
	case r.GainSteps < curveSteps:
		r.WhyNot = fmt.Sprintf("readings at %d gain steps; a curve with floor and ceiling needs %d", r.GainSteps, curveSteps)
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
	r.A50, r.A90, r.A9095 = Figure(pod.A50), Figure(pod.A90), Figure(pod.A9095LikelihoodRatio)
	return nil
}
