package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"scanledger/ingest/demo"
)

// TestDemoPatternsShowWhatWasPlanted: the planted wind, water pipes and overdue unit are among the patterns of false
// alarms, the first two with the cause they were planted with.
func TestDemoPatternsShowWhatWasPlanted(t *testing.T) {
	raw, err := os.ReadFile(filepath.Join(theDemo(t), "out", "results", "false_alarm_patterns.json"))
	if err != nil {
		t.Fatal(err)
	}
	type row struct {
		Factors      string
		LeadingCause string `json:"leading_cause"`
	}
	var result struct{ Rows []row }
	if err := json.Unmarshal(raw, &result); err != nil {
		t.Fatal(err)
	}
	shown := func(cause string, terms ...string) bool {
		return slices.ContainsFunc(result.Rows, func(r row) bool {
			return !slices.ContainsFunc(terms, func(t string) bool { return !strings.Contains(r.Factors, t) }) && r.LeadingCause == cause
		})
	}
	for _, f := range demo.Planted() {
		switch f.Name {
		case "wind":
			if !shown("wind_or_loose_sheet", "material="+f.Subject, "wind_band=") {
				t.Errorf("not shown: %s", f.Sentence)
			}
		case "water_pipes":
			if !shown("water_pipe", "region="+f.Subject, "material=double_brick") {
				t.Errorf("not shown: %s", f.Sentence)
			}
		case "overdue_unit":
			if !shown("unknown", "unit_overdue=yes") && !shown("unknown", "unit_id="+f.Subject) {
				t.Errorf("not shown: %s", f.Sentence)
			}
		}
	}
	if len(result.Rows) > 8 {
		t.Errorf("%d patterns shown", len(result.Rows))
	}
}
