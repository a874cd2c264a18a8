package people

import "math"

// likeness is how alike the points of one site are: the correlation of two of a technician's cases at one
// site beyond what conditions and technician explain, by moments,
//
//	sum over sites of (r² - v) / sum of c,  v = sum n p(1-p),  c = (sum n sqrt(p(1-p)))² - v
//
// with r what a site has beyond what was expected of it, at 0 or above (the working correlation of Liang
// and Zeger 1986). It is one figure for everyone: a technician alone has too few sites with events.
func (t *tally) likeness() float64 {
	var extra, pairs float64
	t.eachSite(func(_ int, cases []caseOf) {
		gap := 0.0
		for _, c := range cases {
			gap += float64(c.events) - float64(c.trials)*t.cells[c.cell].own
		}
		v, c := t.spreadOf(cases, func(c cell) float64 { return c.own })
		extra, pairs = extra+gap*gap-v, pairs+c
	})
	if !(pairs > 0 && extra > 0) {
		return 0
	}
	return min(1, extra/pairs)
}

// spreadOf returns the binomial variance of a site's cases and what correlation 1 would add to it.
func (t *tally) spreadOf(cases []caseOf, chance func(cell) float64) (v, c float64) {
	roots := 0.0
	for _, k := range cases {
		p := chance(t.cells[k.cell])
		v += float64(k.trials) * p * (1 - p)
		roots += float64(k.trials) * math.Sqrt(p*(1-p))
	}
	return v, roots*roots - v
}

// siteVariance is, by technician, what the likeness of sites adds to the variance of the expected count.
func (t *tally) siteVariance(likeness float64) []float64 {
	out := make([]float64, t.panel.Technicians)
	t.eachSite(func(technician int, cases []caseOf) {
		_, c := t.spreadOf(cases, func(c cell) float64 { return c.expected })
		out[technician] += likeness * c
	})
	return out
}

// eachSite calls with the cases of each technician at each site.
func (t *tally) eachSite(call func(technician int, cases []caseOf)) {
	for start := 0; start < len(t.cases); {
		end, first := start, t.cases[start]
		for end < len(t.cases) && t.cases[end].technician == first.technician && t.cases[end].site == first.site {
			end++
		}
		call(first.technician, t.cases[start:end])
		start = end
	}
}
