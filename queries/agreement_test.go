package queries

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// TestPublishedKappaThroughRecords writes the cross-tabulation A*B of AIAG, Measurement Systems Analysis,
// 4th ed. (2010), as record files, each part a point of a site of its own, and finds its kappa again.
func TestPublishedKappaThroughRecords(t *testing.T) {
	raw, err := os.ReadFile("../testdata/published.json")
	if err != nil {
		t.Fatal(err)
	}
	var examples []struct {
		ID       string
		Input    struct{ Table [][]int }
		Expected map[string]any
	}
	if err := json.Unmarshal(raw, &examples); err != nil {
		t.Log("other examples have other inputs:", err)
	}
	for _, e := range examples {
		if e.ID != "aiag-msa-a-vs-b" {
			continue
		}
		var visits []visit
		for i, row := range e.Input.Table {
			for j, n := range row {
				for range n {
					calls := []string{"active", "clear"}
					visits = append(visits, visit{site: fmt.Sprintf("S%03d", len(visits)), point: "P1", material: "board", call: calls[i], recheck: calls[j]})
				}
			}
		}
		all := bookOf(t, visits).Agreement[0]
		if want := e.Expected["kappa"].(float64); math.Abs(float64(all.Kappa)-want) > 1e-9 || all.Pairs != 150 || all.Sites != 150 || !all.Enough {
			t.Errorf("kappa %v of %d pairs, published %v", all.Kappa, all.Pairs, want)
		}
		if want := e.Expected["gwet_ac1"].(float64); math.Abs(float64(all.AC1)-want) > 1e-9 {
			t.Errorf("AC1 %v, published %v", all.AC1, want)
		}
		return
	}
	t.Error("the example is gone")
}

// folder writes record files of two inspections, I1 by T1 and its recheck J1 by T2, with the readings and
// findings given.
func folder(t *testing.T, readings, findings string) string {
	t.Helper()
	dir := t.TempDir()
	files := map[string]string{
		"inspections.csv": "inspection_id,site_id,region,technician_id,started_at,ended_at,purpose,recheck_of,outcome\n" +
			"I1,S1,S,T1,2026-03-02T09:00:00+11:00,2026-03-02T10:00:00+11:00,routine,,clear\nJ1,S1,S,T2,2026-03-05T09:00:00+11:00,2026-03-05T10:00:00+11:00,recheck,I1,clear\n",
		"readings.csv": "reading_id,inspection_id,unit_id,point_id,taken_at,material,gain,level_pct,call,battery_pct,control\n" + readings,
		"findings.csv": "finding_id,site_id,point_id,found_on,method,result\n" + findings,
	}
	for name, content := range referenceFiles {
		files[name] = content
	}
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

var june = Options{AsOf: time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)}

// TestWhatIsPaired: a point called twice is a pair; an unsure call is counted apart; a point opened
// between the two calls, one called once and a control reading are none.
func TestWhatIsPaired(t *testing.T) {
	readings := ""
	add := func(inspection, point, call, control string) {
		day := map[string]string{"I1": "02", "J1": "05"}[inspection]
		readings += fmt.Sprintf("R%d,%s,U1,%s,2026-03-%sT09:10:00+11:00,board,3,9,%s,,%s\n", len(readings), inspection, point, day, call, control)
	}
	for _, inspection := range []string{"I1", "J1"} {
		add(inspection, "P1", "active", "")
		add(inspection, "P2", "clear", "")
		add(inspection, "P3", map[string]string{"I1": "unsure", "J1": "clear"}[inspection], "")
		add(inspection, "P4", "active", "")
		add(inspection, "P5", "clear", "true")
		add(inspection, "P6", map[string]string{"I1": "clear", "J1": "active"}[inspection], "")
	}
	add("J1", "P7", "clear", "")
	b, _ := analyseFolder(t, folder(t, readings, "F1,S1,P4,2026-03-03,opened,active\nF2,S1,P6,2026-03-09,opened,active\nF3,S1,P1,2026-03-03,occupant_report,active\n"), june)
	if len(b.Agreement) != 3 {
		t.Fatalf("%+v", b.Agreement)
	}
	all, first, second := b.Agreement[0], b.Agreement[1], b.Agreement[2]
	if all.Pairs != 3 || all.Unsure != 1 || all.BothActive != 1 || all.BothClear != 1 || all.OnlyOther != 1 || all.OnlyThis != 0 || all.Enough || all.WhyNot != belowFloor {
		t.Errorf("all: %+v", all)
	}
	if first.TechnicianID != "T1" || first.OnlyOther != 1 || second.OnlyThis != 1 || second.OnlyOther != 0 || second.Direction != CallsSame {
		t.Errorf("T1 %+v, T2 %+v", first, second)
	}
	if len(b.AgreementMaterial) != 3 || b.AgreementMaterial[0].Material != "board" || b.AgreementMaterial[0].Pairs != 3 {
		t.Errorf("by material: %+v", b.AgreementMaterial)
	}
}

// TestWhatIsRepeated: two readings at one gain are a set, another gain or point or a control is none; the
// level and the call are counted by themselves. The same records say when the unit began, what lay
// outside, and how the battery fell.
func TestWhatIsRepeated(t *testing.T) {
	readings := "R1,I1,U1,P1,2026-03-02T08:59:00+11:00,brick,2,10,clear,80,\n" + // before the start
		"R2,I1,U1,P1,2026-03-02T09:12:00+11:00,brick,2,14,active,79,\n" +
		"R3,I1,U1,P1,2026-03-02T09:14:00+11:00,brick,3,50,active,78,\n" +
		"R4,I1,U1,P2,2026-03-02T09:20:00+11:00,brick,4,,clear,,\n" +
		"R5,I1,U1,P2,2026-03-02T09:21:00+11:00,brick,4,7,clear,,\n" +
		"R6,I1,U1,P3,2026-03-02T09:22:00+11:00,brick,2,5,clear,,\n" +
		"R7,I1,U1,P3,2026-03-02T09:59:00+11:00,brick,5,6,unsure,70,\n" +
		"R8,I1,U1,P9,2026-03-02T10:05:00+11:00,brick,2,3,clear,,true\n" + // after the end
		"R9,I1,U1,P9,2026-03-02T10:06:00+11:00,brick,2,4,clear,,true\n"
	b, _ := analyseFolder(t, folder(t, readings, ""), june)
	all := b.Repeats[0]
	if all.Sets != 1 || all.Readings != 2 || math.Abs(float64(all.LevelSD)-math.Sqrt(8)) > 1e-9 || all.CallSets != 2 || all.SameCalls != 1 || all.Enough {
		t.Errorf("repeats: %+v", all)
	}
	use := b.UnitUse[0]
	if use.Readings != 9 || use.Outside != 3 || use.Visits != 0 || use.Clock != ClockTooFew || use.ChargeVisits != 1 || use.ChargeEnough {
		t.Errorf("use: %+v", use)
	}
	if len(b.UnitLevels) != 1 || b.UnitLevels[0].MedianLevel != 3.5 || b.UnitLevels[0].Used {
		t.Errorf("levels: %+v", b.UnitLevels)
	}
	gain := b.GainUse[0]
	if gain.Readings != 0 || gain.NotCompared != 7 || gain.Starts != 3 || gain.StartedElsewhere != 1 || gain.DenseClear != 3 || gain.SteppedUp != 2 || gain.Distance.Known() {
		t.Errorf("gain: %+v", gain)
	}
}

// TestAddsUp: on the small demo, pairs by material add up to all pairs, each pair is in the rows of two
// technicians, and every reading is accounted for by unit and by technician.
func TestAddsUp(t *testing.T) {
	b := smallDemo(t, 2)
	var byTechnician, byMaterial, byBoth, byUnit, inUse, mixed, readings, controls int64
	for _, r := range b.Agreement[1:] {
		byTechnician += r.Pairs + r.Unsure
	}
	for _, r := range b.AgreementMaterial {
		if r.TechnicianID == AllTechnicians {
			byMaterial += r.Pairs + r.Unsure
		} else {
			byBoth += r.Pairs + r.Unsure
		}
	}
	all := b.Agreement[0].Pairs + b.Agreement[0].Unsure
	if all == 0 || byMaterial != all || byTechnician != 2*all || byBoth != 2*all {
		t.Errorf("%d points called twice: %d by material, %d by technician, %d by both", all, byMaterial, byTechnician, byBoth)
	}
	for _, r := range b.Flow {
		switch r.Step {
		case "readings":
			readings += r.N
		case "control_readings":
			controls += r.N
		}
	}
	for _, r := range b.Units {
		byUnit += r.Readings
	}
	for _, r := range b.UnitUse {
		inUse += r.Readings
	}
	for _, r := range b.GainUse {
		mixed += r.Readings + r.NotCompared
	}
	if readings == 0 || byUnit != readings || inUse != readings || mixed != readings-controls {
		t.Errorf("%d readings, %d of them controls: %d by unit, %d in use of units, %d in use of gain", readings, controls, byUnit, inUse, mixed)
	}
	var alarms int64
	for _, r := range b.Units {
		alarms += r.ObservedInService + r.ObservedOverdue
	}
	if want := b.Accuracy[0].FalseAlarms; alarms > want {
		t.Errorf("%d false alarms by unit, %d in all", alarms, want)
	}
}
