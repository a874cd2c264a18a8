package people

import (
	"math/rand/v2"
	"sync"
	"testing"
	"time"
)

func TestDriftWorlds(t *testing.T) {
	var mu sync.Mutex
	delays := map[int]int{}
	var early, others, othersWorlds, always, lost int
	var spent time.Duration
	eachWorld(t, 13, func(t *testing.T, i int, r *rand.Rand) {
		w := usual(r)
		w.infested *= 1.8
		w.falseFactor[3] = func(int) float64 { return 2.5 }
		w.sensitivityFactor[7] = 0.5
		w.falseFactor[10] = func(month int) float64 {
			if month >= 14 {
				return 4
			}
			return 1
		}
		p := w.panel(t, r)
		start := time.Now()
		months, err := Watch(p, 200)
		if err != nil {
			t.Fatal(err)
		}
		mu.Lock()
		defer mu.Unlock()
		spent += time.Since(start)
		first := -1
		some := false
		for _, m := range months {
			if m.Signal == None {
				if i == 0 && m.Technician == 10 {
					t.Logf("%+v", m)
				}
				continue
			}
			switch {
			case m.Technician == 10 && m.Month < 14:
				early++
			case m.Technician == 10 && m.Signal == Up:
				if first < 0 {
					first = m.Month - 14
				}
			case m.Technician == 3:
				always++
			case m.Technician != 10:
				others++
				some = true
			}
		}
		if some {
			othersWorlds++
		}
		delays[first]++
		if first < 0 {
			lost++
		}
	})
	t.Log("delays", delays, "early", early, "always", always, "others", others, othersWorlds, spent)
}
