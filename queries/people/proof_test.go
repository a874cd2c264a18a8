package people

import (
	"math/rand/v2"
	"sync"
	"testing"
)

// runs is how many simulated runs limits come from here; results take more.
const runs = 100

// seen counts over worlds.
type seen struct {
	sync.Mutex
	worlds map[string]int
}

func (s *seen) add(what ...string) {
	s.Lock()
	defer s.Unlock()
	for _, w := range what {
		s.worlds[w]++
	}
}

// judged is what a world's technicians come out as.
func judged(t *testing.T, p Panel) ([]Verdict, []Month) {
	t.Helper()
	return compared(t, p), watched(t, p)
}

func compared(t *testing.T, p Panel) []Verdict {
	t.Helper()
	verdicts, err := Compare(p, 30)
	if err != nil {
		t.Fatal(err)
	}
	return verdicts
}

func watched(t *testing.T, p Panel) []Month {
	t.Helper()
	months, err := Watch(p, runs)
	if err != nil {
		t.Fatal(err)
	}
	return months
}

// TestNullWorlds: with nobody out of line, at most one world in twenty has anyone in act on any measure. A
// third of the worlds are plain, in a third the sites differ greatly in false movement, and in a third
// nearly all work of a technician is in one region. First signals of drift are as rare as it says, or at most half
// as frequent again.
func TestNullWorlds(t *testing.T) {
	s := seen{worlds: map[string]int{}}
	eachWorld(t, 11, func(t *testing.T, i int, r *rand.Rand) {
		w := usual(r)
		switch i % 3 {
		case 1:
			w.restless = 1.2
		case 2:
			w.tied = 0.95
		}
		p := w.panel(t, r)
		act := false
		for _, v := range compared(t, p) {
			act = act || v.Standing == Act
		}
		if act {
			s.add("act")
		}
		if i%4 != 0 {
			return // a quarter of the worlds tells enough of drift
		}
		told := map[int]bool{}
		for _, m := range watched(t, p) {
			if !m.Watched || told[m.Technician] {
				continue
			}
			s.add("months")
			if m.Signal != None {
				told[m.Technician] = true
				s.add("signals")
			}
		}
	})
	t.Log(s.worlds)
	if s.worlds["act"] > worlds/20 {
		t.Errorf("%d of %d worlds have anyone in act", s.worlds["act"], worlds)
	}
	if most := 3 * s.worlds["months"] / runLength / 2; s.worlds["signals"] > most {
		t.Errorf("%d signals in %d months of nobody drifting, want at most %d", s.worlds["signals"], s.worlds["months"], most)
	}
}

// planted is a business busy enough for a change to show, with 2.5 times the false alarms at technician 3,
// half the sensitivity at 7, and four times the false alarms from month 14 on at 10.
func planted(r *rand.Rand) world {
	w := usual(r)
	w.falseShare, w.infested = between(r, 0.08, 0.20), between(r, 0.6, 0.9)
	w.falseFactor[3] = func(int) float64 { return 2.5 }
	w.sensitivityFactor[7] = 0.5
	w.falseFactor[10] = func(month int) float64 {
		if month < 14 {
			return 1
		}
		return 4
	}
	return w
}

// driftWithin is the delay, in months, within which a four-fold drift is to signal.
const driftWithin = 7

// TestPlantedWorlds: each of three planted faults is found in 85 worlds of 100, the two lasting ones by the
// end of the 24 months, the drift within driftWithin months; the others are left alone in as many.
func TestPlantedWorlds(t *testing.T) {
	s := seen{worlds: map[string]int{}}
	eachWorld(t, 12, func(t *testing.T, _ int, r *rand.Rand) {
		verdicts, months := judged(t, planted(r).panel(t, r))
		found := map[string]bool{}
		for _, v := range verdicts {
			switch {
			case v.Standing != Act:
			case v.Technician == 3 && v.Measure == FalseAlarms:
				found["false alarms"] = true
			case v.Technician == 7 && v.Measure == Missed, v.Technician == 7 && v.Measure == Detections && v.Ratio < 1:
				found["sensitivity"] = true
				found["sensitivity by "+v.Measure] = true
			case v.Technician != 3 && v.Technician != 7 && v.Technician != 10:
				found["another"] = true
			}
		}
		for _, m := range months {
			switch {
			case m.Signal == None:
			case m.Technician == 10 && m.Signal == Up && m.Month >= 14 && m.Month < 14+driftWithin:
				found["drift"] = true
			case m.Technician == 3:
				found["drift of 3"] = true
			case m.Technician != 10:
				found["drift of another"] = true
			}
		}
		for what := range found {
			s.add(what)
		}
	})
	t.Log(s.worlds)
	for _, what := range []string{"false alarms", "sensitivity", "sensitivity by " + Missed, "drift"} {
		if s.worlds[what] < worlds*85/100 {
			t.Errorf("%s found in %d of %d worlds", what, s.worlds[what], worlds)
		}
	}
	if s.worlds["another"] > worlds/20 || s.worlds["drift of 3"] > worlds/20 {
		t.Errorf("others in act in %d worlds, the one always at 2.5 times taken for drifting in %d", s.worlds["another"], s.worlds["drift of 3"])
	}
}
