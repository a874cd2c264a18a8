package patterns

import (
	"math"

	"scanledger/queries/stats"
)

// score is how a set of calls stands against a model.
type score struct {
	n, wrong int
	expected float64 // wrong calls by the model
	variance float64 // of wrong less expected, the model's own doubt taken off, sites and spread put on
	p        float64 // chance of as many or more, one-sided
}

func (s score) excess() float64 { return float64(s.wrong) - s.expected }

// tally is the scratch space of one worker.
type tally struct {
	n       []int // per cell
	touched []int
	load    []float64 // per coefficient: weight of the members that have it
	trials  []stats.WeightedTrials
}

// count sorts a set's members into the cells of m. It returns the wrong ones and, over sites, the sum of
// the squares of how many members each has.
func (t *tally) count(c *Calls, m *model, members set) (wrong, squares int) {
	if len(t.n) < len(m.cells) {
		t.n = make([]int, len(m.cells))
	}
	for _, cell := range t.touched {
		t.n[cell] = 0
	}
	t.touched = t.touched[:0]
	site, run := -1, 0
	members.each(func(i int) {
		cell := m.cellOf[i]
		if t.n[cell] == 0 {
			t.touched = append(t.touched, cell)
		}
		t.n[cell]++
		if c.Wrong[i] {
			wrong++
		}
		if c.Site[i] != site {
			squares += run * run
			site, run = c.Site[i], 0
		}
		run++
	})
	return wrong, squares + run*run
}

// score is the efficient score test (Rao 1948) of adding the set's indicator to the model: observed less
// expected, with the variance left once the model's coefficients have been fitted. Calls of one site go
// together as the model measured, and spread is the variance by which the people or units of the pattern
// differ anyway, on the log scale. The tail is that of the saddlepoint.
func (t *tally) score(c *Calls, m *model, members set, among spread) score {
	wrong, squares := t.count(c, m, members)
	s := score{wrong: wrong}
	dims := m.cov.SymmetricDim()
	if len(t.load) < dims {
		t.load = make([]float64, dims)
	}
	load := t.load[:dims]
	clear(load)
	var weight float64
	for _, id := range t.touched {
		cell, n := &m.cells[id], float64(t.n[id])
		s.n += t.n[id]
		s.expected += n * cell.p
		w := n * cell.weight()
		weight += w
		for _, j := range cell.at {
			load[j] += w
		}
	}
	beta := solve(m, load)
	independent := weight - dot(load, beta)
	if independent < 1e-9*weight {
		s.p = 1 // the model says already who is in the pattern
		return s
	}
	clump := 1 + m.alike*(float64(squares)/float64(s.n)-1)
	s.variance = clump*independent + among.variance*s.expected*s.expected
	s.p = among.widen(t.tail(m, s, beta, independent, independent/weight), s.expected, s.variance)
	return s
}

// tail is the one-sided p: the chance of as many wrong calls or more, hence half a call less than
// observed. Below one and a half standard errors the normal law does; beyond, the saddlepoint of the members' own
// trials and a normal part for the rest of the score. A wrong member adds share to the score.
func (t *tally) tail(m *model, s score, beta []float64, independent, share float64) float64 {
	u := s.excess() - share/2
	z := u / math.Sqrt(s.variance)
	if z < 1.5 {
		return stats.NormalUpper(z)
	}
	sum := stats.WeightedSum{Trials: t.trials[:0], Rest: independent, Clump: s.variance / independent}
	for _, id := range t.touched {
		cell, n := &m.cells[id], float64(t.n[id])
		a := 1.0
		for _, j := range cell.at {
			a -= beta[j]
		}
		sum.Trials = append(sum.Trials, stats.WeightedTrials{N: n, P: cell.p, Weight: a})
		sum.Rest -= n * cell.weight() * a * a
	}
	t.trials = sum.Trials
	sum.Rest = max(sum.Rest, 1e-9*independent)
	p, err := sum.Upper(u)
	if err != nil {
		panic(err) // counts, chances and weights are the model's own
	}
	return p
}

func solve(m *model, load []float64) []float64 {
	out := make([]float64, len(load))
	raw := m.cov.RawSymmetric()
	for i := range out {
		for j, l := range load {
			if l == 0 {
				continue
			}
			if i <= j {
				out[i] += raw.Data[i*raw.Stride+j] * l
			} else {
				out[i] += raw.Data[j*raw.Stride+i] * l
			}
		}
	}
	return out
}

func dot(a, b []float64) float64 {
	var sum float64
	for i := range a {
		sum += a[i] * b[i]
	}
	return sum
}

// within tests a child against the rest of its parent: the model's chances are shifted on the log-odds
// until they give the parent's wrong calls, and the child must have more of them than its share.
func (t *tally) within(c *Calls, m *model, parent, child set) score {
	wrong, _ := t.count(c, m, parent)
	cells := make([]cell, len(t.touched))
	total := 0
	for k, id := range t.touched {
		cells[k] = cell{n: float64(t.n[id]), p: m.cells[id].p}
		total += t.n[id]
	}
	if wrong == 0 || wrong == total {
		return score{n: total, wrong: wrong, p: 1}
	}
	shift := balance(cells, float64(wrong))
	moved := make([]cell, len(m.cells))
	var information float64
	for k, id := range t.touched {
		moved[id] = cell{at: []int{0}, p: logistic(logit(cells[k].p) + shift)}
		information += cells[k].n * moved[id].weight()
	}
	return t.score(c, m.shifted(moved, information), child, spread{})
}

func logit(p float64) float64 { return math.Log(p / (1 - p)) }

// balance is the shift of the log-odds of the cells' chances that makes them add up to wrong.
func balance(cells []cell, wrong float64) float64 {
	low, high := -40.0, 40.0
	for range 200 {
		middle := (low + high) / 2
		var sum float64
		for _, c := range cells {
			sum += c.n * logistic(logit(c.p)+middle)
		}
		if sum < wrong {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}
