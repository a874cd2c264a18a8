package instrument

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"

	"scanledger/queries/stats"
)

// fleet is a world of units handed out anew each month. Technicians, materials, seasons and sites differ
// in how often still points seem to move; units do not, but for one that may.
type fleet struct {
	units, technicians, months, visits int     // visits of a unit in a month
	bad                                float64 // how many times as often the bad unit, U00, sees movement
	drift                              float64 // how many times as often one technician does in the last third
	badFrom                            int     // month
	overdue                            bool    // from that month on it is past its service date
}

// usual is a business of middling size over a year and a half.
var usual = fleet{units: 10, technicians: 14, months: 18, visits: 14, bad: 1, drift: 1, badFrom: 12, overdue: true}

func (f fleet) visited(seed uint64) []Visited {
	r := rand.New(rand.NewPCG(seed, 29))
	restless := distuv.Gamma{Alpha: 2, Beta: 2, Src: r}
	habit := make([]float64, f.technicians)
	for i := range habit {
		habit[i] = math.Exp(0.35 * r.NormFloat64())
	}
	habit[len(habit)/2] = 2.5
	var out []Visited
	site := 0
	for month := range f.months {
		people, season := r.Perm(f.technicians), fmt.Sprint("R", r.IntN(3), " ", month%4)
		for unit := range f.units {
			technician := people[unit%f.technicians]
			late := unit == 0 && f.overdue && month >= f.badFrom
			for range f.visits {
				site++
				at := restless.Rand()
				for material, base := range []float64{0.05, 0.03, 0.015} {
					chance := base * habit[technician] * (1 + 0.2*float64(month%4)) * at
					if unit == 0 && month >= f.badFrom {
						chance *= f.bad
					}
					if technician == 0 && 3*month >= 2*f.months {
						chance *= f.drift
					}
					v := Visited{fmt.Sprintf("U%02d", unit), late, fmt.Sprintf("S%05d", site), fmt.Sprint("M", material), season, fmt.Sprintf("T%02d", technician), fmt.Sprintf("%d-%02d", 2024+(month+3)/12, 1+(month+3)%12/6*6), 1 + r.IntN(5), 0}
					for range v.Points {
						if r.Float64() < min(chance, 0.6) {
							v.FalseAlarms++
						}
					}
					out = append(out, v)
				}
			}
		}
	}
	return out
}

// TestNullFleets: over 200 seeded worlds in which no unit is worse than another, at most one in twenty
// has any unit that asks for action, also where one technician comes to see movement four times as often;
// the limits of ratios hold 1 about as often as they say.
func TestNullFleets(t *testing.T) {
	drifting := usual
	drifting.drift = 4
	for name, world := range map[string]fleet{"alike": usual, "a technician drifts": drifting} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			const worlds = 200
			acting, held, judged := 0, 0, 0
			for seed := range uint64(worlds) {
				units, err := FalseAlarms(world.visited(seed), 30, 0.95)
				if err != nil {
					t.Fatal(err)
				}
				acts := false
				for _, u := range units {
					if u.Enough {
						judged++
						if u.Ratio.Low <= 1 && 1 <= u.Ratio.High {
							held++
						}
					}
					acts = acts || u.Beyond == 2
				}
				if acts {
					acting++
				}
			}
			t.Logf("%d of %d null worlds have a unit that asks for action; limits hold 1 in %.1f %% of %d", acting, worlds, 100*float64(held)/float64(judged), judged)
			if acting > worlds*5/100 || judged < worlds*world.units || float64(held) < 0.92*float64(judged) {
				t.Errorf("%d of %d null worlds have a unit that asks for action; limits hold 1 in %d of %d", acting, worlds, held, judged)
			}
		})
	}
}

// TestPlantedUnits: a unit with three times the false alarms while overdue, and one in service
// throughout with twice, are found in at least 85 % of worlds, and it is they that are found.
func TestPlantedUnits(t *testing.T) {
	overdue, always := usual, usual
	overdue.bad = 3
	always.bad, always.badFrom, always.overdue = 2, 0, false
	for name, world := range map[string]fleet{"overdue": overdue, "in service": always} {
		const worlds = 40
		found, others := 0, 0
		for seed := range uint64(worlds) {
			units, err := FalseAlarms(world.visited(1000+seed), 30, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			for _, u := range units {
				switch {
				case u.Beyond == 2 && u.Unit == "U00" && u.Overdue == world.overdue && u.Z > 0:
					found++
				case u.Beyond == 2:
					others++
				}
			}
		}
		t.Logf("%s: found in %d of %d worlds, %d others", name, found, worlds, others)
		if found < worlds*85/100 || others > 2 {
			t.Errorf("%s: found in %d of %d worlds, %d others", name, found, worlds, others)
		}
	}
}

// TestFactorsAgainstMaximumLikelihood: with so many events that spreads do not matter, what the model
// expects and its doubt about the sum are those of the logistic model that stats fits.
func TestFactorsAgainstMaximumLikelihood(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	var cells []cell
	var tallies []tally
	glm := stats.GLMInput{Family: stats.Binomial, Link: stats.LinkLogit}
	for i := range 3 {
		for j := range 4 {
			points := int(1e6 * (1 + r.Float64()))
			events := int(float64(points) * 0.02 * (1 + float64(i)) * (1 + 0.5*float64(j)) * (0.8 + 0.4*r.Float64()))
			cells, tallies = append(cells, cell{i, j, 0, 0}), append(tallies, tally{points, events})
			row := make([]float64, 6)
			row[0] = 1
			if i > 0 {
				row[i] = 1
			}
			if j > 0 {
				row[2+j] = 1
			}
			glm.X, glm.Y, glm.Trials = append(glm.X, row), append(glm.Y, float64(events)), append(glm.Trials, float64(points))
		}
	}
	model, err := fitFactors(cells, tallies, [factorCount]int{3, 4, 1, 1}, nil)
	if err != nil {
		t.Fatal(err)
	}
	fit, err := stats.FitGLM(glm)
	if err != nil {
		t.Fatal(err)
	}
	slope := mat.NewVecDense(6, nil)
	for i, c := range cells {
		if got := model.chance(c); math.Abs(got/fit.Fitted[i]-1) > 1e-4 {
			t.Errorf("cell %v: %v, maximum likelihood %v", c, got, fit.Fitted[i])
		}
		slope.AddScaledVec(slope, float64(tallies[i].points)*fit.Fitted[i]*(1-fit.Fitted[i]), mat.NewVecDense(6, glm.X[i]))
	}
	if got, want := model.doubt(cells, tallies), mat.Inner(slope, fit.Cov, slope); math.Abs(got/want-1) > 1e-3 {
		t.Errorf("variance of the sum %v, maximum likelihood %v", got, want)
	}
}

// TestAlarmsProperties: every point and false alarm is counted once, the order of rows does not matter,
// and nothing is judged that cannot be.
func TestAlarmsProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		world := fleet{rapid.IntRange(1, 4).Draw(t, "units"), rapid.IntRange(1, 4).Draw(t, "technicians"), rapid.IntRange(1, 3).Draw(t, "months"),
			rapid.IntRange(1, 6).Draw(t, "visits"), 1, 1, rapid.IntRange(0, 3).Draw(t, "from"), rapid.Bool().Draw(t, "overdue")}
		rows := world.visited(rapid.Uint64().Draw(t, "seed"))
		got, err := FalseAlarms(rows, 30, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		points := 0
		for _, v := range rows {
			points += v.Points
		}
		slices.Reverse(rows)
		again, err := FalseAlarms(rows, 30, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		for i, u := range got {
			points -= u.Points + u.Alone
			if fmt.Sprint(u) != fmt.Sprint(again[i]) {
				t.Fatalf("turned round: %+v, was %+v", again[i], u)
			}
			if u.Points == 0 && (u.Enough || !math.IsNaN(u.Ratio.Value)) || u.Enough && (!(u.Ratio.Low <= u.Ratio.Value && u.Ratio.Value <= u.Ratio.High) || !(u.Q >= u.P-1e-12)) || !u.Enough && u.Beyond != 0 {
				t.Fatalf("%+v", u)
			}
		}
		if points != 0 {
			t.Fatalf("%d points not accounted for", points)
		}
	})
}
