package demo

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"time"
)

// visit is one inspection: first planned, then carried out.
type visit struct {
	id        string
	month     int // from the start of the demo
	day       time.Time
	slot      int // position among the month's days and slots
	tech      *technician
	unit      *unit
	site      *site
	purpose   string
	repeats   *visit // for a recheck
	rechecked bool   // a recheck follows in a few days
	start     time.Time
	end       time.Time
	weather   weather
	missed    string // areas not inspected
	outcome   string
	points    []pointVisit
	controls  []reading
}

// scenario is the whole demo before it is laid out in files.
type scenario struct {
	opt     Options
	regions []region
	people  []technician
	units   []unit
	months  []time.Time // first days
	posted  [][]posting // by month
	sites   []*site
	visits  []*visit // by start
	found   []*finding
}

// firstMonth is where every demo begins.
var firstMonth = time.Date(2024, time.September, 1, 0, 0, 0, 0, time.UTC)

// How visits follow one another.
const (
	newSiteShare   = 0.45 // of base visits, once some sites are due again
	returnAfter    = 150  // days before a site is due again
	baseShare      = 0.895
	recheckShare   = 0.085 // tried after a base visit; some find nobody free nearby
	callBackShare  = 0.055
	recheckSoonest = 2 // days
	recheckLatest  = 6
	callBackDelay  = 14 // days
	callBackSpread = 35
)

func generate(opt Options) (*scenario, error) {
	regions, err := worldRegions()
	if err != nil {
		return nil, err
	}
	s := &scenario{opt: opt, regions: regions, people: staff(), units: sensors()}
	for m := range opt.Months {
		first := firstMonth.AddDate(0, m, 0)
		s.months = append(s.months, first)
		s.posted = append(s.posted, postings(stream(opt.Seed, "postings", m), s.people, s.units, len(regions), first))
	}
	s.planBase()
	base := len(s.visits)
	s.planFollowUps(s.visits[:base])
	s.settle()
	for _, site := range s.sites {
		s.live(site)
	}
	s.nameFindings()
	return s, nil
}

// planBase fills each month's quota of visits and says which site each goes to.
func (s *scenario) planBase() {
	due := make([][]*site, len(s.regions)) // by region, longest unvisited first
	for m := range s.months {
		r := stream(s.opt.Seed, "slots", m)
		var month []*visit
		for i := range s.posted[m] {
			month = append(month, s.fill(r, m, &s.posted[m][i], s.quota(m, i))...)
		}
		slices.SortFunc(month, bySlot)
		r = stream(s.opt.Seed, "destinations", m)
		for _, v := range month {
			s.send(r, v, &due[v.site.region])
		}
		s.visits = append(s.visits, month...)
	}
}

// quota shares the base visits out evenly: the parts differ by one at most.
func (s *scenario) quota(month, posting int) int {
	upTo := func(m int) int {
		return int(math.Round(baseShare * float64(s.opt.Inspections) * float64(m) / float64(s.opt.Months)))
	}
	all, staff := upTo(month+1)-upTo(month), len(s.posted[month])
	return all*(posting+1)/staff - all*posting/staff
}

// fill draws n of a posting's slots. The visits carry a site that says the region only.
func (s *scenario) fill(r *rand.Rand, month int, p *posting, n int) []*visit {
	var out []*visit
	for _, slot := range r.Perm(len(p.taken))[:min(n, len(p.taken))] {
		out = append(out, s.book(month, p, slot, &site{region: p.region}, "routine"))
	}
	return out
}

func (s *scenario) book(month int, p *posting, slot int, at *site, purpose string) *visit {
	p.taken[slot] = true
	return &visit{month: month, day: p.days[slot/slotsADay], slot: slot, tech: p.tech, unit: p.unit, site: at, purpose: purpose}
}

func bySlot(a, b *visit) int {
	if a.slot != b.slot {
		return a.slot - b.slot
	}
	return strings.Compare(a.tech.id, b.tech.id)
}

// send gives a visit a new site or one that is due again.
func (s *scenario) send(r *rand.Rand, v *visit, due *[]*site) {
	ready := 0
	for ready < len(*due) && v.day.Sub((*due)[ready].lastVisit) >= returnAfter*24*time.Hour {
		ready++
	}
	if ready == 0 || chance(r, newSiteShare) {
		v.site = newSite(s, v.site.region)
		s.sites = append(s.sites, v.site)
		if chance(r, 0.35) {
			v.purpose = "pre_purchase"
		}
	} else {
		i := r.IntN(ready)
		v.site = (*due)[i]
		*due = slices.Delete(*due, i, i+1)
	}
	v.site.lastVisit = v.day
	*due = append(*due, v.site)
}

// planFollowUps adds rechecks and call-backs where someone posted to the region has time.
func (s *scenario) planFollowUps(base []*visit) {
	for i, v := range base {
		r := stream(s.opt.Seed, "follow-ups", i)
		if chance(r, recheckShare) {
			if again := s.follow(r, v, recheckSoonest, recheckLatest, true); again != nil {
				again.purpose, again.repeats = "recheck", v
				v.rechecked = true
			}
		}
		if chance(r, callBackShare) {
			if again := s.follow(r, v, callBackDelay, callBackDelay+callBackSpread, false); again != nil {
				again.purpose = "call_back"
			}
		}
	}
}

// follow books a visit to the same site between soonest and latest days on, or returns nil.
func (s *scenario) follow(r *rand.Rand, v *visit, soonest, latest int, someoneElse bool) *visit {
	span := latest - soonest + 1
	offset := r.IntN(span)
	for i := range span {
		day := v.day.AddDate(0, 0, soonest+(offset+i)%span)
		month := (day.Year()-firstMonth.Year())*12 + int(day.Month()-firstMonth.Month())
		if month >= len(s.months) {
			continue
		}
		for _, at := range r.Perm(len(s.posted[month])) {
			p := &s.posted[month][at]
			slot := p.free(day)
			if p.region != v.site.region || slot < 0 || someoneElse && p.tech == v.tech {
				continue
			}
			again := s.book(month, p, slot, v.site, "")
			s.visits = append(s.visits, again)
			return again
		}
	}
	return nil
}

// settle puts the visits in order of their start, numbers them and gives them their weather.
func (s *scenario) settle() {
	for _, v := range s.visits {
		day := int(v.day.Sub(firstMonth).Hours() / 24)
		region := &s.regions[v.site.region]
		v.weather = region.weather(stream(s.opt.Seed, "weather", v.site.region, day), v.day.Month())
		v.start = startOf(v.day, v.slot, region.loc, stream(s.opt.Seed, "start "+v.tech.id, v.month, v.slot))
	}
	slices.SortFunc(s.visits, func(a, b *visit) int {
		if c := a.start.Compare(b.start); c != 0 {
			return c
		}
		return strings.Compare(a.tech.id, b.tech.id)
	})
	for i, v := range s.visits {
		v.id = fmt.Sprintf("I%06d", i+1)
		v.site.visits = append(v.site.visits, v)
	}
}
