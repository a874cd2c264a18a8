package people

import (
	"math/rand/v2"
	"sync/atomic"
	"testing"
)

func compared(t *testing.T, p Panel) []Verdict {
	t.Helper()
	out, err := Compare(p, 30)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// TestNullWorlds: with nobody out of line, at most one world in twenty has anyone in act on any measure.
func TestNullWorlds(t *testing.T) {
	for name, change := range map[string]func(*world){
		"usual": func(*world) {},
	} {
		t.Run(name, func(t *testing.T) {
			var acts, watches, by [3]atomic.Int64
			var anyone atomic.Int64
			eachWorld(t, 11, func(t *testing.T, _ int, r *rand.Rand) {
				w := usual(r)
				change(&w)
				some := false
				for i, v := range compared(t, w.panel(t, r)) {
					m := i / w.technicians
					if v.Enough {
						by[m].Add(1)
					}
					switch v.Standing {
					case Act:
						acts[m].Add(1)
						some = true
					case Edge:
						watches[m].Add(1)
					}
				}
				if some {
					anyone.Add(1)
				}
			})
			t.Logf("%d of %d worlds with anyone in act", anyone.Load(), worlds)
			for m := range measures {
				t.Logf("%s: judged %d act %d watch %d", measures[m].name, by[m].Load(), acts[m].Load(), watches[m].Load())
			}
			if anyone.Load() > worlds/20 {
				t.Errorf("%d of %d worlds have anyone in act", anyone.Load(), worlds)
			}
		})
	}
}

// TestPlantedWorlds: someone with 2.5 times the false alarms, someone with half the sensitivity.
func TestPlantedWorlds(t *testing.T) {
	var falseAlarms, missed, detections, either, others, worldsWithOthers atomic.Int64
	eachWorld(t, 12, func(t *testing.T, _ int, r *rand.Rand) {
		w := usual(r)
		w.falseFactor[3] = func(int) float64 { return 2.5 }
		w.sensitivityFactor[7] = 0.5
		w.falseFactor[10] = func(month int) float64 {
			if month >= 14 {
				return 4
			}
			return 1
		}
		some, found := false, false
		for _, v := range compared(t, w.panel(t, r)) {
			if v.Standing != Act {
				continue
			}
			switch {
			case v.Technician == 3 && v.Measure == FalseAlarms && v.Ratio > 1:
				falseAlarms.Add(1)
			case v.Technician == 7 && v.Measure == Missed && v.Ratio > 1:
				missed.Add(1)
				found = true
			case v.Technician == 7 && v.Measure == Detections && v.Ratio < 1:
				detections.Add(1)
				found = true
			case v.Technician != 3 && v.Technician != 7 && v.Technician != 10:
				others.Add(1)
				some = true
			}
		}
		if found {
			either.Add(1)
		}
		if some {
			worldsWithOthers.Add(1)
		}
	})
	t.Logf("false alarms %d, missed %d, detections %d, either %d; others %d in %d worlds", falseAlarms.Load(), missed.Load(), detections.Load(), either.Load(), others.Load(), worldsWithOthers.Load())
}
