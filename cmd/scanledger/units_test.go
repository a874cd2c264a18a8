package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"scanledger/ingest/demo"
	"scanledger/queries"
)

// TestDemoUnitsShowWhatWasPlanted: the overdue unit is the one that asks for a look, for its false alarms
// past the service date, and nothing asks for a look at any other.
func TestDemoUnitsShowWhatWasPlanted(t *testing.T) {
	raw, err := os.ReadFile(filepath.Join(theDemo(t), "out", "results", "unit_health.json"))
	if err != nil {
		t.Fatal(err)
	}
	var result struct {
		Rows []struct {
			UnitID         string `json:"unit_id"`
			ServiceOverdue bool   `json:"service_overdue"`
			Standing       string
			JudgedOn       string `json:"judged_on"`
			Low, High      float64
		}
	}
	if err := json.Unmarshal(raw, &result); err != nil {
		t.Fatal(err)
	}
	planted := ""
	for _, f := range demo.Planted() {
		if f.Analysis == "unit_health" {
			planted = f.Subject
		}
	}
	found := false
	for _, r := range result.Rows {
		switch {
		case r.UnitID != planted && r.Standing != queries.InLine:
			t.Errorf("%+v was not planted", r)
		case r.UnitID == planted:
			found = r.Standing == queries.Act && r.ServiceOverdue && r.JudgedOn == queries.JudgedOverdue && r.Low < 3 && 3 < r.High
		}
	}
	if !found {
		t.Errorf("%s does not stand out as planted, with three times the false alarms: %+v", planted, result.Rows)
	}
}
