package people

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"testing"

	"pgregory.net/rapid"
)

// diaryOf draws a diary of so many months.
func diaryOf(t *rapid.T, months int) diary {
	d := diary{likeness: rapid.Float64Range(0, 0.6).Draw(t, "likeness"), months: make([][]visit, months)}
	for i := range d.months {
		for range rapid.IntRange(0, 6).Draw(t, "visits") {
			v := visit{odds: rapid.SliceOfN(rapid.Float64Range(0.01, 20), 1, 8).Draw(t, "odds")}
			v.events = rapid.IntRange(0, len(v.odds)).Draw(t, "events")
			d.months[i] = append(d.months[i], v)
		}
	}
	d.learnt = d.learn()
	return d
}

// TestSummedIsToldByMonth: the same events give the same course, whether they are told visit by visit or by sums of months.
func TestSummedIsToldByMonth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := diaryOf(t, rapid.IntRange(5, 30).Draw(t, "months"))
		want, err := d.follow(told{d, d.events()}, unlimited)
		if err != nil {
			t.Fatal(err)
		}
		got, err := d.follow(newSummed(d), unlimited)
		if err != nil {
			t.Fatal(err)
		}
		for i, w := range want {
			g := got[i]
			for _, pair := range [][2]float64{{g.trials, w.trials}, {g.events, w.events}, {g.expected, w.expected}, {g.level, w.level}, {g.own, w.own},
				{g.spread, w.spread}, {g.up, w.up}, {g.down, w.down}, {g.average, w.average}, {g.averageError, w.averageError}} {
				if math.Abs(pair[0]-pair[1]) > 1e-5*(1+math.Abs(pair[1])) {
					t.Fatalf("month %d: %+v by sums, %+v told", i, g, w)
				}
			}
		}
	})
}

// TestSummedDraws: histories drawn by sums have the mean and the variance of those drawn call by call, which are those of the
// binomial with calls of a visit alike.
func TestSummedDraws(t *testing.T) {
	const visits, calls, odds, level, runs = 40, 5, 0.5, 1.6, 4000
	d := diary{likeness: 0.3, months: make([][]visit, 1)}
	for range visits {
		d.months[0] = append(d.months[0], visit{odds: []float64{odds, odds, odds, odds, odds}})
	}
	p := odds * level / (1 + odds*level)
	mean, variance := visits*calls*p, visits*calls*p*(1-p)*(1+d.likeness*(calls-1))
	told, s, r := [2]float64{}, [2]float64{}, rand.New(rand.NewPCG(1, 2))
	sums := newSummed(d)
	for range runs {
		one := 0.0
		for _, events := range d.simulate(level, r)[0] {
			one += float64(events)
		}
		told[0], told[1] = told[0]+one, told[1]+one*one
		other := sums.draw(level, r).months[0].events
		s[0], s[1] = s[0]+other, s[1]+other*other
	}
	for how, sum := range map[string][2]float64{"call by call": told, "by sums": s} {
		gotMean, gotVariance := sum[0]/runs, sum[1]/runs-sum[0]/runs*sum[0]/runs
		if math.Abs(gotMean-mean) > 4*math.Sqrt(variance/runs) || math.Abs(gotVariance/variance-1) > 4*math.Sqrt(2.0/runs) {
			t.Errorf("%s: mean %v and variance %v, want %v and %v", how, gotMean, gotVariance, mean, variance)
		}
	}
}

// TestWatchWithAnyWorkers: how many technicians are watched at the same time changes nothing, of few calls and of many.
func TestWatchWithAnyWorkers(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	var cases []Case
	for technician := range 5 {
		calls := 2
		if technician > 2 {
			calls = 40 // simulated by sums
		}
		for site := range 8 {
			for month := range 14 {
				c := Case{Technician: technician, Site: site, Month: month, Points: calls, Active: calls, ActiveVerified: calls}
				for range calls {
					c.FalseAlarms += r.IntN(2)
				}
				c.Found = calls - c.FalseAlarms
				cases = append(cases, c)
			}
		}
	}
	p, err := NewPanel(cases)
	if err != nil {
		t.Fatal(err)
	}
	watched := func(workers int) string {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(workers))
		months, err := Watch(p, 200)
		if err != nil {
			t.Fatal(err)
		}
		return fmt.Sprintf("%+v", months)
	}
	one := watched(1)
	for _, workers := range []int{2, 7} {
		if watched(workers) != one {
			t.Errorf("%d workers watch otherwise than one", workers)
		}
	}
}
