package demo

import (
	"fmt"
	"math"
	"slices"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// whole is the default demo before it is laid out.
var whole = sync.OnceValues(func() (*scenario, error) {
	return generate(Options{Seed: DefaultSeed, Inspections: DefaultInspections, Months: DefaultMonths})
})

func scene(t *testing.T) *scenario {
	t.Helper()
	s, err := whole()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// tally counts point-visits by truth and call.
type tally struct{ still, falseAlarms, active, detected int }

func (a *tally) add(pv *pointVisit) {
	called := 0
	if pv.call == "active" {
		called = 1
	}
	if pv.active {
		a.active++
		a.detected += called
	} else {
		a.still++
		a.falseAlarms += called
	}
}

func (a *tally) falseRate() float64 { return float64(a.falseAlarms) / float64(a.still) }
func (a *tally) sees() float64      { return float64(a.detected) / float64(a.active) }

// acting counts the planted faults that bear on false movement in a point-visit.
func acting(v *visit, pv *pointVisit) int {
	n := 0
	for _, on := range []bool{
		v.tech.id == falseAlarmTech,
		v.tech.id == driftTech && v.month >= driftFrom,
		v.unit.overdue(v.day),
		pv.point.material.id == windMaterial && v.weather.wind >= windKmh,
		pv.point.pipe,
	} {
		if on {
			n++
		}
	}
	return n
}

// count tallies the point-visits for which in is true and on which no more than own faults act, and
// those of all others on which none does.
func count(s *scenario, own int, in func(*visit, *pointVisit) bool) (inside, outside tally) {
	for _, v := range s.visits {
		for i := range v.points {
			pv := &v.points[i]
			switch n := acting(v, pv); {
			case in(v, pv) && n <= own:
				inside.add(pv)
			case n == 0:
				outside.add(pv)
			}
		}
	}
	return inside, outside
}

func TestPlantedFalseAlarmsAreInTheTruth(t *testing.T) {
	by := func(id string) func(*visit, *pointVisit) bool {
		return func(v *visit, _ *pointVisit) bool { return v.tech.id == id }
	}
	for _, c := range []struct {
		name      string
		own       int
		in        func(*visit, *pointVisit) bool
		low, high float64 // bounds of the ratio of false alarms to the others'
	}{
		{"technician", 1, by(falseAlarmTech), 1.8, 3.2},
		{"drift before", 0, by(driftTech), 0.7, 1.35},
		{"drift after", 1, func(v *visit, _ *pointVisit) bool { return v.tech.id == driftTech && v.month >= driftFrom }, 2.5, 5},
		{"wind", 1, func(v *visit, pv *pointVisit) bool {
			return pv.point.material.id == windMaterial && v.weather.wind >= windKmh
		}, 2.5, 8},
		{"overdue unit", 1, func(v *visit, _ *pointVisit) bool { return v.unit.overdue(v.day) }, 2, 4.5},
		{"water pipe", 1, func(_ *visit, pv *pointVisit) bool { return pv.point.pipe }, 4, 20},
		{"copying", 0, by(copyTech), 0.75, 1.35},
		{"short holds", 0, by(shortHoldTech), 0.75, 1.35},
		{"low sensitivity", 0, by(lowSensitivityTech), 0.75, 1.35},
	} {
		inside, outside := count(scene(t), c.own, c.in)
		ratio := inside.falseRate() / outside.falseRate()
		t.Logf("%s: %.2f", c.name, ratio)
		if ratio < c.low || ratio > c.high || math.IsNaN(ratio) {
			t.Errorf("%s: %d false alarms of %d, %.2f times the others' rate, want %g to %g",
				c.name, inside.falseAlarms, inside.still, ratio, c.low, c.high)
		}
	}
}

func TestPlantedSensitivityIsInTheTruth(t *testing.T) {
	for _, p := range staff() {
		inside, outside := count(scene(t), 1, func(v *visit, _ *pointVisit) bool { return v.tech.id == p.id })
		low, high := 0.85, 1.15
		if p.id == lowSensitivityTech {
			low, high = 0.35, 0.7
		}
		if ratio := inside.sees() / outside.sees(); ratio < low || ratio > high {
			t.Errorf("%s sees %d of %d active points, %.2f times the others' share, want %g to %g", p.id, inside.detected, inside.active, ratio, low, high)
		}
	}
}

// TestFindingsShowTheTechnicians looks at what an analysis sees: shares of opened calls alone.
func TestFindingsShowTheTechnicians(t *testing.T) {
	opened, still := map[string]float64{}, map[string]float64{}
	for _, f := range scene(t).found {
		if f.visit == nil || f.method == "occupant_report" || f.method == "return_visit" || f.visit.points[f.place].call != "active" {
			continue
		}
		if f.visit.tech.id == driftTech && f.visit.month < driftFrom {
			continue
		}
		opened[f.visit.tech.id]++
		if f.result != "active" {
			still[f.visit.tech.id]++
		}
	}
	var others, plain float64
	for _, p := range staff() {
		if p.falseAlarmsLater == 1 && p.sensitivity == 1 {
			others, plain = others+still[p.id], plain+opened[p.id]
		}
	}
	usual := others / plain
	for _, id := range []string{falseAlarmTech, driftTech} {
		if share := still[id] / opened[id]; share < usual+0.1 {
			t.Errorf("%s: %.2f of opened active calls were false, the others' %.2f", id, share, usual)
		}
	}
}

func TestCopiedLevelsAndShortHolds(t *testing.T) {
	copies, pairs, short, holds := map[string]int{}, map[string]int{}, map[string]int{}, map[string]int{}
	for _, v := range scene(t).visits {
		seen := map[string]bool{}
		for i := range v.points {
			levels := ""
			for _, rd := range v.points[i].readings {
				levels += fmt.Sprint(rd.level, " ")
				holds[v.tech.id]++
				if rd.hold < shortHoldHigh {
					short[v.tech.id]++
				}
			}
			if len(v.points[i].readings) > 1 {
				pairs[v.tech.id]++
				if seen[levels] {
					copies[v.tech.id]++
				}
				seen[levels] = true
			}
		}
	}
	for _, p := range staff() {
		copied, cut := float64(copies[p.id])/float64(pairs[p.id]), float64(short[p.id])/float64(holds[p.id])
		if (copied > 0.08) != (p.id == copyTech) || p.id != copyTech && copied > 0.003 {
			t.Errorf("%s: %.4f of points repeat another's levels", p.id, copied)
		}
		if (cut > 0.5) != (p.id == shortHoldTech) || p.id != shortHoldTech && cut > 0.04 {
			t.Errorf("%s: %.4f of holds are short", p.id, cut)
		}
	}
}

// TestMagnitudes holds the invented shares to the ranges the package comment and constants speak of.
func TestMagnitudes(t *testing.T) {
	s := scene(t)
	var readings, unsure, light, lightSeen, dense, denseSeen int
	withActive := map[*site]bool{}
	calls, decisive := map[string]int{}, map[string]int{}
	for _, v := range s.visits {
		for i := range v.points {
			pv := &v.points[i]
			calls[pv.call]++
			if pv.active {
				withActive[v.site] = true
			}
			seen := 0
			if pv.call == "active" {
				seen = 1
			}
			switch {
			case pv.active && pv.point.material.id == "plasterboard":
				light, lightSeen = light+1, lightSeen+seen
			case pv.active && pv.point.material.id == "double_brick":
				dense, denseSeen = dense+1, denseSeen+seen
			}
			for _, rd := range pv.readings {
				readings++
				if rd.call == "unsure" {
					unsure++
				}
			}
		}
	}
	for _, f := range s.found {
		if f.visit != nil && f.method != "occupant_report" && f.method != "return_visit" {
			decisive[f.visit.points[f.place].call]++
		}
	}
	for _, c := range []struct {
		name          string
		part, of      int
		least, atMost float64
	}{
		{"sites with an active point", len(withActive), len(s.sites), 0.1, 0.35},
		{"unsure readings", unsure, readings, 0.05, 0.1},
		{"seen on plasterboard", lightSeen, light, 0.75, 0.97},
		{"seen on double brick", denseSeen, dense, 0.3, 0.6},
		{"active calls opened", decisive["active"], calls["active"], 0.6, 0.85},
		{"clear calls opened", decisive["clear"], calls["clear"], 0.03, 0.06},
		{"rechecks", purposes(s)["recheck"], len(s.visits), 0.03, 0.1},
	} {
		if share := float64(c.part) / float64(c.of); share < c.least || share > c.atMost || math.IsNaN(share) {
			t.Errorf("%s: %d of %d (%.3f), want %g to %g", c.name, c.part, c.of, share, c.least, c.atMost)
		}
	}
}

func purposes(s *scenario) map[string]int {
	out := map[string]int{}
	for _, v := range s.visits {
		out[v.purpose]++
	}
	return out
}

// TestTruthHoldsTogether draws small demos and checks what must hold in each.
func TestTruthHoldsTogether(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		months := rapid.IntRange(1, 8).Draw(t, "months")
		s, err := generate(Options{
			Seed:        rapid.Uint64().Draw(t, "seed"),
			Months:      months,
			Inspections: rapid.IntRange(months, 60*months).Draw(t, "inspections"),
		})
		if err != nil {
			t.Fatal(err)
		}
		booked := map[string]bool{}
		for _, v := range s.visits {
			slot := fmt.Sprint(v.tech.id, v.day, v.slot)
			if booked[slot] {
				t.Fatalf("%s has two visits in one slot", v.tech.id)
			}
			booked[slot] = true
			checkVisit(t, v)
		}
		for _, f := range s.found {
			checkFinding(t, f)
		}
	})
}

func checkVisit(t *rapid.T, v *visit) {
	if v.repeats != nil {
		gap := v.day.Sub(v.repeats.day)
		if v.repeats.site != v.site || v.repeats.tech == v.tech || gap < recheckSoonest*24*time.Hour || gap > recheckLatest*24*time.Hour {
			t.Fatalf("recheck %s of %s: other site, same technician or %v later", v.id, v.repeats.id, gap)
		}
		for i := range v.points {
			if v.points[i].active != v.repeats.points[i].active {
				t.Fatalf("recheck %s found another truth at %s", v.id, v.points[i].point.id)
			}
		}
	}
	for i := range v.points {
		pv := &v.points[i]
		for _, rd := range pv.readings {
			within := !rd.at.Before(v.start) && !rd.at.After(v.end)
			if !within || rd.gain < v.unit.gainMin || rd.gain > v.unit.gainMax || rd.level < 0 || rd.level > 100 || rd.battery < 0 || rd.hold <= 0 {
				t.Fatalf("%s: reading %+v is outside its visit or its unit's range", v.id, rd)
			}
		}
		ends := slices.IndexFunc(pv.readings, func(rd reading) bool { return rd.call != "unsure" })
		if (ends < 0) != (pv.call == "") {
			t.Fatalf("%s: call %q does not follow from %+v", v.id, pv.call, pv.readings)
		}
	}
}

// checkFinding holds a decisive finding to the truth at the visit that led to it.
func checkFinding(t *rapid.T, f *finding) {
	if (f.cause != "") != (f.result == "other_movement") {
		t.Fatalf("finding %s: result %s with cause %q", f.id, f.result, f.cause)
	}
	if f.visit == nil {
		return
	}
	if f.on.Before(f.visit.day) || f.on.Sub(f.visit.day) > 60*24*time.Hour {
		t.Fatalf("finding %s comes %v after its visit", f.id, f.on.Sub(f.visit.day))
	}
	if active := f.visit.points[f.place].active; active != (f.result == "active") {
		t.Fatalf("finding %s says %s, truth at %s was active=%t", f.id, f.result, f.visit.id, active)
	}
}
