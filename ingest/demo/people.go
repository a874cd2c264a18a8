package demo

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"
)

// technician holds the sensor. All technicians have the same chances but for the planted ones.
type technician struct {
	id, name         string
	started          string // date
	accredited       string // last day
	threshold        float64
	home             int // region number
	falseAlarms      float64
	falseAlarmsLater float64 // from month driftFrom on
	sensitivity      float64
}

// staff returns the technicians. Their thresholds differ, yet all lie between the levels of a still
// and of a moving point, so that they matter only for what is called unsure.
func staff() []technician {
	people := []technician{
		{id: "T01", name: "Ada Quillmark", started: "2019-02-04", accredited: "2027-06-30", home: 0},
		{id: "T02", name: "Bram Oxlade", started: "2020-07-13", accredited: "2027-03-31", home: 0},
		{id: "T03", name: "Cosima Fenwright", started: "2021-03-01", accredited: "2027-09-30", home: 1},
		{id: "T04", name: "Dov Harrowgate", started: "2018-09-17", accredited: "2028-01-31", home: 1},
		{id: "T05", name: "Edda Marrowby", started: "2022-01-10", accredited: "2027-12-31", home: 2},
		{id: "T06", name: "Farid Stillwater", started: "2020-02-24", accredited: "2026-12-31", home: 2},
		{id: "T07", name: "Greta Thornapple", started: "2017-05-08", accredited: "2027-04-30", home: 3},
		{id: "T08", name: "Hale Underbrook", started: "2021-11-15", accredited: "2027-08-31", home: 3},
		{id: "T09", name: "Imre Vantlemere", started: "2025-06-02", accredited: "2028-05-31", home: 4},
		{id: "T10", name: "Juno Wexcombe", started: "2023-04-03", accredited: "2027-02-28", home: 4},
		{id: "T11", name: "Kit Yarrowfield", started: "2022-08-22", accredited: "2027-10-31", home: 0},
		{id: "T12", name: "Lior Zellenbach", started: "2019-10-07", accredited: lapsedUntil, home: 3},
	}
	for i := range people {
		p := &people[i]
		p.threshold = 29 + 0.5*float64(i)
		p.falseAlarms, p.falseAlarmsLater, p.sensitivity = 1, 1, 1
		switch p.id {
		case falseAlarmTech:
			p.falseAlarms, p.falseAlarmsLater = falseAlarmFactor, falseAlarmFactor
		case driftTech:
			p.falseAlarmsLater = driftFactor
		case lowSensitivityTech:
			p.sensitivity = lowSensitivityFactor
		}
	}
	return people
}

// unit is one sensor.
type unit struct {
	id, model                   string
	gainMin, gainMax, gainStart int
	inService, serviceDue       string // dates
}

// sensors returns the units, of two models with ranges of their own.
func sensors() []unit {
	short := unit{model: "six-step", gainMin: 0, gainMax: 6, gainStart: 2}
	long := unit{model: "ten-step", gainMin: 1, gainMax: 10, gainStart: 3}
	built := func(model unit, id, inService, serviceDue string) unit {
		model.id, model.inService, model.serviceDue = id, inService, serviceDue
		return model
	}
	return []unit{
		built(short, "U01", "2021-05-01", "2027-05-01"),
		built(short, "U02", "2021-05-01", "2027-05-01"),
		built(short, "U03", "2022-02-15", "2027-02-15"),
		built(short, "U04", "2022-02-15", "2027-02-15"),
		built(short, "U05", "2023-08-01", "2026-11-01"),
		built(long, "U06", "2023-08-01", "2026-11-01"),
		built(long, overdueUnit, "2024-02-01", overdueFrom),
		built(long, "U08", "2024-02-01", "2027-02-01"),
		built(long, "U09", "2024-06-10", "2027-06-10"),
		built(long, "U10", "2025-03-03", "2027-03-03"),
	}
}

// slotsADay is how many visits one technician can make in a day.
const slotsADay = 3

// posting is one technician with one unit in one region for a month. Those without a unit are on
// leave or in the office.
type posting struct {
	tech   *technician
	unit   *unit
	region int
	days   []time.Time // working days, midnight UTC standing for the local date
	taken  []bool      // by day and slot
}

// homeShare is how often a technician is posted to the home region; else anywhere.
const homeShare = 0.25

// postings hands out units and regions for the month that begins on the given day.
func postings(r *rand.Rand, people []technician, units []unit, regions int, first time.Time) []posting {
	days := workingDays(first)
	carried := []*unit{}
	for i := range units {
		if units[i].inService <= first.Format(time.DateOnly) {
			carried = append(carried, &units[i])
		}
	}
	r.Shuffle(len(carried), func(i, j int) { carried[i], carried[j] = carried[j], carried[i] })
	var out []posting
	for _, i := range r.Perm(len(people)) {
		p := &people[i]
		region := p.home
		if !chance(r, homeShare) {
			region = r.IntN(regions)
		}
		if p.started <= days[0].Format(time.DateOnly) && len(out) < len(carried) {
			out = append(out, posting{p, carried[len(out)], region, days, make([]bool, len(days)*slotsADay)})
		}
	}
	keepApart(out, first)
	return out
}

// keepApart sees that the overdue unit is not carried by someone with a planted fault of sight, so
// that each of the two shows for itself.
func keepApart(posted []posting, first time.Time) {
	odd := func(p posting) bool { return p.tech.falseAlarmsLater > 1 || p.tech.sensitivity < 1 }
	from := slices.IndexFunc(posted, func(p posting) bool { return p.unit.overdue(first) && odd(p) })
	to := slices.IndexFunc(posted, func(p posting) bool { return !odd(p) })
	if from >= 0 && to >= 0 {
		posted[from].unit, posted[to].unit = posted[to].unit, posted[from].unit
	}
}

// overdue tells whether the unit is the planted one, past its day.
func (u *unit) overdue(day time.Time) bool {
	return u.id == overdueUnit && day.Format(time.DateOnly) >= overdueFrom
}

func workingDays(first time.Time) []time.Time {
	var days []time.Time
	for d := first; d.Month() == first.Month(); d = d.AddDate(0, 0, 1) {
		if d.Weekday() != time.Saturday && d.Weekday() != time.Sunday {
			days = append(days, d)
		}
	}
	return days
}

// free returns an untaken slot on the day, or -1.
func (p *posting) free(day time.Time) int {
	for i, d := range p.days {
		if !d.Equal(day) {
			continue
		}
		for slot := i * slotsADay; slot < (i+1)*slotsADay; slot++ {
			if !p.taken[slot] {
				return slot
			}
		}
	}
	return -1
}

// startOf is the local start of a slot, some minutes after the hour.
func startOf(day time.Time, slot int, loc *time.Location, r *rand.Rand) time.Time {
	hour := 8 + 3*(slot%slotsADay)
	minute := int(math.Floor(between(r, 0, 40)))
	return time.Date(day.Year(), day.Month(), day.Day(), hour, minute, 0, 0, loc)
}
