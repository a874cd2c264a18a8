package instrument

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// rounds are visits of four technicians with four units in turn; one technician begins late, and the
// unit named has a clock that is off by so many seconds. Batteries last nine hours.
func rounds(seed uint64, odd string, off float64) []UseVisit {
	r := rand.New(rand.NewPCG(seed, 13))
	var out []UseVisit
	for i := range 400 {
		unit, technician := fmt.Sprint("U", r.IntN(4)), r.IntN(4)
		v := UseVisit{Unit: unit, Technician: fmt.Sprint("T", technician), Visit: fmt.Sprintf("I%03d", i), Delay: 180 + 480*r.Float64(), Readings: 20, Charged: true}
		v.Hours = 0.2 + r.Float64()
		v.Drop = v.Hours * 100 / 9 * (0.7 + 0.6*r.Float64())
		if technician == 0 {
			v.Delay += 600
		}
		if unit == odd {
			v.Delay += off
		}
		out = append(out, v)
	}
	return out
}

// TestClocks: a unit whose clock is off by some minutes is told from one whose technician begins late,
// and without one hardly a unit is named.
func TestClocks(t *testing.T) {
	found, wrong := 0, 0
	for seed := range uint64(50) {
		uses, err := Uses(rounds(seed, "U2", -420), 0.95)
		if err != nil {
			t.Fatal(err)
		}
		for _, u := range uses {
			if u.Unit == "U2" && u.ClockOff == -1 {
				found++
			}
		}
		level, err := Uses(rounds(seed, "", 0), 0.95)
		if err != nil {
			t.Fatal(err)
		}
		for _, u := range level {
			if u.ClockOff != 0 {
				wrong++
			}
		}
	}
	t.Logf("found in %d of 50, named without cause %d of 200", found, wrong)
	if found < 45 || wrong > 4 {
		t.Errorf("found in %d of 50, named without cause %d of 200", found, wrong)
	}
}

// TestCharge: the hours on one charge are found again, and too little of a fall says nothing.
func TestCharge(t *testing.T) {
	uses, err := Uses(rounds(1, "", 0), 0.95)
	if err != nil {
		t.Fatal(err)
	}
	for _, u := range uses {
		if !u.ChargeEnough || !(u.Charge.Low < 9 && 9 < u.Charge.High) || u.Charge.High-u.Charge.Low > 1.5 {
			t.Errorf("%s: %+v", u.Unit, u.Charge)
		}
	}
	thin, err := Uses(rounds(1, "", 0)[:30], 0.95)
	if err != nil {
		t.Fatal(err)
	}
	for _, u := range thin {
		if u.ChargeEnough || !math.IsNaN(u.Charge.Value) || u.ClockEnough || u.ClockOff != 0 {
			t.Errorf("%s: %+v", u.Unit, u)
		}
	}
	alone, err := Uses([]UseVisit{{Unit: "U", Technician: "T", Visit: "I", Delay: 60, Readings: 3, Outside: 1}}, 0.95)
	if err != nil || alone[0].Visits != 0 || alone[0].Outside != 1 || !math.IsNaN(alone[0].Delay.Value) {
		t.Errorf("%+v, %v", alone, err)
	}
}

// TestLevelDrift: a level that climbs is found, level ones hardly ever, and few months say nothing.
func TestLevelDrift(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 2))
	found, wrong := 0, 0
	for range 50 {
		var months []LevelMonth
		for unit := range 6 {
			for m := range 18 {
				level := 6 + r.NormFloat64()
				if unit == 0 {
					level += 0.4 * float64(m)
				}
				months = append(months, LevelMonth{fmt.Sprint("U", unit), fmt.Sprintf("2025-%02d", m), 2, 3 + r.IntN(5), level}, LevelMonth{fmt.Sprint("U", unit), fmt.Sprintf("2025-%02d", m), 3, 2, 50})
			}
		}
		months = append(months, LevelMonth{"U9", "2025-01", 2, 9, 4})
		units, err := LevelDrift(months, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		for _, u := range units {
			switch {
			case u.Unit == "U9" && (u.Enough || u.RisesOrFalls != 0 || u.Months != 1):
				t.Fatalf("%+v", u)
			case u.Unit == "U0" && u.RisesOrFalls == 1:
				found++
			case u.RisesOrFalls != 0:
				wrong++
			case u.Unit != "U9" && (u.Gain != 2 || u.Months != 18):
				t.Fatalf("%+v", u)
			}
		}
	}
	t.Logf("found in %d of 50, named without cause %d of 250", found, wrong)
	if found < 48 || wrong > 12 {
		t.Errorf("found in %d of 50, named without cause %d of 250", found, wrong)
	}
	if none, err := LevelDrift(nil, 0.95); err != nil || len(none) != 0 {
		t.Errorf("%v, %v", none, err)
	}
}
