package people

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Conditions under which a point was read, in the order of Case.At. The last two are no conditions: they
// are the technician's own choice, and only a second model looks at them.
const (
	Material = iota
	Thickness
	Season
	Region
	Purpose
	CalledElsewhere // another visit called the point active: it was opened for that call, whatever this one was
	Gain            // of the reading that decided the call
	FirstGain       // at which the point was first read
	Factors         // how many there are
)

// Case is a group of point-visits of one technician at one site in one month under the same conditions.
// Technician, site, month and conditions are numbers from 0.
type Case struct {
	Technician, Site, Month int
	At                      [Factors]int

	Points                              int // point-visits
	Active, ActiveVerified, FalseAlarms int // calls, those with a decisive finding, those of them found not active
	Clear, ClearVerified, Found, Missed int // Found: point-visits found active, called either way; Missed: those of them called clear
}

// Panel is all cases, in order of technician, site and month.
type Panel struct {
	Technicians int
	Months      int
	Levels      [Factors]int // how many levels each condition has
	Cases       []Case
}

// NewPanel orders cases and counts technicians, months and levels. It returns an error for numbers below
// 0 and for counts that cannot be.
func NewPanel(cases []Case) (Panel, error) {
	p := Panel{Cases: cases}
	for i, c := range cases {
		if err := c.check(); err != nil {
			return p, fmt.Errorf("case %d of technician %d: %w", i, c.Technician, err)
		}
		p.Technicians, p.Months = max(p.Technicians, c.Technician+1), max(p.Months, c.Month+1)
		for f, level := range c.At {
			p.Levels[f] = max(p.Levels[f], level+1)
		}
	}
	if !slices.IsSortedFunc(p.Cases, inOrder) {
		slices.SortStableFunc(p.Cases, inOrder)
	}
	return p, nil
}

func inOrder(a, b Case) int { return cmp.Or(a.Technician-b.Technician, a.Site-b.Site, a.Month-b.Month) }

func (c Case) check() error {
	if min(c.Technician, c.Site, c.Month, slices.Min(c.At[:])) < 0 {
		return fmt.Errorf("technician, site %d, month %d and levels %v are numbered from 0", c.Site, c.Month, c.At)
	}
	sound := c.Active+c.Clear <= c.Points && 0 <= c.FalseAlarms && c.FalseAlarms <= c.ActiveVerified && c.ActiveVerified <= c.Active &&
		0 <= c.Missed && c.Missed <= c.ClearVerified && c.ClearVerified <= c.Clear && c.Found == c.Missed+c.ActiveVerified-c.FalseAlarms
	if !sound {
		return fmt.Errorf("its counts contradict each other: %+v", c)
	}
	return nil
}

// A measure is a share to compare technicians by.
type measure struct {
	name       string
	of         func(c Case) (events, trials int)
	conditions []int
	gain       int // the factor by which the technician's choice of gain is judged
	opened     bool
}

// Names of the measures.
const (
	Detections  = "detections"
	FalseAlarms = "false_alarms"
	Missed      = "missed"
)

// measures in the order of their names. What a false alarm's gain was is that of the reading that called
// it. Whether a point is called at all decides at which step its readings end, so the other two go by the
// step they began at.
var measures = []measure{
	{Detections, func(c Case) (int, int) { return c.Active, c.Points }, []int{Material, Thickness, Season, Region, Purpose}, FirstGain, false},
	{FalseAlarms, func(c Case) (int, int) { return c.FalseAlarms, c.ActiveVerified }, []int{Material, Thickness, Season, Region, Purpose}, Gain, false},
	{Missed, func(c Case) (int, int) { return c.Missed, c.Found }, []int{Material, Thickness, Season, Region, Purpose, CalledElsewhere}, FirstGain, true},
}

// openedOffsets is, by technician and whether another visit called the point active, the log of how much
// more often the technician's clear calls were opened than active ones, against everyone's. A missed point
// is known only where a clear call was opened: of points found active, the odds of having been called clear
// are those of a miss times the share of clear calls opened over that of active ones. Shares lean on
// everyone's as if openedPrior more calls had been made.
func openedOffsets(p Panel) [][2]float64 {
	type calls struct{ active, activeOpened, clear, clearOpened float64 }
	var all [2]calls
	by := make([][2]calls, p.Technicians)
	for _, c := range p.Cases {
		elsewhere := min(c.At[CalledElsewhere], 1)
		for _, to := range []*calls{&all[elsewhere], &by[c.Technician][elsewhere]} {
			to.active += float64(c.Active)
			to.activeOpened += float64(c.ActiveVerified)
			to.clear += float64(c.Clear)
			to.clearOpened += float64(c.ClearVerified)
		}
	}
	out := make([][2]float64, p.Technicians)
	for t := range out {
		for e, a := range all {
			own := by[t][e]
			if a.activeOpened > 0 && a.clearOpened > 0 {
				out[t][e] = leant(own.clearOpened, own.clear, a.clearOpened/a.clear) - leant(own.activeOpened, own.active, a.activeOpened/a.active)
			}
		}
	}
	return out
}

// openedPrior is how many calls everyone's share counts for beside the technician's own. (The house's choice.)
const openedPrior = 50

// leant is the log of a share over everyone's, drawn towards it.
func leant(events, trials, everyones float64) float64 {
	return math.Log((events/everyones + openedPrior) / (trials + openedPrior))
}
