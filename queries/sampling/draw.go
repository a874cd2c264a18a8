package sampling

import (
	"cmp"
	"fmt"
	"math/rand/v2" //nolint:depguard // seeded: the same frame gives the same draws
	"slices"
	"strings"

	"scanledger/ingest/store"
	"scanledger/queries/stats"
)

// The parts of a sample.
const (
	Random = "random"
	Risk   = "risk"
)

// Draw puts the frame in order and fills in each row's chance of being drawn, the part that drew it, and
// whether it is to be opened.
//
// The part weighted to risk comes first: systematic sampling with chances in proportion to the score
// (Madow 1949), along the frame ordered by technician, inspection and point, so that it spreads over
// all of them. The random part is a simple random sample from what that leaves of each technician,
// in proportion to it, with one point each at least; with fewer points than technicians it is drawn from
// all together. So no point is drawn twice, and the size is fixed. The chance of a row is exact, over both
// parts and every start of the first.
func Draw(frame []store.FrameRow, s Sizes, seed uint64, month string) error {
	slices.SortFunc(frame, func(a, b store.FrameRow) int {
		return cmp.Or(strings.Compare(a.TechnicianID, b.TechnicianID), strings.Compare(a.InspectionID, b.InspectionID), strings.Compare(a.PointID, b.PointID))
	})
	sizes := make([]int, len(frame))
	for i, r := range frame {
		sizes[i] = int(r.Score)
	}
	byRisk, err := stats.ChancesBySize(sizes, s.Risk)
	if err != nil {
		return fmt.Errorf("draw sample: %w", err)
	}
	line := layOut(byRisk, strata(frame, s.Random))
	line.fillChances(frame, s.Random)
	stream := rand.New(rand.NewPCG(seed, monthNumber(month)))
	start := stream.Uint64N(stats.WholeChance)
	for i := range frame {
		frame[i].Part = ""
	}
	for _, i := range stats.SystematicHits(byRisk, start) {
		frame[i].Part = Risk
	}
	drawEvenly(frame, line, s.Random, stream)
	chooseOpenings(frame, s.Openings, stream)
	return nil
}

// monthNumber keeps the months of one seed apart.
func monthNumber(month string) (n uint64) {
	for _, c := range []byte(month) {
		n = n<<8 | uint64(c)
	}
	return n
}

// stratum is a run of rows of the frame.
type stratum struct{ first, end int }

// strata are the technicians, or the whole frame where there are fewer draws than technicians.
func strata(frame []store.FrameRow, draws int) []stratum {
	var out []stratum
	for i := range frame {
		if i == 0 || frame[i].TechnicianID != frame[i-1].TechnicianID {
			out = append(out, stratum{first: i})
		}
		out[len(out)-1].end = i + 1
	}
	if len(out) > draws {
		return []stratum{{0, len(frame)}}
	}
	return out
}

// line is the frame with the chances of the part weighted to risk laid end to end.
type line struct {
	at      []uint64 // where each row's chance begins; one more for the end
	strata  []stratum
	corners []uint64 // starts between which the number of hits in every stratum stays the same; from 0 to a whole chance
}

func layOut(chances []uint64, strata []stratum) line {
	l := line{at: make([]uint64, len(chances)+1), strata: strata, corners: []uint64{0, stats.WholeChance}}
	for i, c := range chances {
		l.at[i+1] = l.at[i] + c
	}
	for _, s := range strata {
		l.corners = append(l.corners, l.at[s.first]%stats.WholeChance)
	}
	slices.Sort(l.corners)
	l.corners = slices.Compact(l.corners)
	return l
}

// hits is how many rows of a stratum a start hits.
func (l line) hits(s stratum, start uint64) int {
	before := func(end uint64) uint64 { // whole steps from start that fall before end
		if end <= start {
			return 0
		}
		return (end-start-1)/stats.WholeChance + 1
	}
	return int(before(l.at[s.end]) - before(l.at[s.first]))
}

// left is how many rows of each stratum a start leaves.
func (l line) left(start uint64) []int {
	out := make([]int, len(l.strata))
	for i, s := range l.strata {
		out[i] = s.end - s.first - l.hits(s, start)
	}
	return out
}

// fillChances adds, for every row, the chance of the part weighted to risk and, over the starts that
// leave the row, the chance of the random part.
func (l line) fillChances(frame []store.FrameRow, random int) {
	for i := range frame {
		frame[i].Chance = float64(l.at[i+1]-l.at[i]) / stats.WholeChance
	}
	for c, from := range l.corners[:len(l.corners)-1] {
		to, left := l.corners[c+1], l.left(from)
		for h, n := range Allocate(random, left) {
			if n == 0 {
				continue
			}
			share := float64(n) / float64(left[h]) / stats.WholeChance
			for i := l.strata[h].first; i < l.strata[h].end; i++ {
				frame[i].Chance += share * float64(to-from-l.hitBetween(i, from, to))
			}
		}
	}
	for i := range frame {
		frame[i].Chance = min(1, frame[i].Chance) // the sum of many shares may end a bit above
	}
}

// hitBetween is how many of the starts from from to to hit row i.
func (l line) hitBetween(i int, from, to uint64) uint64 {
	length := l.at[i+1] - l.at[i]
	begin := l.at[i] % stats.WholeChance
	overlap := func(a, b uint64) uint64 {
		a, b = max(a, from), min(b, to)
		return max(a, b) - a
	}
	end := begin + length
	if end <= stats.WholeChance {
		return overlap(begin, end)
	}
	return overlap(begin, stats.WholeChance) + overlap(0, end-stats.WholeChance)
}

// drawEvenly draws the random part from what the first part left.
func drawEvenly(frame []store.FrameRow, l line, random int, stream *rand.Rand) {
	rest := make([][]int, len(l.strata))
	left := make([]int, len(l.strata))
	for h, s := range l.strata {
		for i := s.first; i < s.end; i++ {
			if frame[i].Part == "" {
				rest[h] = append(rest[h], i)
			}
		}
		left[h] = len(rest[h])
	}
	for h, n := range Allocate(random, left) {
		firstOfShuffle(rest[h], n, stream)
		for _, i := range rest[h][:n] {
			frame[i].Part = Random
		}
	}
}

// chooseOpenings draws at most most of the drawn clear points to be opened, evenly. Given who was drawn, the
// chance of a point is its own times their share: two-phase sampling (Särndal, Swensson & Wretman 1992,
// section 9.3), whose weighted sums are unbiased too.
func chooseOpenings(frame []store.FrameRow, most *int, stream *rand.Rand) {
	var clear []int
	for i := range frame {
		frame[i].Open, frame[i].OpenChance = false, 0
		if frame[i].Part != "" && frame[i].Call == "clear" {
			clear = append(clear, i)
		}
	}
	n := len(clear)
	if most != nil {
		n = min(n, *most)
	}
	firstOfShuffle(clear, n, stream)
	for _, i := range clear[:n] {
		frame[i].Open, frame[i].OpenChance = true, frame[i].Chance*float64(n)/float64(len(clear))
	}
}

// firstOfShuffle puts n of the items, drawn evenly, in front.
func firstOfShuffle(items []int, n int, stream *rand.Rand) {
	for i := range n {
		j := i + stream.IntN(len(items)-i)
		items[i], items[j] = items[j], items[i]
	}
}

// Allocate shares n draws out among strata of the given sizes: in proportion, by largest remainder, with one
// each at least where n suffices for that. n is at most the sum of the sizes.
func Allocate(n int, sizes []int) []int {
	out := make([]int, len(sizes))
	units, open := 0, 0
	for _, size := range sizes {
		units += size
		open += min(size, 1)
	}
	settled := make([]bool, len(sizes))
	for again := n >= open; again; {
		again = false
		for h, size := range sizes { // strata whose share is under one get one
			if size > 0 && !settled[h] && n*size < units {
				out[h], settled[h], again = 1, true, true
				n, units = n-1, units-size
				break
			}
		}
	}
	if units == 0 {
		return out
	}
	var rest []int
	given := 0
	for h, size := range sizes {
		if size > 0 && !settled[h] {
			out[h] = n * size / units
			given += out[h]
			rest = append(rest, h)
		}
	}
	slices.SortStableFunc(rest, func(a, b int) int { return cmp.Compare(n*sizes[b]%units, n*sizes[a]%units) })
	for _, h := range rest[:n-given] {
		out[h]++
	}
	return out
}
