package people

import (
	"math"
	"math/rand/v2" //nolint:depguard // seeded: the same months give the same draws

	"scanledger/queries/stats"
)

// visit is the verified active calls at one site in one month: the odds of a false alarm of each, at the
// average technician.
type visit struct {
	odds   []float64
	events int
}

// diary is a technician's visits by month.
type diary struct {
	likeness float64
	learnt   int // month from which on it is watched; as many as there are where too little is ever expected
	months   [][]visit
}

// diaries parts each technician's cases by month and site.
func (t *tally) diaries(months [][]Month) []diary {
	out, alike := make([]diary, len(months)), t.likeness()
	for i := range out {
		out[i] = diary{likeness: alike, months: make([][]visit, len(months[i]))}
	}
	t.eachSite(func(technician int, cases []caseOf) {
		of, last := out[technician].months, -1
		for _, c := range cases {
			at := c.month - months[technician][0].Month
			if at != last {
				of[at], last = append(of[at], visit{}), at
			}
			v := &of[at][len(of[at])-1]
			v.events += c.events
			p := t.cells[c.cell].expected
			for range c.trials {
				v.odds = append(v.odds, p/(1-p))
			}
		}
	})
	for i := range out {
		out[i].learnt = out[i].learn()
	}
	return out
}

func (d diary) learn() int {
	expected := 0.0
	for i, visits := range d.months {
		if i >= learnMonths && expected >= learnEvents {
			return i
		}
		for _, v := range visits {
			for _, o := range v.odds {
				expected += o / (1 + o)
			}
		}
	}
	return len(d.months)
}

// events are those that happened, by month and visit.
func (d diary) events() [][]int {
	out := make([][]int, len(d.months))
	for i, visits := range d.months {
		for _, v := range visits {
			out[i] = append(out[i], v.events)
		}
	}
	return out
}

// simulate draws events of the months watched at the given odds over the average technician's; those of the
// months before are as they were. Calls at one site share one draw with such a chance that their correlation
// is the likeness (Lunn and Davies 1998).
func (d diary) simulate(level float64, r *rand.Rand) [][]int {
	out, sharing := d.events(), math.Sqrt(d.likeness)
	for i, visits := range d.months[d.learnt:] {
		i += d.learnt
		clear(out[i])
		for k, v := range visits {
			shared := r.Float64()
			for _, o := range v.odds {
				u := r.Float64()
				if sharing > 0 && r.Float64() < sharing {
					u = shared
				}
				if u*(1+o*level) < o*level {
					out[i][k]++
				}
			}
		}
	}
	return out
}

// drawer draws histories at a given level.
func (d diary) drawer(r *rand.Rand) func(level float64) history {
	calls := 0
	for _, visits := range d.months[d.learnt:] {
		for _, v := range visits {
			calls += len(v.odds)
		}
	}
	if calls < summedFrom {
		return func(level float64) history { return told{d, d.simulate(level, r)} }
	}
	months := newSummed(d)
	return func(level float64) history { return months.draw(level, r) }
}

// limits of the sums, and of the average in standard errors.
type limits struct{ up, down, average float64 }

var unlimited = limits{math.Inf(1), math.Inf(1), math.Inf(1)}

// limits are those at which a technician who does not change signals no more often than the run lengths say,
// from so many simulated runs of the diary. What was learnt leaves doubt about the level: each run stays at one
// drawn from a normal distribution of log-odds around it.
func (d diary) limits(level float64, r *rand.Rand, runs int) (limits, error) {
	if d.learnt == len(d.months) {
		return unlimited, nil
	}
	up, down, average := make([]float64, runs), make([]float64, runs), make([]float64, runs)
	doubt, draw := d.doubt(level), d.drawer(r)
	for i := range runs {
		months, err := d.follow(draw(level*math.Exp(doubt*r.NormFloat64())), unlimited)
		if err != nil {
			return unlimited, err
		}
		for _, c := range months {
			up[i], down[i] = max(up[i], c.up), max(down[i], c.down)
			if c.averageError > 0 {
				average[i] = max(average[i], math.Abs(c.average)/c.averageError)
			}
		}
	}
	watched := float64(len(d.months) - d.learnt)
	var out limits
	var err error
	if out.up, err = limitOf(up, watched/(2*runLength)); err != nil {
		return out, err
	}
	if out.down, err = limitOf(down, watched/(2*runLength)); err != nil {
		return out, err
	}
	out.average, err = limitOf(average, watched/averageRun)
	return out, err
}

// doubt is the standard error of the log-odds of the level learnt.
func (d diary) doubt(level float64) float64 {
	information := 1.0 / (technicianSpread * technicianSpread)
	for _, visits := range d.months[:d.learnt] {
		for _, v := range visits {
			for _, o := range v.odds {
				information += o * level / (1 + o*level) / (1 + o*level)
			}
		}
	}
	return 1 / math.Sqrt(information)
}

// limitOf is what the largest of a run exceeds with the given chance; nothing below a single event's worth.
func limitOf(largest []float64, chance float64) (float64, error) {
	tail, err := stats.FitExponentialTail(largest, tailShare)
	if err != nil {
		return 0, err
	}
	return max(math.Log(shift), tail.Limit(min(chance, tail.Beyond))), nil
}

// watch fills a technician's months.
func (d diary) watch(months []Month, seed uint64, runs int) error {
	free, err := d.follow(told{d, d.events()}, unlimited)
	if err != nil {
		return err
	}
	within, err := d.limits(levelOf(free[:d.learnt]), rand.New(rand.NewPCG(seed, 0)), runs) //nolint:gosec // the same draws every time
	if err != nil {
		return err
	}
	followed, err := d.follow(told{d, d.events()}, within)
	if err != nil {
		return err
	}
	for i, c := range followed {
		months[i].fill(c, within, months[0].Month)
	}
	return nil
}

func (m *Month) fill(c course, within limits, first int) {
	m.Trials, m.Observed, m.Conditions = int(c.trials), int(c.events), c.expected
	if !c.watched {
		return
	}
	m.Watched, m.Level, m.Expected = true, c.level, c.own
	m.Up, m.Down, m.LimitUp, m.LimitDown = c.up, c.down, within.up, within.down
	if c.averageError > 0 {
		m.Average, m.Edge = c.average, c.averageError*within.average
		m.Outside = math.Abs(m.Average) > m.Edge
	}
	if c.signal != "" {
		m.Signal, m.Since = c.signal, first+c.since
	}
}
