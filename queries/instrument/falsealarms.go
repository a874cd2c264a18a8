package instrument

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"scanledger/queries/stats"
)

// Visited counts the points of one site tested with one unit under one set of circumstances, and those
// of them where the call was a false alarm.
type Visited struct {
	Unit                         string
	Overdue                      bool // the unit was past its service date
	Site                         string
	Material, Season, Technician string // Season: with its region, since seasons differ by region
	Half                         string // of the year, by its first month, YYYY-MM
	Points, FalseAlarms          int
}

// Alarms compares the false alarms of one unit, in service or overdue, with what is expected.
type Alarms struct {
	Unit             string
	Overdue          bool
	Points, Alone    int // compared; tested by someone who used no other unit in service, left out
	Sites            int
	Observed         int
	Expected         float64
	Ratio            stats.Estimate
	Z, P, Q          float64 // widened by how much units differ; Q over the judged
	Beyond           int     // 0 in line, 1 outside the 95 % limits, 2 outside the 99.8 % ones and q small
	Enough           bool
	Technicians      int // with an expected count of 1 or more
	TechniciansAbove int // … of whom so many saw more than expected

	se float64 // standard error of the ratio around 1
}

// Least that is judged. (Expected counts of 5: Cochran 1954, Biometrics 10:417-451, for the chi-square
// approximation; sites: degrees of freedom of the NCHS presentation standards, 2017; other units for a
// variance between them: the house's choice.)
const (
	leastExpected = 5
	leastSites    = 9
	leastOthers   = 4
)

// Limits of z, and the false discovery rate that an act must not exceed: 1 %, so that hardly a fleet in which no
// unit is worse has one named (the house's choice; with 5 % it was 4 in 100).
const (
	watchZ   = 1.959964 // 95 %
	actZ     = 3.090232 // 99.8 %
	actFDR   = 0.01
	winsorAt = 0.1 // of units at each end (Spiegelhalter 2005)
)

// FalseAlarms compares units with one another. What is expected of a unit is learned from the readings of
// all other units in service: a logistic model of material, season within region, technician and
// the technician's half-year, since people change (indirect standardisation; Breslow and Day 1987, vol. II,
// chapter 4), so that a unit is not blamed for where it is used or for who uses it. Variance is that between sites, pooled over units, plus the doubt
// about the expected count; Z is narrowed by the variance between the other units beyond it (additive
// random effects, Spiegelhalter 2005, Stat Med 24:1185-1202). Q controls the false discovery rate (Benjamini and
// Hochberg 1995). Units come out in order of their names, in service before overdue. Points of a
// technician who used no other unit are left out of both counts.
func FalseAlarms(visited []Visited, floor int, conf float64) ([]Alarms, error) {
	b := newAlarmBook(visited)
	all, err := fitFactors(b.cells, b.inService, b.levels, nil)
	if err != nil {
		return nil, err
	}
	spread := b.siteSpread(&all)
	out := make([]Alarms, len(b.parts))
	var model factorModel
	for i, part := range b.parts {
		if i == 0 || b.unit(part) != b.unit(b.parts[i-1]) { // in service and overdue have the same others
			if model, err = fitFactors(b.cells, b.others(b.unit(part)), b.levels, &all); err != nil {
				return nil, err
			}
		}
		if out[i], err = b.compare(part, &model, spread, floor, conf); err != nil {
			return nil, err
		}
	}
	return out, judge(out)
}

// alarmBook holds visited rows in order, the runs of each unit in service or overdue, and the cells of
// circumstances with what happened in each.
type alarmBook struct {
	rows      []Visited
	at        []int // cell of each row
	parts     []run
	cells     []cell
	levels    [factorCount]int
	inService []tally // of each cell, all units in service together
}

// run is a stretch of rows.
type run struct{ from, to int }

func newAlarmBook(visited []Visited) alarmBook {
	b := alarmBook{rows: visited}
	if !slices.IsSortedFunc(visited, compareVisited) {
		b.rows = slices.SortedFunc(slices.Values(visited), compareVisited)
	}
	b.number()
	b.inService = make([]tally, len(b.cells))
	for i, v := range b.rows {
		if i == 0 || v.Unit != b.rows[i-1].Unit || v.Overdue != b.rows[i-1].Overdue {
			b.parts = append(b.parts, run{from: i})
		}
		b.parts[len(b.parts)-1].to = i + 1
		if !v.Overdue {
			b.inService[b.at[i]].add(v)
		}
	}
	return b
}

// number gives every level of a factor and every cell its number, in order.
func (b *alarmBook) number() {
	var numbers [factorCount]map[string]int
	for f := range numbers {
		numbers[f] = map[string]int{}
	}
	for _, v := range b.rows {
		for f, name := range v.circumstances() {
			numbers[f][name] = 0
		}
	}
	for f, of := range numbers {
		for i, name := range slices.Sorted(maps.Keys(of)) {
			of[name] = i
		}
		b.levels[f] = len(of)
	}
	seen := map[cell]int{}
	b.at = make([]int, len(b.rows))
	for i, v := range b.rows {
		var c cell
		for f, name := range v.circumstances() {
			c[f] = numbers[f][name]
		}
		at, known := seen[c]
		if !known {
			at = len(b.cells)
			seen[c] = at
			b.cells = append(b.cells, c)
		}
		b.at[i] = at
	}
}

// circumstances are the levels of a row; the technician's comes last.
func (v Visited) circumstances() [factorCount]string {
	return [factorCount]string{v.Material, v.Season, v.Technician + " " + v.Half, v.Technician}
}

const technicianFactor = factorCount - 1

func (t *tally) add(v Visited) {
	t.points += v.Points
	t.events += v.FalseAlarms
}

func compareVisited(a, b Visited) int {
	return cmp.Or(cmp.Compare(a.Unit, b.Unit), compareBool(a.Overdue, b.Overdue), cmp.Compare(a.Site, b.Site),
		cmp.Compare(a.Material, b.Material), cmp.Compare(a.Season, b.Season), cmp.Compare(a.Technician, b.Technician), cmp.Compare(a.Half, b.Half))
}

func compareBool(a, b bool) int {
	switch {
	case a == b:
		return 0
	case b:
		return -1
	}
	return 1
}

// siteSpread is how much more the false alarms of a unit at a site vary than a Poisson law lets them,
// in service: sum (observed - expected)² over sum expected, at least 1.
func (b *alarmBook) siteSpread(model *factorModel) float64 {
	squares, sum, gap := 0.0, 0.0, 0.0
	for i, v := range b.rows {
		if v.Overdue {
			continue
		}
		e := model.expected(b.cells[b.at[i]], v.Points)
		sum += e
		gap += float64(v.FalseAlarms) - e
		if i+1 == len(b.rows) || b.rows[i+1].Site != v.Site || b.rows[i+1].Unit != v.Unit || b.rows[i+1].Overdue {
			squares += gap * gap
			gap = 0
		}
	}
	if sum == 0 {
		return 1
	}
	return max(1, squares/sum)
}

// unit is that of a part.
func (b *alarmBook) unit(part run) string { return b.rows[part.from].Unit }

// others are the tallies of all units in service but one.
func (b *alarmBook) others(unit string) []tally {
	out := slices.Clone(b.inService)
	for _, part := range b.parts {
		if b.unit(part) != unit || b.rows[part.from].Overdue {
			continue
		}
		for i := part.from; i < part.to; i++ {
			out[b.at[i]].points -= b.rows[i].Points
			out[b.at[i]].events -= b.rows[i].FalseAlarms
		}
	}
	return out
}

// compare sets one unit, in service or overdue, against the model of the others in service.
func (b *alarmBook) compare(part run, model *factorModel, spread float64, floor int, conf float64) (Alarms, error) {
	out := Alarms{Unit: b.rows[part.from].Unit, Overdue: b.rows[part.from].Overdue, Z: math.NaN(), P: math.NaN(), Q: math.NaN()}
	out.Ratio = stats.Estimate{Value: math.NaN(), Low: math.NaN(), High: math.NaN(), Conf: conf}
	own := out.count(b, part, model)
	if out.Points == 0 {
		return out, nil
	}
	ratio, err := stats.ObservedToDispersed(out.Observed, out.Expected, spread*(out.Expected+model.doubt(b.cells, own)), conf)
	if err != nil {
		return out, err
	}
	out.Ratio, out.Z, out.P, out.se = ratio.Ratio, ratio.Z, ratio.P, math.Sqrt(ratio.Dispersion/out.Expected)
	out.Enough = out.Points >= floor && out.Sites >= leastSites && out.Expected >= leastExpected
	return out, nil
}

// count adds up observed and expected false alarms, in all and by technician, and returns what was
// compared by cell.
func (a *Alarms) count(b *alarmBook, part run, model *factorModel) []tally {
	own := make([]tally, len(b.cells))
	observed, expected := make([]int, b.levels[technicianFactor]), make([]float64, b.levels[technicianFactor])
	site := ""
	for i := part.from; i < part.to; i++ {
		v, c := b.rows[i], b.cells[b.at[i]]
		technician := c[technicianFactor]
		if model.points[technician] == 0 {
			a.Alone += v.Points
			continue
		}
		if v.Site != site {
			a.Sites++
			site = v.Site
		}
		e := model.expected(c, v.Points)
		own[b.at[i]].add(v)
		a.Points += v.Points
		a.Observed += v.FalseAlarms
		a.Expected += e
		observed[technician] += v.FalseAlarms
		expected[technician] += e
	}
	for t, e := range expected {
		if e >= 1 {
			a.Technicians++
			if float64(observed[t]) > e {
				a.TechniciansAbove++
			}
		}
	}
	return own
}

// judge narrows z by how much units differ beyond sites and sets the limits.
func judge(units []Alarms) error {
	var judged []*Alarms
	for i := range units {
		if units[i].Enough {
			judged = append(judged, &units[i])
		}
	}
	if len(judged) == 0 {
		return nil
	}
	spread := make([]float64, len(judged))
	for i := range judged {
		var err error
		if spread[i], err = spreadOfOthers(judged, i); err != nil {
			return err
		}
	}
	p := make([]float64, len(judged))
	for i, u := range judged {
		if spread[i] > 0 {
			u.Z *= u.se / math.Sqrt(u.se*u.se+spread[i])
			u.P = math.Erfc(math.Abs(u.Z) / math.Sqrt2)
		}
		p[i] = u.P
	}
	adjusted, err := stats.AdjustPValues(p)
	if err != nil {
		return err
	}
	for i, u := range judged {
		u.Q = adjusted.BenjaminiHochberg[i]
		u.Beyond = beyond(u.Z, u.Q)
	}
	return nil
}

// spreadOfOthers is the variance between all units but one, beyond sites, so that one far out does not
// hide itself; 0 where the others are too few to tell.
func spreadOfOthers(judged []*Alarms, but int) (float64, error) {
	var z, se []float64
	for _, u := range judged {
		if u.Unit != judged[but].Unit {
			z, se = append(z, u.Z), append(se, u.se)
		}
	}
	if len(z) < leastOthers {
		return 0, nil
	}
	spread, err := stats.MeasureOverdispersion(z, se, winsorAt)
	return spread.Tau2, err
}

func beyond(z, q float64) int {
	switch {
	case math.Abs(z) > actZ && q <= actFDR:
		return 2
	case math.Abs(z) > watchZ:
		return 1
	}
	return 0
}
