package queries

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"scanledger/queries/instrument"
)

// yearOf writes what a business of eight units and nine technicians tested in a year; U1 is overdue from
// the seventh month on and then raises three times the false alarms, U9 is new and hardly used.
func yearOf(r *rand.Rand) []unitCount {
	var out []unitCount
	site := 0
	for month := range 12 {
		people := r.Perm(9)
		for unit := range 8 {
			late := unit == 0 && month >= 6
			for range 15 {
				site++
				c := unitCount{part: "calls", unit: fmt.Sprint("U", unit+1), overdue: &late, site: fmt.Sprintf("S%04d", site), material: "board", season: "S summer",
					technician: fmt.Sprint("T", people[unit]), points: 8}
				for range c.points {
					chance := 0.05
					if late {
						chance = 0.15
					}
					if r.Float64() < chance {
						c.active, c.verified, c.falseAlarms = c.active+1, c.verified+1, c.falseAlarms+1
					}
				}
				out = append(out, c)
			}
		}
	}
	no, yes := false, true
	out = append(out, unitCount{part: "calls", unit: "U9", overdue: &no, site: "S9999", material: "board", season: "S summer", technician: "T0", points: 8, active: 1})
	for i, unit := range []string{"U1", "U2", "U3", "U4", "U5", "U6", "U7", "U8", "U9"} {
		c := unitCount{part: "unit", unit: unit, model: "M", points: 3000}
		switch i {
		case 0:
			c.overdue, c.due, c.falseAlarms = &yes, pointer("2026-06-30"), 1500
		case 1:
			c.overdue, c.due = &no, pointer("2027-06-30")
		}
		out = append(out, c)
	}
	return out
}

func pointer(s string) *string { return &s }

// TestUnitRows: the overdue unit is judged on what was tested past its date and asks for action; another
// is watched for its level and clock; one without enough is in line and not judged.
func TestUnitRows(t *testing.T) {
	counts := yearOf(rand.New(rand.NewPCG(1, 1)))
	drifts := []instrument.Drift{{Unit: "U2", Months: 12, Enough: true, RisesOrFalls: 1, Q: 0.01}, {Unit: "U3", Months: 12, Enough: true}}
	rows, err := unitBookOf(counts).judge(drifts, []UnitUseRow{{UnitID: "U2", Clock: ClockLate}, {UnitID: "U3", Clock: ClockOnTime}}, DefaultFloor)
	if err != nil || len(rows) != 9 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	one, two, three, nine := rows[0], rows[1], rows[2], rows[8]
	if one.Standing != Act || one.Alarms != AlarmsMore || one.JudgedOn != JudgedOverdue || one.ReadingsOverdue != 1500 || !*one.ServiceOverdue || !(one.Ratio > 2 && one.Low > 1.5) || one.Ratio != one.RatioOverdue ||
		!(one.RatioInService > 0.6 && one.RatioInService < 1.6) || one.Why != "more false alarms than expected; service overdue" {
		t.Errorf("U1: %+v", one)
	}
	if two.Standing != Watch || two.Why != "level on clear places rises; clock seems late" || two.Alarms != AlarmsExpected || two.VerifiedShare != 1 {
		t.Errorf("U2: %+v", two)
	}
	if three.Standing != InLine || three.Why != "" || three.Level != LevelSteady || three.ServiceOverdue != nil || three.RatioOverdue.Known() {
		t.Errorf("U3: %+v", three)
	}
	if nine.Enough || nine.Standing != InLine || nine.Alarms != AlarmsTooFew || nine.VerifiedShare != 0 || nine.Level != LevelTooFew || nine.Clock != ClockTooFew {
		t.Errorf("U9: %+v", nine)
	}
	said := unitsOutOfLine(&Book{Units: rows})
	if len(said) != 1 || !strings.HasPrefix(said[0].Text, "Unit U1 raised ") || !strings.Contains(said[0].Text, "past its service date") || said[0].Page != "units.html" {
		t.Errorf("findings: %+v", said)
	}
}

// TestFewerFalseAlarms: a unit that sees hardly any is watched or more, and no finding asks for action.
func TestFewerFalseAlarms(t *testing.T) {
	var counts []unitCount
	for _, c := range yearOf(rand.New(rand.NewPCG(3, 3))) {
		if c.unit == "U3" {
			c.falseAlarms = 0
		}
		if c.unit != "U1" {
			counts = append(counts, c)
		}
	}
	rows, err := unitBookOf(counts).judge(nil, nil, DefaultFloor)
	if err != nil || rows[1].UnitID != "U3" {
		t.Fatal(rows, err)
	}
	if r := rows[1]; r.Alarms != AlarmsFewer || r.Standing == InLine || r.Why != "fewer false alarms than expected" {
		t.Errorf("%+v", r)
	}
	if said := unitsOutOfLine(&Book{Units: rows}); len(said) != 0 {
		t.Errorf("%+v", said)
	}
}

func unitBookOf(counts []unitCount) *unitBook {
	b := &unitBook{}
	for _, c := range counts {
		b.add(c)
	}
	return b
}
