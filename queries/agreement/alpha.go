package agreement

import (
	"errors"
	"math"
	"slices"

	"scanledger/queries/stats"
)

// Rating is what one technician called one point of one inspection, under any scheme of categories.
type Rating struct {
	Site, Unit, Rater string
	Category          float64
}

// Ratings are the decided calls of the pairs, 1 for active and 0 for clear: one for each technician who
// called a point of the same first inspection.
func Ratings(pairs []Pair) []Rating {
	seen := map[[3]string]bool{}
	var out []Rating
	add := func(p Pair, rater, call string) {
		unit := p.Visit + "\n" + p.Point
		if key := [3]string{p.Site, unit, rater}; !seen[key] {
			seen[key] = true
			r := Rating{Site: p.Site, Unit: unit, Rater: rater}
			if call == Active {
				r.Category = 1
			}
			out = append(out, r)
		}
	}
	for _, p := range pairs {
		if p.decided() {
			add(p, p.First, p.Before)
			add(p, p.Second, p.Afterward)
		}
	}
	return out
}

// Together is Krippendorff's alpha (nominal) of all raters, whoever rated what, with the interval of a
// jackknife over sites; N is the number of units with two ratings or more. NaN where all ratings are
// alike or none can be paired.
func Together(ratings []Rating, conf float64) (stats.Estimate, error) {
	m := newMatrix(ratings)
	if len(m.sites) == 0 {
		return stats.Estimate{}, errors.New("agreement of all: no ratings")
	}
	out, err := stats.GroupJackknife(len(m.sites), m.alpha, conf)
	out.N = m.paired()
	return out, err
}

// matrix holds ratings as stats.KrippendorffAlpha takes them, with the site of each unit.
type matrix struct {
	raters, sites []string // in order
	units         []unitRatings
}

type unitRatings struct {
	site    int
	byRater map[int]float64
}

func newMatrix(ratings []Rating) matrix {
	var m matrix
	for _, r := range ratings {
		m.raters, m.sites = append(m.raters, r.Rater), append(m.sites, r.Site)
	}
	m.raters, m.sites = distinct(m.raters), distinct(m.sites)
	at := map[[2]string]int{}
	for _, r := range ratings {
		key := [2]string{r.Site, r.Unit}
		i, ok := at[key]
		if !ok {
			i = len(m.units)
			at[key] = i
			site, _ := slices.BinarySearch(m.sites, r.Site)
			m.units = append(m.units, unitRatings{site, map[int]float64{}})
		}
		rater, _ := slices.BinarySearch(m.raters, r.Rater)
		m.units[i].byRater[rater] = r.Category
	}
	return m
}

func distinct(names []string) []string {
	slices.Sort(names)
	return slices.Compact(names)
}

// paired counts the units with two ratings or more.
func (m matrix) paired() (n int) {
	for _, u := range m.units {
		if len(u.byRater) > 1 {
			n++
		}
	}
	return n
}

// alpha is Krippendorff's nominal alpha of the units of some sites; NaN where there are none.
func (m matrix) alpha(in func(site int) bool) (float64, error) {
	rows := make([][]float64, len(m.raters))
	for _, u := range m.units {
		if !in(u.site) {
			continue
		}
		for r := range rows {
			v, rated := u.byRater[r]
			if !rated {
				v = math.NaN()
			}
			rows[r] = append(rows[r], v)
		}
	}
	if len(rows) < 2 || len(rows[0]) == 0 {
		return math.NaN(), nil
	}
	a, err := stats.KrippendorffAlpha(rows)
	return a.Nominal, err
}
