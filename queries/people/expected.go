package people

import (
	"math"

	"scanledger/queries/stats"
)

// Spreads of the model's effects in log-odds: a level or technician two spreads out has seven times the
// odds. They hold levels of few cases near the average and leave those of many where they are. (The house's
// choice, as weak as it can be without letting a region that only one person works stand in for that person.)
const (
	conditionSpread  = 1
	technicianSpread = 1
)

// cell is a group of trials of one technician under the same conditions.
type cell struct {
	technician     int
	events, trials float64
	offset         float64
	at             []int   // levels of the model's factors, technician last
	expected, own  float64 // chance at the average technician, and at this one
}

// tally is one measure's cells, with the cell and counts of each case that has trials.
type tally struct {
	panel    Panel
	cells    []cell
	cases    []caseOf
	events   []int // by technician
	trials   []int
	variance []float64 // what not knowing the expected count exactly adds to that of the observed, by technician
}

type caseOf struct {
	technician, site, month, cell int
	events, trials                int
}

// newTally groups the panel's cases of one measure by technician and factors.
func newTally(p Panel, m measure, factors []int) *tally {
	t := &tally{panel: p, events: make([]int, p.Technicians), trials: make([]int, p.Technicians), cases: make([]caseOf, 0, len(p.Cases))}
	var offsets [][2]float64
	if m.opened {
		offsets = openedOffsets(p)
	}
	index := map[[Factors + 1]int]int{}
	for _, c := range p.Cases {
		events, trials := m.of(c)
		if trials == 0 {
			continue
		}
		key := [Factors + 1]int{c.Technician}
		for _, f := range factors {
			key[f+1] = c.At[f]
		}
		at, known := index[key]
		if !known {
			at = len(t.cells)
			index[key] = at
			t.cells = append(t.cells, newCell(c, factors))
			if m.opened {
				t.cells[at].offset = offsets[c.Technician][min(c.At[CalledElsewhere], 1)]
			}
		}
		t.cells[at].events += float64(events)
		t.cells[at].trials += float64(trials)
		t.events[c.Technician] += events
		t.trials[c.Technician] += trials
		t.cases = append(t.cases, caseOf{c.Technician, c.Site, c.Month, at, events, trials})
	}
	return t
}

func newCell(c Case, factors []int) cell {
	out := cell{technician: c.Technician}
	for _, f := range factors {
		out.at = append(out.at, c.At[f])
	}
	out.at = append(out.at, c.Technician)
	return out
}

// expect fits log-odds of conditions and technicians together, so that a technician's own cases speak of
// conditions only through what differs within them, and sets what each cell would give at the average
// technician.
func (t *tally) expect(factors []int) error {
	model := stats.FactorModel{}
	for _, f := range factors {
		model.Levels, model.Spread = append(model.Levels, t.panel.Levels[f]), append(model.Spread, conditionSpread)
	}
	model.Levels, model.Spread = append(model.Levels, t.panel.Technicians), append(model.Spread, technicianSpread)
	for _, c := range t.cells {
		model.Rows = append(model.Rows, stats.FactorRow{At: c.at, Events: c.events, Trials: c.trials, Offset: c.offset})
	}
	fit, err := stats.FitFactors(model)
	if err != nil {
		return err
	}
	t.predict(fit)
	return nil
}

// predict sets each cell's chances, and what the doubt about them adds to the variance of observed less expected.
func (t *tally) predict(fit stats.FactorFit) {
	people := fit.Effects[len(fit.Effects)-1]
	weight, middle := t.average(fit, people)
	first := make([]int, len(fit.Effects))
	columns := 1
	for f, effects := range fit.Effects {
		first[f] = columns
		columns += len(effects)
	}
	technicians := first[len(first)-1]
	slopes := make([][]float64, t.panel.Technicians) // of the expected count, in the columns of the fit
	for i := range slopes {
		slopes[i] = make([]float64, columns)
	}
	for i := range t.cells {
		c := &t.cells[i]
		eta := fit.Constant + c.offset
		for f, level := range c.at[:len(c.at)-1] {
			eta += fit.Effects[f][level]
		}
		c.expected, c.own = expit(eta+middle), expit(eta+people[c.technician])
		slope := c.trials * c.expected * (1 - c.expected)
		of := slopes[c.technician]
		of[0] += slope
		for f, level := range c.at[:len(c.at)-1] {
			of[first[f]+level] += slope
		}
	}
	t.variance = make([]float64, len(slopes))
	for i, of := range slopes {
		for k, w := range weight {
			of[technicians+k] = of[0] * w
		}
		for a, x := range of {
			for b, y := range of {
				t.variance[i] += x * y * fit.Cov.At(a, b)
			}
		}
		t.variance[i] -= 2 * of[0] * weight[i] // own cases move the average along with the observed count
	}
}

// average is where most technicians are: Huber's estimate of location (1964) from each one's effect, with as
// much doubt as there is of it. Whoever is far out pulls no more than someone at its edge, huberEdge standard
// errors away, so that a few do not drag everyone's expected count. Weights are those of the mean it ends in.
func (t *tally) average(fit stats.FactorFit, people []float64) (weight []float64, middle float64) {
	information := make([]float64, len(people))
	for _, c := range t.cells {
		eta := fit.Constant + c.offset
		for f, level := range c.at {
			eta += fit.Effects[f][level]
		}
		information[c.technician] += c.trials * expit(eta) * expit(-eta)
	}
	weight = make([]float64, len(people))
	for range huberSteps {
		var sum, total float64
		for i, u := range people {
			away := math.Abs(u-middle) * math.Sqrt(information[i])
			weight[i] = information[i] * min(1, huberEdge/max(away, huberEdge))
			sum, total = sum+weight[i]*u, total+weight[i]
		}
		middle = sum / total
		for i := range weight {
			weight[i] /= total
		}
	}
	return weight, middle
}

const (
	huberEdge  = 1
	huberSteps = 50
)

// sums returns, by technician, the expected count and its binomial variance at the average technician.
func (t *tally) sums() (expected, variance []float64) {
	expected, variance = make([]float64, t.panel.Technicians), make([]float64, t.panel.Technicians)
	for _, c := range t.cells {
		expected[c.technician] += c.trials * c.expected
		variance[c.technician] += c.trials * c.expected * (1 - c.expected)
	}
	return expected, variance
}

func expit(x float64) float64 { return 1 / (1 + math.Exp(-x)) }
