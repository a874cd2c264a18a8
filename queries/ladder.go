package queries

import (
	"slices"

	"scanledger/queries/stats"
)

// ladderCut says which points a ladder is of; the fields that do not make the cut are null.
type ladderCut struct {
	By            string  `json:"by"`
	Material      *string `json:"material"`
	DensityClass  *string `json:"density_class"`
	ThicknessBand *string `json:"thickness_band"`
	Model         *string `json:"model"`
}

func (c ladderCut) same(o ladderCut) bool {
	return c.By == o.By && equal(c.Material, o.Material) && equal(c.DensityClass, o.DensityClass) &&
		equal(c.ThicknessBand, o.ThicknessBand) && equal(c.Model, o.Model)
}

// ladderCell counts points of one site that showed, or did not show, at the same gains.
type ladderCell struct {
	ladderCut
	truth, weighedAs, call string
	site                   int64
	unshown, shown         *int // gain; nil: none
	points                 int64
}

// ladder is what had shown by each gain among points of one truth.
type ladder struct {
	points int64
	gains  []int
	rates  []weightedRate // one a gain
}

// at is the rate at a gain; "no cases" where points were never stepped up to it.
func (l ladder) at(gain int) weightedRate {
	if i, ok := slices.BinarySearch(l.gains, gain); ok {
		return l.rates[i]
	}
	return weightedRate{unknownEstimate(), 0, "no point was stepped up to it"}
}

// climb estimates what had shown by each gain from cells of one cut and truth.
func climb(cells []ladderCell, weight map[class]float64, floor int) (ladder, error) {
	var out ladder
	for _, c := range cells {
		out.points += c.points
		for _, gain := range []*int{c.unshown, c.shown} {
			if gain != nil {
				out.gains = append(out.gains, *gain)
			}
		}
	}
	slices.Sort(out.gains)
	out.gains = slices.Compact(out.gains)
	estimates, kish, err := stats.ShownBy(len(out.gains), out.brackets(cells, weight), Confidence)
	if err != nil {
		return out, err
	}
	for i, e := range estimates {
		out.rates = append(out.rates, rated(e, out.known(cells, i), kish[i], floor))
	}
	return out, nil
}

// brackets puts cells in terms of steps, with sites numbered in order.
func (l ladder) brackets(cells []ladderCell, weight map[class]float64) []stats.Ladder {
	var out []stats.Ladder
	site := -1
	for i, c := range cells {
		if i == 0 || c.site != cells[i-1].site {
			site++
		}
		from, to := l.steps(c)
		out = append(out, stats.Ladder{Cluster: site, Unshown: from, Shown: to, Points: int(c.points), Weight: weight[class{c.weighedAs, c.call}]})
	}
	return out
}

func (l ladder) steps(c ladderCell) (unshown, shown int) {
	unshown, shown = -1, len(l.gains)
	if c.unshown != nil {
		unshown, _ = slices.BinarySearch(l.gains, *c.unshown)
	}
	if c.shown != nil {
		shown, _ = slices.BinarySearch(l.gains, *c.shown)
	}
	return unshown, shown
}

// known counts the points known to have shown by step i or not.
func (l ladder) known(cells []ladderCell, i int) (n int64) {
	for _, c := range cells {
		if unshown, shown := l.steps(c); shown <= i || unshown >= i {
			n += c.points
		}
	}
	return n
}

// ladders are what had shown by each gain in one cut, where there was activity and where there was none.
type ladders struct {
	ladderCut
	active, notActive ladder
}

func (d *desk) climbAll(cells []ladderCell) ([]ladders, error) {
	weight := weights(d.book.Weights)
	var out []ladders
	for _, cut := range runsOf(cells, func(a, b ladderCell) bool { return a.same(b.ladderCut) }) {
		l := ladders{ladderCut: cut[0].ladderCut}
		for _, part := range runsOf(cut, func(a, b ladderCell) bool { return a.truth == b.truth }) {
			climbed, err := climb(part, weight, d.opt.Floor)
			if err != nil {
				return nil, err
			}
			if part[0].truth == "active" {
				l.active = climbed
			} else {
				l.notActive = climbed
			}
		}
		out = append(out, l)
	}
	return out, nil
}
