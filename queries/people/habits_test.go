package people

import (
	"math"
	"testing"
)

func TestWhatChanged(t *testing.T) {
	habits := []Habit{
		{Technician: 0, Month: 0, Unit: 0, Gain: 3, Readings: 60, Holds: 60, HoldTenths: 60 * 300},
		{Technician: 0, Month: 1, Unit: 1, Gain: 3, Readings: 40, Holds: 40, HoldTenths: 40 * 300},
		{Technician: 0, Month: 2, Unit: 1, Gain: 5, Readings: 90, Holds: 90, HoldTenths: 90 * 100},
		{Technician: 0, Month: 3, Unit: 0, Gain: 3, Readings: 10},
		{Technician: 1, Month: 2, Unit: 2, Gain: 9, Readings: 500, Holds: 500, HoldTenths: 1},
	}
	before, since := WaysOf(habits, 0, 0, 1), WaysOf(habits, 0, 2, 3)
	if before.Gain != 3 || before.Hold != 30 || before.Unit != 0 || before.UnitShare != 0.6 {
		t.Errorf("before: %+v", before)
	}
	if since.Gain != 4.8 || since.Hold != 10 || since.Unit != 1 || since.UnitShare != 0.9 {
		t.Errorf("since: %+v", since)
	}
	if gain, unit, hold := Changed(before, since); !gain || !unit || !hold {
		t.Errorf("changed: gain %v, unit %v, hold %v", gain, unit, hold)
	}
	if gain, unit, hold := Changed(before, before); gain || unit || hold {
		t.Errorf("against itself: gain %v, unit %v, hold %v", gain, unit, hold)
	}
	if d, err := GainDistance(before, before); err != nil || d != 0 {
		t.Errorf("distance from itself %v, %v", d, err)
	}
	// All at step 3, then 0.1 at 3 and 0.9 at 5: by hand, sqrt(H(0.55) - H(0.1)/2) in bits.
	if d, err := GainDistance(before, since); err != nil || math.Abs(d-0.87079) > 1e-5 {
		t.Errorf("distance %v, %v", d, err)
	}
	if none := WaysOf(habits, 1, 0, 1); none.Readings != 0 || none.Unit != -1 || !math.IsNaN(none.Gain) {
		t.Errorf("no readings: %+v", none)
	}
}

// TestGaps: gaps count the points found active between missed ones, within a technician.
func TestGaps(t *testing.T) {
	var habits []Habit
	for i, missed := range []int{0, 1, 0, 1, 1, 1, 1} { // found 4 a day
		habits = append(habits, Habit{Technician: 0, Month: i / 2, Found: 4, Missed: missed})
	}
	habits = append(habits, Habit{Technician: 1, Month: 0, Found: 2, Missed: 1})
	got, err := Gaps(habits)
	if err != nil {
		t.Fatal(err)
	}
	want := []Gap{{Technician: 0, Month: 0, Missed: 1, Gap: 7}, {Technician: 0, Month: 1, Missed: 1, Gap: 7}, {Technician: 0, Month: 2, Missed: 2, Gap: 3},
		{Technician: 0, Month: 3, Missed: 1, Gap: 3}, {Technician: 1, Month: 0, Missed: 1, Gap: 1}}
	if len(got) != len(want) {
		t.Fatalf("%d gaps: %+v", len(got), got)
	}
	for i, g := range got {
		judged := g.Technician == 0
		if g.Month != want[i].Month || g.Missed != want[i].Missed || g.Gap != want[i].Gap || g.Judged != judged || g.Outside {
			t.Errorf("gap %d: %+v, want %+v", i, g, want[i])
		}
	}
}
