package instrument

// prior is how many events each level of a factor is drawn towards the others with: enough that a level
// without events has a finite factor, too few to matter where there is anything to learn from.
const prior = 1

// Scalings of the multiplicative model: far more than it takes to settle.
const (
	mostScalings = 300
	settled      = 1e-6
)

// factorCount is how many factors a cell has a level of.
const factorCount = 3

// cell is one combination of circumstances: the number of its level in each factor.
type cell [factorCount]int

// tally is what happened in a cell: points tested, and false alarms among them.
type tally struct{ points, events int }

// factorModel says how many events a cell gives: rate times one factor for each of its levels.
type factorModel struct {
	rate   float64
	times  [factorCount][]float64
	events [factorCount][]int // from which a level was learned
	points [factorCount][]int
}

// fitFactors fits events = points x rate x product of factors by iterative scaling (Deming and Stephan
// 1940, Ann Math Stat 11:427-444): the maximum likelihood of a Poisson model with main effects, each
// factor drawn towards 1 by prior events. tallies are those of the cells; levels says how many each
// factor has.
func fitFactors(cells []cell, tallies []tally, levels [factorCount]int) factorModel {
	m := factorModel{rate: 1}
	for f, n := range levels {
		m.times[f], m.events[f], m.points[f] = make([]float64, n), make([]int, n), make([]int, n)
		for l := range n {
			m.times[f][l] = 1
		}
	}
	for i, c := range cells {
		for f, l := range c {
			m.events[f][l] += tallies[i].events
			m.points[f][l] += tallies[i].points
		}
	}
	for range mostScalings {
		change := m.scaleRate(cells, tallies)
		for f := range factorCount {
			change = max(change, m.scale(cells, tallies, f))
		}
		if change < settled {
			break
		}
	}
	return m
}

// scaleRate makes the expected events of all cells sum to those seen, and says how far that moved.
func (m *factorModel) scaleRate(cells []cell, tallies []tally) float64 {
	expected, events := 0.0, 0
	for i, c := range cells {
		expected, events = expected+m.expected(c, tallies[i].points), events+tallies[i].events
	}
	times := (float64(events) + prior) / (expected + prior)
	m.rate *= times
	return far(times)
}

// scale does the same for the levels of one factor.
func (m *factorModel) scale(cells []cell, tallies []tally, f int) (change float64) {
	bare := make([]float64, len(m.times[f])) // expected events of a level, but for its own factor
	for i, c := range cells {
		bare[c[f]] += m.expected(c, tallies[i].points) / m.times[f][c[f]]
	}
	for l := range bare {
		times := (float64(m.events[f][l]) + prior) / (bare[l] + prior)
		change = max(change, far(times/m.times[f][l]))
		m.times[f][l] = times
	}
	return change
}

func far(times float64) float64 { return max(times-1, 1/times-1) }

// expected is how many events the points give in the cell; a level never seen counts as the mean one.
func (m *factorModel) expected(c cell, points int) float64 {
	out := float64(points) * m.rate
	for f, l := range c {
		out *= m.times[f][l]
	}
	return out
}

// doubt is the variance of the sum of expected events of the cells, were the events of the fit Poisson:
// by the delta method, taking the factors as independent, which leans to too much.
func (m *factorModel) doubt(cells []cell, tallies []tally) float64 {
	sum := 0.0
	for f := range factorCount {
		part := make([]float64, len(m.times[f]))
		for i, c := range cells {
			part[c[f]] += m.expected(c, tallies[i].points)
		}
		for l, e := range part {
			sum += e * e / (float64(m.events[f][l]) + prior)
		}
	}
	return sum
}
