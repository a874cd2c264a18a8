package people

import (
	"testing"
)

func TestBadCasesAreRefused(t *testing.T) {
	for name, c := range map[string]Case{
		"no such technician":   {Technician: -1, Points: 1},
		"more calls than ever": {Points: 1, Active: 1, Clear: 1},
		"found by nobody":      {Points: 1, Active: 1, ActiveVerified: 1},
		"missed unverified":    {Points: 1, Clear: 1, Missed: 1, Found: 1},
	} {
		if _, err := NewPanel([]Case{c}); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

// TestThinPanels: nothing, or too little to judge by, judges nobody and fails nowhere.
func TestThinPanels(t *testing.T) {
	one := Case{Points: 1, Active: 1, ActiveVerified: 1, FalseAlarms: 1}
	for name, cases := range map[string][]Case{"nothing": nil, "one call": {one}, "all false": {one, one, {Technician: 1, Points: 1, Active: 1, ActiveVerified: 1, FalseAlarms: 1}}} {
		p, err := NewPanel(cases)
		if err != nil {
			t.Fatal(err)
		}
		verdicts, months := judged(t, p)
		for _, v := range verdicts {
			if v.Enough || v.WhyNot == "" || v.Standing != InLine {
				t.Errorf("%s: %+v", name, v)
			}
		}
		for _, m := range months {
			if m.Watched || m.Signal != None {
				t.Errorf("%s: %+v", name, m)
			}
		}
	}
}
