package instrument

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"scanledger/queries/stats"
)

// factorCount is how many factors a cell has a level of.
const factorCount = 4

// spreads of the levels' effects in log-odds: they hold levels with few false alarms near the average and
// leave those with many where they are. A technician's half-year comes on top of the technician and departs
// from it only with reason. (The house's choice.)
var spreads = []float64{1, 1, 0.5, 1}

// cell is one combination of circumstances: the number of its level in each factor.
type cell [factorCount]int

// tally is what happened in a cell: points tested, and false alarms among them.
type tally struct{ points, events int }

// factorModel says how many false alarms a cell gives.
type factorModel struct {
	fit    stats.FactorFit
	first  [factorCount]int // column of each factor's first level in fit.Cov
	points []int            // of each technician in the fit
}

// fitFactors fits the chance of a false alarm in the cells; levels says how many each factor has. Without
// any points the model knows no technician and is not to be asked. The search begins at the model of much the same tallies, where
// one is given.
func fitFactors(cells []cell, tallies []tally, levels [factorCount]int, from *factorModel) (factorModel, error) {
	m := factorModel{points: make([]int, levels[technicianFactor])}
	in := stats.FactorModel{Levels: levels[:], Spread: spreads, Rows: make([]stats.FactorRow, 0, len(cells))}
	for i, t := range tallies {
		if t.points > 0 {
			in.Rows = append(in.Rows, stats.FactorRow{At: cells[i][:], Events: float64(t.events), Trials: float64(t.points)})
			m.points[cells[i][technicianFactor]] += t.points
		}
	}
	if len(in.Rows) == 0 {
		return m, nil
	}
	if from != nil {
		in.From = &from.fit
	}
	column := 1 // after the constant
	for f, n := range levels {
		m.first[f] = column
		column += n
	}
	var err error
	m.fit, err = stats.FitFactors(in)
	return m, err
}

// chance is that of a false alarm at a point of the cell; a level never seen counts as the average one.
func (m *factorModel) chance(c cell) float64 {
	logOdds := m.fit.Constant
	for f, l := range c {
		logOdds += m.fit.Effects[f][l]
	}
	return 1 / (1 + math.Exp(-logOdds))
}

// expected is how many false alarms so many points of the cell give.
func (m *factorModel) expected(c cell, points int) float64 { return float64(points) * m.chance(c) }

// doubt is the variance of the sum of expected false alarms of the cells, by the delta method, were points
// independent.
func (m *factorModel) doubt(cells []cell, tallies []tally) float64 {
	columns, _ := m.fit.Cov.Dims()
	slope := mat.NewVecDense(columns, nil)
	add := func(column int, by float64) { slope.SetVec(column, slope.AtVec(column)+by) }
	for i, t := range tallies {
		if t.points == 0 {
			continue
		}
		p := m.chance(cells[i])
		by := float64(t.points) * p * (1 - p)
		add(0, by)
		for f, l := range cells[i] {
			add(m.first[f]+l, by)
		}
	}
	return mat.Inner(slope, m.fit.Cov, slope)
}
