package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// ran runs the program and returns its exit code with what it wrote.
func ran(args ...string) (code int, out, problems string) {
	var o, p bytes.Buffer
	code = run(context.Background(), args, terminal{strings.NewReader(""), &o, &p})
	return code, o.String(), p.String()
}

func must(t *testing.T, args ...string) string {
	t.Helper()
	code, out, problems := ran(args...)
	if code != exitClean {
		t.Fatalf("%v: exit code %d: %s", args, code, problems)
	}
	return out
}

// storeOf makes a store with so many points called clear in March 2026, each read once, by three technicians;
// every fourth was held too short. Point Pj of inspection Ii is number 10 i + j.
func storeOf(t *testing.T, points int) string {
	t.Helper()
	records, dir := t.TempDir(), filepath.Join(t.TempDir(), "store")
	var inspections, readings strings.Builder
	inspections.WriteString("inspection_id,site_id,region,technician_id,started_at,purpose,outcome\n")
	readings.WriteString("reading_id,inspection_id,unit_id,point_id,taken_at,material,gain,hold_s,call\n")
	for i := range points {
		if i%10 == 0 {
			fmt.Fprintf(&inspections, "I%d,H%d,S,T%d,2026-03-%02dT09:00:00+11:00,routine,clear\n", i/10, i/10, i/10%3, 1+i/10%28)
		}
		fmt.Fprintf(&readings, "R%d,I%d,U1,P%d,2026-03-%02dT09:%02d:00+11:00,board,2,%d,clear\n", i, i/10, i%10, 1+i/10%28, i%10, []int{5, 20, 20, 20}[i%4])
	}
	for name, content := range map[string]string{
		"regions.csv": "region,label,season_scheme,time_zone,latitude\nS,South,south_four,Australia/Sydney,-33\n", "technicians.csv": "technician_id\nT0\nT1\nT2\n",
		"units.csv": "unit_id,gain_min,gain_max,gain_start\nU1,0,6,2\n", "materials.csv": "material,density_class\nboard,light\n",
		"inspections.csv": inspections.String(), "readings.csv": readings.String(),
	} {
		if err := os.WriteFile(filepath.Join(records, name), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	must(t, "load", "--quiet", "--store", dir, "--received", "2026-04-01T00:00:00Z", records)
	return dir
}

// sizesBy draws a trial sample and returns its sizes.
func sizesBy(t *testing.T, store string, rule ...string) drawn {
	t.Helper()
	args := append([]string{"sample", "--json", "--trial", "--risk-share", "0", "--store", store, "--month", "2026-03", "--out", filepath.Join(t.TempDir(), "out")}, rule...)
	var made drawn
	if err := json.Unmarshal([]byte(must(t, args...)), &made); err != nil {
		t.Fatal(err)
	}
	return made
}

// publishedExamples reads testdata/published.json, where every example names its source.
func publishedExamples(t *testing.T) []struct {
	Method          string
	Input, Expected json.RawMessage
} {
	t.Helper()
	raw, err := os.ReadFile("../../testdata/published.json")
	if err != nil {
		t.Fatal(err)
	}
	var out []struct {
		Method          string
		Input, Expected json.RawMessage
	}
	if err := json.Unmarshal(raw, &out); err != nil {
		t.Fatal(err)
	}
	return out
}

func into(t *testing.T, raw json.RawMessage, v any) {
	t.Helper()
	if err := json.Unmarshal(raw, v); err != nil {
		t.Fatal(err)
	}
}

// TestPublishedSampleSizes sends published examples through the whole command, from records to list: sizes to
// detect a share (Cannon and Roe 1982) and plans by code letter (MIL-STD-105E 1989, Tables I and II-A), for
// lots of up to 300 points.
func TestPublishedSampleSizes(t *testing.T) {
	stores := map[int]string{}
	storeFor := func(lot int) string {
		if stores[lot] == "" {
			stores[lot] = storeOf(t, lot)
		}
		return stores[lot]
	}
	lots := map[string]int{"A": 8, "B": 15, "C": 25, "D": 50, "E": 90, "F": 150, "G": 280, "H": 300}
	detected, planned := 0, 0
	for _, e := range publishedExamples(t) {
		switch e.Method {
		case "17-detection-sample-size":
			var in struct {
				Lot        []int `json:"lot_size"`
				Faults     []int `json:"nonconforming"`
				Confidence float64
			}
			var want struct {
				N []int `json:"n_exact_hypergeometric"`
			}
			into(t, e.Input, &in)
			into(t, e.Expected, &want)
			for i, lot := range in.Lot {
				if lot > 300 {
					continue
				}
				detected++
				got := sizesBy(t, storeFor(lot), "--detect", fmt.Sprint(float64(in.Faults[i])/float64(lot)), "--confidence", fmt.Sprint(in.Confidence))
				if got.Sizes.Frame != lot || got.Sizes.Random != want.N[i] {
					t.Errorf("%d at fault of %d: %+v, want %d", in.Faults[i], lot, got.Sizes, want.N[i])
				}
			}
		case "17-single-sampling-normal":
			var want struct {
				Plans []struct {
					Letter string  `json:"code_letter"`
					AQL    float64 `json:"aql_percent"`
					Size   int     `json:"sample_size"`
					Use    string  `json:"use_code_letter"`
					Accept int     `json:"ac"`
				}
			}
			into(t, e.Expected, &want)
			for _, p := range want.Plans {
				if lots[p.Letter] == 0 {
					continue
				}
				planned++
				got := sizesBy(t, storeFor(lots[p.Letter]), "--plan", "II", "--aql", fmt.Sprint(p.AQL))
				if got.Sizes.Random != p.Size || got.Sizes.Letter != p.Use || *got.Sizes.Accept != p.Accept {
					t.Errorf("letter %s at %g: %+v, want %+v", p.Letter, p.AQL, got.Sizes, p)
				}
			}
		}
	}
	if detected < 5 || planned < 8 {
		t.Errorf("only %d detection sizes and %d plans", detected, planned)
	}
}

// TestSampleOfTheDemo draws from the demo: the lists agree with one another, the chances add up to the size, the
// list for those who test again tells no call, and what the store keeps is what is drawn again.
func TestSampleOfTheDemo(t *testing.T) {
	dir := t.TempDir()
	if err := os.CopyFS(filepath.Join(dir, "store"), os.DirFS(filepath.Join(theDemo(t), "store"))); err != nil {
		t.Fatal(err)
	}
	args := []string{"sample", "--store", filepath.Join(dir, "store"), "--month", "2026-08", "--size", "50", "--seed", "9", "--out"}
	must(t, append(args, filepath.Join(dir, "one"))...)
	before := treeOf(t, filepath.Join(dir, "store"))
	must(t, append(args, filepath.Join(dir, "two"))...)
	compareTrees(t, treeOf(t, filepath.Join(dir, "one")), treeOf(t, filepath.Join(dir, "two")))
	compareTrees(t, before, treeOf(t, filepath.Join(dir, "store")))
	must(t, append(args, filepath.Join(dir, "three"), "--trial")...) // drawn anew
	compareTrees(t, treeOf(t, filepath.Join(dir, "one")), treeOf(t, filepath.Join(dir, "three")))
	must(t, "verify", "--store", filepath.Join(dir, "store"))

	files := treeOf(t, filepath.Join(dir, "one"))
	rows, err := csv.NewReader(strings.NewReader(files["sample.csv"])).ReadAll()
	if err != nil || len(rows) != 51 {
		t.Fatalf("%d rows (%v)", len(rows), err)
	}
	var s struct {
		Items []struct {
			Chance float64
			Part   string
		}
	}
	into(t, json.RawMessage(files["sample.json"]), &s)
	frame, err := csv.NewReader(strings.NewReader(files["frame.csv"])).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	sum, parts := 0.0, map[string]int{}
	for _, r := range frame[1:] {
		var chance float64
		if _, err := fmt.Sscan(r[16], &chance); err != nil {
			t.Fatal(err)
		}
		sum += chance
		parts[r[17]]++
	}
	if sum < 50-1e-8 || sum > 50+1e-8 || parts["random"] != 35 || parts["risk"] != 15 || len(s.Items) != 50 {
		t.Errorf("chances add up to %.12g, parts %v, %d items", sum, parts, len(s.Items))
	}
	blind := regexp.MustCompile(`(?s)<table.*</table>`).FindString(files["rechecks.html"])
	if blind == "" || regexp.MustCompile(`(?i)\b(clear|active|dense|gain|risk)`).MatchString(blind) {
		t.Error("the blind list tells what was called or why a point is on it")
	}
}

// TestAnswersAreWeighted draws a sample with some openings, brings every answer back as ordinary records, and
// compares what build says with what the lists say by hand.
func TestAnswersAreWeighted(t *testing.T) {
	storeDir, dir := storeOf(t, 400), t.TempDir()
	list := filepath.Join(dir, "list")
	must(t, "sample", "--store", storeDir, "--month", "2026-03", "--size", "80", "--openings", "45", "--out", list)
	rows, err := csv.NewReader(strings.NewReader(treeOf(t, list)["sample.csv"])).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	at := map[string]int{}
	for i, name := range rows[0] {
		at[name] = i
	}
	var inspections, readings, findings strings.Builder
	inspections.WriteString("inspection_id,site_id,region,technician_id,started_at,purpose,recheck_of,outcome\n")
	readings.WriteString("reading_id,inspection_id,unit_id,point_id,taken_at,material,gain,call\n")
	findings.WriteString("finding_id,site_id,point_id,found_on,method,result\n")
	again := map[string]bool{}
	var disagreeing, missed, all, opened float64
	for n, r := range rows[1:] {
		get := func(name string) string { return r[at[name]] }
		var inspection, point int
		var weight, openChance float64
		_, err := fmt.Sscanf(get("inspection_id")+" "+get("point_id")+" "+get("weight")+" "+get("open_chance"), "I%d P%d %g %g", &inspection, &point, &weight, &openChance)
		if err != nil {
			t.Fatal(err)
		}
		if !again[get("inspection_id")] {
			again[get("inspection_id")] = true
			fmt.Fprintf(&inspections, "C%d,%s,S,T%d,2026-04-02T09:00:00+11:00,recheck,I%d,clear\n", inspection, get("site_id"), (inspection+1)%3, inspection)
		}
		call, result := "clear", "nothing"
		if number := 10*inspection + point; number%4 == 0 { // the short holds
			call, result = "active", "active"
			disagreeing += weight
		}
		all += weight
		fmt.Fprintf(&readings, "C%d,C%d,U1,P%d,2026-04-02T09:%02d:00+11:00,board,2,%s\n", n, inspection, point, point, call)
		if get("open") == "true" {
			fmt.Fprintf(&findings, "F%d,%s,P%d,2026-04-04,opened,%s\n", n, get("site_id"), point, result)
			opened += 1 / openChance
			if result == "active" {
				missed += 1 / openChance
			}
		}
	}
	answers := filepath.Join(dir, "answers")
	if err := os.Mkdir(answers, 0o700); err != nil {
		t.Fatal(err)
	}
	for name, content := range map[string]string{"inspections.csv": inspections.String(), "readings.csv": readings.String(), "findings.csv": findings.String()} {
		if err := os.WriteFile(filepath.Join(answers, name), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	must(t, "load", "--quiet", "--store", storeDir, "--received", "2026-05-01T00:00:00Z", answers)
	must(t, "build", "--quiet", "--store", storeDir, "--out", filepath.Join(dir, "out"))
	var got struct {
		Rows []struct {
			Sample, Measure        string
			Drawn, Outstanding     int
			CameBack               int `json:"came_back"`
			Rate, Low, High, Total float64
		}
	}
	into(t, []byte(treeOf(t, filepath.Join(dir, "out"))["results/audit_sample.json"]), &got)
	if len(got.Rows) != 4 {
		t.Fatalf("%d rows", len(got.Rows))
	}
	for _, r := range got.Rows {
		drawn, total, rate := 80, disagreeing, disagreeing/all
		if r.Measure == "missed" {
			drawn, total, rate = 45, missed, missed/opened
		}
		if r.Drawn != drawn || r.CameBack != drawn || r.Outstanding != 0 || math.Abs(r.Total-total) > 1e-9*total || math.Abs(r.Rate-rate) > 1e-12 || r.Low > 0.25 || r.High < 0.25 {
			t.Errorf("%+v; by hand %d drawn, total %g, rate %g; a quarter is at fault", r, drawn, total, rate)
		}
	}
}

// TestKilledSampleLosesNothing kills the real program at random moments of a draw. Whatever the moment, the store
// is sound, and the same command again keeps the same sample.
func TestKilledSampleLosesNothing(t *testing.T) {
	base, dir := storeOf(t, 300), t.TempDir()
	draw := func(store, out string) *exec.Cmd {
		return exec.Command("scanledger", "sample", "--quiet", "--store", store, "--month", "2026-03", "--size", "30", "--out", out)
	}
	whole := filepath.Join(dir, "whole")
	mustCopy(t, base, whole)
	start := time.Now()
	if out, err := draw(whole, filepath.Join(dir, "list")).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	took, want := time.Since(start), treeOf(t, whole)
	rng := rand.New(rand.NewPCG(5, 6))
	for i := range 8 {
		hit := filepath.Join(dir, fmt.Sprintf("hit-%d", i))
		mustCopy(t, base, hit)
		cmd := draw(hit, filepath.Join(dir, "out"))
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Duration(rng.Int64N(int64(took))))
		_ = cmd.Process.Kill() // it may have ended
		_ = cmd.Wait()         // killed or ended: both are meant
		must(t, "verify", "--quiet", "--store", hit)
		if out, err := draw(hit, filepath.Join(dir, "out")).CombinedOutput(); err != nil {
			t.Fatalf("kill %d: %v: %s", i, err, out)
		}
		compareTrees(t, want, treeOf(t, hit))
		compareTrees(t, treeOf(t, filepath.Join(dir, "list")), treeOf(t, filepath.Join(dir, "out")))
	}
}
