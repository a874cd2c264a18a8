package queries

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// logOfHolds takes in one inspection in which one unit held one point after another, active each, a hold's levels
// given a quarter second apart, and the points opened with the given results. It analyses them.
func logOfHolds(t *testing.T, holds [][]float64, found []string) *Book {
	t.Helper()
	dir, at := t.TempDir(), time.Date(2026, 3, 1, 22, 0, 0, 0, time.UTC)
	readings, samples, findings := &strings.Builder{}, &strings.Builder{}, &strings.Builder{}
	readings.WriteString("reading_id,inspection_id,unit_id,point_id,taken_at,material,gain,call\n")
	samples.WriteString(sampleHeader)
	findings.WriteString("finding_id,site_id,point_id,inspection_id,found_on,method,result\n")
	for i, levels := range holds {
		at = at.Add(time.Duration(60+i*i%7*11) * time.Second)
		for _, level := range levels {
			fmt.Fprintf(samples, "U1,%s,true,3,%s,80\n", at.Format("2006-01-02T15:04:05.000Z"), fmt.Sprint(level))
			at = at.Add(250 * time.Millisecond)
		}
		fmt.Fprintf(readings, "R%02d,I1,U1,P%02d,%s,board,3,active\n", i, i, at.Add(3*time.Second).Format(time.RFC3339))
		if found != nil {
			fmt.Fprintf(findings, "F%02d,A,P%02d,I1,2026-03-09,opened,%s\n", i, i, found[i])
		}
	}
	files := map[string]string{"inspections.csv": "inspection_id,site_id,region,technician_id,started_at,purpose,outcome\nI1,A,S,T1,2026-03-02T09:00:00+11:00,routine,active\n",
		"readings.csv": readings.String(), "unit_log.csv": samples.String(), "findings.csv": findings.String()}
	for name, content := range referenceFiles {
		files[name] = content
	}
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	b, _ := analyseFolder(t, dir, Options{AsOf: time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)})
	return b
}

func still(r *rand.Rand, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = math.Round(50+10*r.Float64()) / 10
	}
	return out
}

// TestPublishedSeriesThroughRecords: lynx, sunspots and white noise, loaded as unit logs, come out of the analysis with the
// g and p that R gives them (Fisher 1929; R data sets lynx, sunspot.year). Levels are the series, moved and scaled
// into the scale above the noise, which changes neither.
func TestPublishedSeriesThroughRecords(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	ids := []string{"log10-lynx", "sunspot-year-1800-1899", "white-noise-41"}
	var holds [][]float64
	for range 6 { // of which the noise is known
		holds = append(holds, still(r, 120))
	}
	type example struct {
		Input    struct{ X []float64 }
		Expected struct {
			G float64
			P float64 `json:"p_value"`
		}
	}
	want := map[string]example{}
	for _, id := range ids {
		var e example
		published(t, id, &e)
		want[fmt.Sprintf("R%02d", len(holds))] = e
		low, high := math.Inf(1), math.Inf(-1)
		for _, x := range e.Input.X {
			low, high = min(low, x), max(high, x)
		}
		var levels []float64
		for _, x := range e.Input.X {
			levels = append(levels, 20+70*(x-low)/(high-low))
		}
		holds = append(holds, levels)
	}
	b := logOfHolds(t, holds, nil)
	if len(b.Signatures.Moved) != 3 || b.Signatures.Searched != 2 {
		t.Fatalf("moved %d, searched %d: the white noise is shorter than a search needs", len(b.Signatures.Moved), b.Signatures.Searched)
	}
	for _, row := range b.Signatures.Moved {
		e := want[row.ReadingID]
		if len(e.Input.X) < 60 {
			if row.P.Known() || row.Periodic {
				t.Errorf("%s: a period of too few samples: %+v", row.ReadingID, row)
			}
			continue
		}
		close(t, row.ReadingID+" g", row.G, e.Expected.G, 1e-6)
		close(t, row.ReadingID+" white p", row.WhiteP, e.Expected.P, 1e-6)
		if !row.Periodic || row.Q > 0.01 {
			t.Errorf("%s is not said to be periodic: %+v", row.ReadingID, row)
		}
	}
}

// TestLooks plants each look and finds it, and nothing where only bursts moved.
func TestLooks(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 2))
	burst := func(levels []float64, from, to int, level float64) []float64 {
		for i := from; i < to; i++ {
			levels[i] = level
		}
		return levels
	}
	swing := still(r, 120)
	for i := range swing {
		swing[i] += 30 * (1 + math.Sin(2*math.Pi*float64(i)/9))
	}
	var holds [][]float64
	for range 8 {
		holds = append(holds, still(r, 120))
	}
	holds = append(holds, swing, burst(still(r, 120), 0, 9, 55), burst(still(r, 120), 40, 80, 100), burst(burst(still(r, 120), 30, 37, 60), 90, 110, 45))
	for range 8 { // so that those that moved are few among their neighbours
		holds = append(holds, still(r, 120))
	}
	b := logOfHolds(t, holds, nil)
	got := map[string]string{}
	for _, row := range b.Signatures.Moved {
		got[row.ReadingID] = strings.Join(row.Looks(), " ")
	}
	want := map[string]string{"R08": "periodic any", "R09": "handling any", "R10": "full any", "R11": ""}
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

// TestTogether: where most points around a hold moved, they moved together.
func TestTogether(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	var holds [][]float64
	for i := range 12 {
		levels := still(r, 40)
		if i >= 8 {
			for k := 10; k < 20; k++ {
				levels[k] = 50 + float64(k*k%11)
			}
		}
		holds = append(holds, levels)
	}
	together := func(holds [][]float64) string {
		var out []string
		for _, row := range logOfHolds(t, holds, nil).Signatures.Moved {
			out = append(out, fmt.Sprintf("%s %v %d/%d", row.ReadingID, row.Together, row.PointsMoved, row.PointsNear))
		}
		return strings.Join(out, ", ")
	}
	// Points lie one to two minutes apart, and the last four move.
	if got, want := together(holds), "R08 false 3/9, R09 false 3/8, R10 false 3/7, R11 true 3/6"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

// TestSignatureCheck: periodic calls are false alarms far oftener here, and the check says so; the same with the findings
// the other way round says fewer; and with few calls nothing.
func TestSignatureCheck(t *testing.T) {
	calls := func(sites, periodicFalse, otherFalse int) (out []loggedCall, moved []SignatureRow) {
		for s := range sites {
			for i := range 2 {
				point := fmt.Sprint(s, "-", i)
				wrong := i == 0 && s*7%10 < periodicFalse || i == 1 && s*7%10 < otherFalse
				out = append(out, loggedCall{site: fmt.Sprint(s), inspection: fmt.Sprint(s), point: point, falseAlarm: wrong, unit: "U1", day: "2026-03-02", hold: int64(2*s + i)})
				if i == 0 {
					moved = append(moved, SignatureRow{UnitID: "U1", Date: "2026-03-02", HoldNo: int64(2 * s), Periodic: true, Onset: "none"})
				}
			}
		}
		return out, moved
	}
	for _, c := range []struct {
		name                    string
		sites, periodic, others int
		want                    string
	}{{"more", 60, 8, 2, LookMore}, {"fewer", 60, 2, 8, LookFewer}, {"alike", 60, 5, 5, LookNotShown}, {"few", 20, 8, 2, LookTooFew}} {
		all, moved := calls(c.sites, c.periodic, c.others)
		rows, err := checkLooks(all, moved, 30)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range rows {
			if r.With+r.Without != 2*c.sites || r.Calls != 2*c.sites {
				t.Errorf("%s: calls are lost: %+v", c.name, r)
			}
			if want := map[string]string{LookPeriodic: c.want, LookAny: c.want}[r.Look]; r.Says != want && (want != "" || r.Says != LookTooFew) {
				t.Errorf("%s: %s says %s, want %s", c.name, r.Look, r.Says, want)
			}
		}
	}
}

// TestCheckOfLooksThroughRecords: a periodic call that was opened counts as what was found.
func TestCheckOfLooksThroughRecords(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	swing := still(r, 120)
	for i := range swing {
		swing[i] += 30 * (1 + math.Sin(2*math.Pi*float64(i)/9))
	}
	holds, found := [][]float64{swing}, []string{"other_movement"}
	for range 5 {
		holds, found = append(holds, still(r, 120)), append(found, "active")
	}
	for _, row := range logOfHolds(t, holds, found).SignatureCheck {
		if row.Look == LookPeriodic && (row.With != 1 || row.WithFalse != 1 || row.Without != 5 || row.WithoutFalse != 0 || row.Says != LookTooFew) {
			t.Errorf("%+v", row)
		}
	}
}
