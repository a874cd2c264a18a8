package people

import (
	"math"
	"math/rand/v2" //nolint:depguard // seeded: the same months give the same draws
)

// summedFrom is from how many calls on a diary is simulated month by month instead of call by call. (House's choice: below, it
// takes no time.)
const summedFrom = 2000

// summed is a history of which sums by month are known, for diaries of many calls. What a month's odds make at a level is
// a smooth function of the level alone: it is worked out at levels a step apart and read off between them by the cubic through
// the four nearest.
type summed struct {
	months []summedMonth
	learnt int
}

type summedMonth struct {
	visits           []visit
	alike            []float64 // of each visit
	likeness         float64
	trials, expected float64
	events           float64 // in all
	shares           float64 // sum over visits of events by alike
	known            map[int]levelled
}

// levelStep is the distance of known levels in log-odds. The fourth derivative of what is read off is below 1/8 a call, so that
// the cubic is off by less than 9/384 of the step's fourth power times that: 5e-8 a call.
const levelStep = 1.0 / 16

func newSummed(d diary) *summed {
	out := &summed{months: make([]summedMonth, len(d.months)), learnt: d.learnt}
	for i, visits := range d.months {
		m := &out.months[i]
		m.visits, m.likeness, m.known = visits, d.likeness, map[int]levelled{}
		for _, v := range visits {
			alike := d.alike(v)
			m.alike = append(m.alike, alike)
			m.trials += float64(len(v.odds))
			m.events += float64(v.events)
			m.shares += float64(v.events) / alike
			for _, o := range v.odds {
				m.expected += o / (1 + o)
			}
		}
	}
	return out
}

// draw is diary.simulate. One draw of 64 bits serves a call: half of it says whether the call shares its site's draw, half is
// its own.
func (s *summed) draw(level float64, r *rand.Rand) *summed {
	const half = 1 << 32
	for i := s.learnt; i < len(s.months); i++ {
		m := &s.months[i]
		m.events, m.shares = 0, 0
		sharing := uint64(half * math.Sqrt(m.likeness))
		for k, v := range m.visits {
			shared, events := r.Uint64()%half, 0
			for _, o := range v.odds {
				bits := r.Uint64()
				u := bits % half
				if bits/half < sharing {
					u = shared
				}
				if float64(u)*(1+o*level) < half*o*level {
					events++
				}
			}
			m.events += float64(events)
			m.shares += float64(events) / m.alike[k]
		}
	}
	return s
}

func (s *summed) count(c *course, month int) {
	m := &s.months[month]
	c.trials, c.events, c.expected = m.trials, m.events, m.expected
}

func (s *summed) ratios(c *course, month int) [2]float64 {
	m := &s.months[month]
	at := m.at(c.level)
	c.own, c.spread = at.own, at.spread
	x := m.shares * math.Log(shift)
	return [2]float64{x + at.upper, at.lower - x}
}

// at reads off what the month's odds make at a level.
func (m *summedMonth) at(level float64) levelled {
	x := math.Log(level) / levelStep
	below := math.Floor(x)
	t := x - below
	weights := [4]float64{-t * (t - 1) * (t - 2) / 6, (t + 1) * (t - 1) * (t - 2) / 2, -(t + 1) * t * (t - 2) / 2, (t + 1) * t * (t - 1) / 6}
	var out levelled
	for k, w := range weights {
		node := m.node(int(below) - 1 + k)
		out.own += w * node.own
		out.spread += w * node.spread
		out.upper += w * node.upper
		out.lower += w * node.lower
	}
	return out
}

// node is what the odds make so many steps of level from 1. What visits say of a shift is divided by how many of their calls count as one.
func (m *summedMonth) node(steps int) levelled {
	if out, known := m.known[steps]; known {
		return out
	}
	var out levelled
	for k, v := range m.visits {
		at := v.at(math.Exp(float64(steps)*levelStep), m.likeness)
		out.own += at.own
		out.spread += at.spread
		out.upper += at.upper / m.alike[k]
		out.lower += at.lower / m.alike[k]
	}
	m.known[steps] = out
	return out
}
