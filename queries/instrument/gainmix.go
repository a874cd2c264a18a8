// Package instrument says how units behave and how technicians use their gain.
//
// In: counts of readings and calls by technician, unit and circumstances. Out: how far one technician's
// mix of gain steps is from the peers', and how many false alarms each unit raises against what is
// expected of it. It never runs SQL, adjusts without saying for what, or ranks anyone.
package instrument

import (
	"math"
	"math/rand/v2" //nolint:depguard // seeded: the same readings give the same draws
	"slices"

	"scanledger/queries/stats"
)

// MixReadings counts readings of one visit on one material at one gain step. Stratum is what is alike
// for all who are compared: material, model and range of the unit.
type MixReadings struct {
	Technician, Stratum, Visit string
	Gain                       int
	Relative                   float64 // position of the step in the unit's range, 0 lowest to 1 highest
	N                          int
}

// Mix is one technician's use of gain steps against that of the peers, on the technician's own mix of
// materials and models.
type Mix struct {
	Technician             string
	Readings, Visits       int     // compared
	Alone                  int     // readings where no peer has any, left out
	Mean, PeersMean        float64 // relative step
	Distance, Relative     float64 // Jensen-Shannon distance by gain step, and by fifth of the range; 0 to 1
	Moved                  float64 // share of readings that would have to be at another step
	ByChance               float64 // median Distance were visits dealt at random
	P, RelativeP           float64 // chance of such a distance were visits dealt at random
	Permutations           int
	RelativeMix, PeersFive [5]float64 // shares by fifth of the range
}

// Bounds of the permutations: as many as leave p below 0.001, fewer for very large books.
const (
	mostPermutations  = 1999
	leastPermutations = 499
	mixSeed           = 20
	mostDeals         = 60_000_000 // blocks dealt in all: some five seconds on one core of 2026
	ties              = 1e-12
)

// GainMix compares each technician with the peers. With p the technician's shares of readings by step
// and q the peers' shares within each stratum, weighted by the technician's readings there, the distance
// is the square root of the Jensen-Shannon divergence in bits (Lin 1991; Endres and Schindelin 2003), once
// by gain step and once by fifths of the unit's range, since units have different ranges. P is the share
// of seeded permutations with a distance as large, (1+hits)/(1+permutations) (Phipson and Smyth 2010):
// within each stratum the visits, not the readings, are dealt anew to the technicians, because readings
// of one visit are alike. It assumes visits independent. Technicians come out in order of their names;
// figures of one who shares no stratum with anyone are NaN.
func GainMix(readings []MixReadings) ([]Mix, error) {
	b := newMixBook(readings)
	seen, err := b.compare(b.owners)
	if err != nil {
		return nil, err
	}
	runs := min(mostPermutations, max(leastPermutations, mostDeals/max(1, len(b.blocks))))
	hits, relativeHits := make([]int, len(seen)), make([]int, len(seen))
	chance := make([][]float64, len(seen))
	r := rand.New(rand.NewPCG(mixSeed, uint64(len(b.blocks))))
	dealt := slices.Clone(b.owners)
	for range runs {
		b.deal(dealt, r)
		other, err := b.compare(dealt)
		if err != nil {
			return nil, err
		}
		for i, m := range other {
			if m.Distance >= seen[i].Distance-ties {
				hits[i]++
			}
			if m.Relative >= seen[i].Relative-ties {
				relativeHits[i]++
			}
			chance[i] = append(chance[i], m.Distance)
		}
	}
	for i := range seen {
		m := &seen[i]
		m.Permutations, m.P, m.RelativeP, m.ByChance = runs, math.NaN(), math.NaN(), math.NaN()
		if m.Readings > 0 {
			m.P, m.RelativeP = portion(1+hits[i], 1+runs), portion(1+relativeHits[i], 1+runs)
			slices.Sort(chance[i])
			m.ByChance = chance[i][len(chance[i])/2]
		}
	}
	return seen, nil
}

func portion(part, whole int) float64 { return float64(part) / float64(whole) }

// fifths of a unit's range.
const fifths = 5

func fifth(relative float64) int { return min(fifths-1, int(fifths*relative)) }

// mixBook holds the readings of one visit in one stratum as a block, which permutations deal out whole.
type mixBook struct {
	technicians []string
	gains       []int // in order
	strata      []mixStratum
	blocks      []mixBlock // of each stratum together
	owners      []int      // technician of each block
}

// mixStratum is a run of blocks, with the counts of all of them, which do not go by who is dealt which.
type mixStratum struct {
	from, to int
	all      mixCounts
}

type mixBlock struct {
	steps []mixStep
	n     int
}

type mixStep struct {
	gain  int // position among the gains
	fifth int
	moved float64 // relative step times n
	n     int
}

func newMixBook(readings []MixReadings) mixBook {
	ordered := slices.SortedFunc(slices.Values(readings), compareMixReadings)
	var b mixBook
	for _, r := range ordered {
		b.technicians, b.gains = append(b.technicians, r.Technician), append(b.gains, r.Gain)
	}
	slices.Sort(b.technicians)
	b.technicians = slices.Compact(b.technicians)
	slices.Sort(b.gains)
	b.gains = slices.Compact(b.gains)
	for i, r := range ordered {
		before := MixReadings{}
		if i > 0 {
			before = ordered[i-1]
		}
		if i == 0 || r.Stratum != before.Stratum {
			b.strata = append(b.strata, mixStratum{from: len(b.blocks)})
		}
		if i == 0 || r.Stratum != before.Stratum || r.Technician != before.Technician || r.Visit != before.Visit {
			b.blocks = append(b.blocks, mixBlock{})
			owner, _ := slices.BinarySearch(b.technicians, r.Technician)
			b.owners = append(b.owners, owner)
			b.strata[len(b.strata)-1].to = len(b.blocks)
		}
		last := &b.blocks[len(b.blocks)-1]
		gain, _ := slices.BinarySearch(b.gains, r.Gain)
		last.steps = append(last.steps, mixStep{gain, fifth(r.Relative), float64(r.N) * r.Relative, r.N})
		last.n += r.N
	}
	for i := range b.strata {
		s := &b.strata[i]
		s.all.gains = make([]int, len(b.gains))
		for _, block := range b.blocks[s.from:s.to] {
			s.all.add(block)
		}
	}
	return b
}

func compareMixReadings(a, b MixReadings) int {
	for _, pair := range [][2]string{{a.Stratum, b.Stratum}, {a.Technician, b.Technician}, {a.Visit, b.Visit}} {
		switch {
		case pair[0] < pair[1]:
			return -1
		case pair[0] > pair[1]:
			return 1
		}
	}
	return a.Gain - b.Gain
}

// deal shuffles the owners within each stratum.
func (b *mixBook) deal(owners []int, r *rand.Rand) {
	for _, s := range b.strata {
		part := owners[s.from:s.to]
		r.Shuffle(len(part), func(i, j int) { part[i], part[j] = part[j], part[i] })
	}
}

// mixCounts are readings by gain and by fifth, with the sum of relative steps.
type mixCounts struct {
	n, visits int
	gains     []int
	fifths    [fifths]int
	relative  float64
}

func (c *mixCounts) add(b mixBlock) {
	c.n += b.n
	c.visits++
	relative := c.relative // in a register: a sum in memory would wait for itself
	for _, s := range b.steps {
		c.gains[s.gain] += s.n
		c.fifths[s.fifth] += s.n
		relative += s.moved
	}
	c.relative = relative
}

// mixSum gathers, for one technician, own shares and the peers' over strata, both weighted by own readings.
type mixSum struct {
	own, peers             []float64 // by gain, then by fifth
	ownMean, peersMean     float64
	readings, visits, left int
}

// compare measures every technician against the peers when blocks belong to the owners.
func (b *mixBook) compare(owners []int) ([]Mix, error) {
	sums := make([]mixSum, len(b.technicians))
	for i := range sums {
		sums[i].own, sums[i].peers = make([]float64, len(b.gains)+fifths), make([]float64, len(b.gains)+fifths)
	}
	counts := make([]mixCounts, len(b.technicians))
	for i := range counts {
		counts[i].gains = make([]int, len(b.gains))
	}
	for _, s := range b.strata {
		for i := range counts {
			counts[i].reset()
		}
		for i := s.from; i < s.to; i++ {
			counts[owners[i]].add(b.blocks[i])
		}
		for i := range sums {
			sums[i].add(&counts[i], &s.all)
		}
	}
	out := make([]Mix, len(sums))
	for i, s := range sums {
		var err error
		if out[i], err = s.mix(b.technicians[i], len(b.gains)); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func (c *mixCounts) reset() {
	clear(c.gains)
	*c = mixCounts{gains: c.gains}
}

// add takes in one stratum: own readings as they are, the peers' shares as if they had read as often.
func (s *mixSum) add(own, all *mixCounts) {
	peers := all.n - own.n
	if own.n == 0 {
		return
	}
	if peers == 0 {
		s.left += own.n
		return
	}
	scale := float64(own.n) / float64(peers)
	s.readings += own.n
	s.visits += own.visits
	for i, n := range own.gains {
		s.own[i] += float64(n)
		s.peers[i] += scale * float64(all.gains[i]-n)
	}
	at := len(own.gains)
	for i, n := range own.fifths {
		s.own[at+i] += float64(n)
		s.peers[at+i] += scale * float64(all.fifths[i]-n)
	}
	s.ownMean += own.relative
	s.peersMean += scale * (all.relative - own.relative)
}

func (s mixSum) mix(technician string, gains int) (Mix, error) {
	m := Mix{Technician: technician, Readings: s.readings, Visits: s.visits, Alone: s.left}
	n := float64(s.readings)
	for i := range s.own {
		s.own[i] /= n // 0/0 where there is nothing to compare
		s.peers[i] /= n
	}
	m.Mean, m.PeersMean = s.ownMean/n, s.peersMean/n
	byGain, err := stats.DistanceOfMixes(s.own[:gains], s.peers[:gains])
	if err != nil {
		return m, err
	}
	byFifth, err := stats.DistanceOfMixes(s.own[gains:], s.peers[gains:])
	if err != nil {
		return m, err
	}
	m.Distance, m.Relative = stats.JensenShannonDistance(byGain.JensenShannon), stats.JensenShannonDistance(byFifth.JensenShannon)
	m.Moved = byGain.TotalVariation
	copy(m.RelativeMix[:], s.own[gains:])
	copy(m.PeersFive[:], s.peers[gains:])
	return m, nil
}
