package queries

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"scanledger/ingest/store"
	"scanledger/queries/stats"
	"scanledger/transform"
	"scanledger/transform/engine"
	"scanledger/transform/settle"
)

var update = flag.Bool("update", false, "write golden files anew")

// tested is n points of one material at one site on one day, so many of them called active; of those
// so many were opened and so many found active.
type tested struct {
	region, site, material string
	day                    time.Time
	n, active              int
	opened, found          int
}

// fourRegions are one region of every season scheme.
const fourRegions = `region,season_scheme,time_zone
N,north_four,Europe/Madrid
S,south_four,Australia/Hobart
V,north_wet_dry,America/Panama
W,south_wet_dry,Australia/Darwin
`

// writeRecords writes what was tested as record files.
func writeRecords(t *testing.T, dir string, all []tested) {
	t.Helper()
	files := map[string]*strings.Builder{}
	line := func(file, format string, args ...any) {
		if files[file] == nil {
			files[file] = &strings.Builder{}
		}
		fmt.Fprintf(files[file], format+"\n", args...)
	}
	line("regions.csv", "%s", strings.TrimSpace(fourRegions))
	line("technicians.csv", "technician_id\nT1")
	line("units.csv", "unit_id,gain_min,gain_max,gain_start\nU1,0,6,2")
	line("materials.csv", "material,density_class")
	line("inspections.csv", "inspection_id,site_id,region,technician_id,started_at,purpose,outcome")
	line("readings.csv", "reading_id,inspection_id,unit_id,point_id,taken_at,material,gain,call")
	line("findings.csv", "finding_id,site_id,point_id,found_on,method,result")
	materials, inspections := map[string]bool{}, map[string]bool{}
	for i, v := range all {
		date := v.day.Format(time.DateOnly)
		inspection := v.site + "/" + date
		if !materials[v.material] {
			materials[v.material] = true
			line("materials.csv", "%s,light", v.material)
		}
		if !inspections[inspection] {
			inspections[inspection] = true
			line("inspections.csv", "%s,%s,%s,T1,%sT09:00:00,routine,clear", inspection, v.site, v.region, date)
		}
		for p := range v.n {
			point, call := fmt.Sprintf("%d-%d", i, p), "clear"
			if p < v.active {
				call = "active"
			}
			line("readings.csv", "R%s,%s,U1,%s,%sT09:05:00,%s,3,%s", point, inspection, point, date, v.material, call)
			if p < v.opened {
				result := "nothing"
				if p < v.found {
					result = "active"
				}
				line("findings.csv", "F%s,%s,%s,%s,opened,%s", point, v.site, point, date, result)
			}
		}
	}
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content.String()), 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

// analyse takes the records in, makes the facts and analyses them.
func analyse(t *testing.T, all []tested, opt Options) (*Book, *engine.Engine) {
	t.Helper()
	dir := t.TempDir()
	writeRecords(t, dir, all)
	return analyseFolder(t, dir, opt)
}

// analyseFolder is analyse of the record files in a folder.
func analyseFolder(t *testing.T, dir string, opt Options) (*Book, *engine.Engine) {
	t.Helper()
	ctx := context.Background()
	storeDir := filepath.Join(t.TempDir(), "store")
	rep, err := settle.Load(ctx, storeDir, []string{dir}, settle.Options{ReceivedAt: time.Unix(0, 0)})
	if err != nil {
		t.Fatal(err)
	}
	if rep.Total.Accepted != rep.Total.Rows {
		t.Fatalf("not every row was accepted: %+v, %d rules broken", rep.Total, rep.Broken)
	}
	st, err := store.Open(storeDir)
	if err != nil {
		t.Fatal(err)
	}
	e, err := engine.Open(ctx, engine.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = e.Close() })
	if err := settle.Views(ctx, e, st, 1); err != nil {
		t.Fatal(err)
	}
	if _, err := transform.Facts(ctx, e, filepath.Join(t.TempDir(), "facts"), transform.Options{Protocol: opt.Protocol, Logs: opt.Logs, Describe: DescribeLogs(opt.Logs)}, func(string) {}); err != nil {
		t.Fatal(err)
	}
	b, err := Analyse(ctx, e, st, 1, opt)
	if err != nil {
		t.Fatal(err)
	}
	return b, e
}

// spread puts n points with so many events on sites, as evenly as can be.
func spread(region, material, prefix string, day time.Time, sites, n, events int) []tested {
	out := make([]tested, sites)
	for i := range out {
		out[i] = tested{region: region, site: fmt.Sprintf("%s-%d", prefix, i), material: material, day: day,
			n: n*(i+1)/sites - n*i/sites, active: events*(i+1)/sites - events*i/sites}
	}
	return out
}

// published reads one example of testdata/published.json, where its source stands.
func published(t *testing.T, id string, into any) {
	t.Helper()
	raw, err := os.ReadFile("../testdata/published.json")
	if err != nil {
		t.Fatal(err)
	}
	var examples []struct {
		ID string
		E  json.RawMessage `json:"-"`
	}
	var whole []json.RawMessage
	if err := json.Unmarshal(raw, &examples); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(raw, &whole); err != nil {
		t.Fatal(err)
	}
	for i, e := range examples {
		if e.ID == id {
			if err := json.Unmarshal(whole[i], into); err != nil {
				t.Fatal(err)
			}
			return
		}
	}
	t.Fatalf("no published example %s", id)
}

func close(t *testing.T, what string, got Figure, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(float64(got)-want) <= tolerance) {
		t.Errorf("%s: got %v, want %v within %v", what, got, want, tolerance)
	}
}

func seasonOf(t *testing.T, b *Book, group, region, measure string) SeasonRow {
	t.Helper()
	for _, r := range b.Season {
		if r.Group == group && r.Measure == measure && (r.Region == nil || *r.Region == region) {
			return r
		}
	}
	t.Fatalf("no season row %s %s %s", group, region, measure)
	return SeasonRow{}
}

// TestSeasonPublished: Queensland stillbirths by month (Barnett and Dobson 2010; R's data set
// stillbirth), births as points tested in a northern region and stillbirths as active calls, dated
// at the middles of the months, give the published peak and amplitude. A day stands up to half a day
// from the middle of its month, so the peak may differ by as much, and the rest a little.
func TestSeasonPublished(t *testing.T) {
	var example struct {
		Input    struct{ Events, Trials []int }
		Expected struct {
			Amplitude   float64 `json:"amplitude_log_odds"`
			AmplitudeSE float64 `json:"amplitude_se_delta"`
			Peak        float64 `json:"peak_degrees"`
			PeakSE      float64 `json:"peak_se_degrees_delta"`
			P           float64 `json:"lr_p"`
		}
	}
	published(t, "stillbirth-logistic-cosinor", &example)
	var all []tested
	for m, n := range example.Input.Trials {
		day := time.Date(2025, 1, int(math.Round((float64(m)+0.5)*stats.MeanMonthDays+0.5)), 0, 0, 0, 0, time.UTC)
		all = append(all, spread("N", "board", fmt.Sprintf("M%02d", m), day, 40, n, example.Input.Events[m])...)
	}
	b, _ := analyse(t, all, Options{})
	got, want := seasonOf(t, b, FourSeason, "", CalledActive), example.Expected
	if got.N != 60110 || got.Events != 352 || got.DesignEffect > 1 {
		t.Fatalf("not the published counts, or sites differ: %+v", got)
	}
	const days, z = daysInYear / 360, 1.959964
	close(t, "amplitude", got.Amplitude, want.Amplitude, 0.002)
	close(t, "amplitude, low", got.AmplitudeLow, want.Amplitude-z*want.AmplitudeSE, 0.003)
	close(t, "amplitude, high", got.AmplitudeHigh, want.Amplitude+z*want.AmplitudeSE, 0.003)
	close(t, "peak day", got.PeakDay, want.Peak*days, 0.5)
	close(t, "peak day, low", got.PeakDayLow, daysInYear+(want.Peak-z*want.PeakSE)*days, 1)
	close(t, "peak day, high", got.PeakDayHigh, (want.Peak+z*want.PeakSE)*days, 1)
	close(t, "p", got.P, want.P, 0.002)
	if *got.PeakMonth != 1 || *got.PeakMonthNorth != 1 || *got.PeakMonthSouth != 7 {
		t.Errorf("peak in months %d, %d, %d", *got.PeakMonth, *got.PeakMonthNorth, *got.PeakMonthSouth)
	}
	if n := len(b.SeasonMonths); n != 24 {
		t.Fatalf("%d rows of months, want 12 for the group and 12 for the region", n)
	}
	for m, r := range b.SeasonMonths[:12] {
		if r.Group != FourSeason || r.MonthOfYear != m+1 || int(r.N) != example.Input.Trials[m] || int(r.Events) != example.Input.Events[m] {
			t.Errorf("month %d: %+v", m+1, r)
		}
	}
}

// TestSeasonHemispheres: a southern region that does half a year later what a northern one does has
// its peak half a year later, and in the group of both the peaks coincide.
func TestSeasonHemispheres(t *testing.T) {
	var all []tested
	for _, r := range []struct {
		region string
		later  int
	}{{"N", 0}, {"S", 183}, {"V", 0}, {"W", 183}} {
		for k := range 24 {
			events := int(math.Round(30 + 15*math.Cos(2*math.Pi*(float64(k%12)-6)/12))) // highest around 1 July
			day := time.Date(2024, 1, 1+r.later, 0, 0, 0, 0, time.UTC).AddDate(0, 0, int(float64(k)*stats.MeanMonthDays))
			all = append(all, spread(r.region, "board", fmt.Sprintf("%s%d", r.region, k), day, 5, 100, events)...)
		}
	}
	b, _ := analyse(t, all, Options{})
	for _, c := range []struct {
		group, region string
		peak          float64
		month         [3]int // own calendar, north, south
	}{
		{FourSeason, "", 183, [3]int{7, 7, 1}}, {WetDry, "", 183, [3]int{7, 7, 1}},
		{OneRegion, "N", 183, [3]int{7, 7, 1}}, {OneRegion, "S", 0, [3]int{1, 7, 1}},
		{OneRegion, "V", 183, [3]int{7, 7, 1}}, {OneRegion, "W", 0, [3]int{1, 7, 1}},
	} {
		got := seasonOf(t, b, c.group, c.region, CalledActive)
		away := math.Mod(float64(got.PeakDay)-c.peak+daysInYear, daysInYear)
		if !(min(away, daysInYear-away) < 3) {
			t.Errorf("%s %s: peak on day %v, want about %v", c.group, c.region, got.PeakDay, c.peak)
		}
		close(t, c.group+c.region+" amplitude", got.Amplitude, float64(seasonOf(t, b, OneRegion, "N", CalledActive).Amplitude), 0.01)
		if math.Abs(away) < 1.5 && away > 0.5 && *got.PeakMonth != c.month[0] {
			t.Errorf("%s %s: peak in month %d", c.group, c.region, *got.PeakMonth)
		}
	}
}

// TestSeasonThin: under 12 months, or with few events, there is no wave, and the row says why.
func TestSeasonThin(t *testing.T) {
	months := func(first, n, events int) []tested {
		var all []tested
		for k := range n {
			all = append(all, spread("N", "board", fmt.Sprint("A", k), time.Date(2024, time.Month(first+k), 15, 0, 0, 0, 0, time.UTC), 4, 40, events)...)
		}
		return all
	}
	for _, c := range []struct {
		all    []tested
		whyNot string
	}{
		{months(1, 11, 8), "fewer than 12 months: not enough to say"},
		{months(1, 14, 1), "fewer than 20 cases of the rarer kind"},
		{months(1, 14, 8), ""},
	} {
		b, _ := analyse(t, c.all, Options{})
		got := seasonOf(t, b, FourSeason, "", CalledActive)
		if got.WhyNot != c.whyNot || got.Enough != (c.whyNot == "") || got.Wave() {
			t.Errorf("want %q, got %+v", c.whyNot, got)
		}
		if got.PeakDay.Known() || got.PeakMonth != nil {
			t.Errorf("a flat year has a peak on day %v", got.PeakDay)
		}
	}
}

// TestStandardisedTurnsRound: applicants to six departments of Berkeley in 1973 (Bickel, Hammel and
// O'Connell 1975; R's data set UCBAdmissions) as points of six materials, men and women as two regions,
// admissions as active calls. Pooled, men are admitted more often, 44.5 against 30.4 %; on one mix of
// departments women are, about 43 against 39 % (Freedman, Pisani and Purves, Statistics, ch. 2; from
// memory). The published common odds ratio below 1 says the same.
func TestStandardisedTurnsRound(t *testing.T) {
	var example struct {
		Input    struct{ Strata [][4]int }
		Expected struct {
			OddsRatio float64 `json:"common_odds_ratio"`
		}
	}
	published(t, "ucb-admissions", &example)
	day := time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)
	var all []tested
	for i, s := range example.Input.Strata {
		department := string(rune('A' + i))
		// rows admitted, rejected; columns men, women
		all = append(all, spread("N", department, "men", day, 20, s[0]+s[2], s[0])...)
		all = append(all, spread("S", department, "women", day, 20, s[1]+s[3], s[1])...)
	}
	b, e := analyse(t, all, Options{})
	if len(b.RegionStandardised) != 2 {
		t.Fatalf("rows %+v", b.RegionStandardised)
	}
	men, women := b.RegionStandardised[0], b.RegionStandardised[1]
	close(t, "men, raw", men.RawRate, 1198.0/2691, 1e-12)
	close(t, "women, raw", women.RawRate, 557.0/1835, 1e-12)
	close(t, "men, one mix", men.Rate, 0.39, 0.005)
	close(t, "women, one mix", women.Rate, 0.43, 0.005)
	if !(men.RawLow > women.RawHigh && men.Rate < women.Rate) {
		t.Errorf("pooled and standardised do not differ in sign: %+v %+v", men, women)
	}
	mh, err := stats.CochranMantelHaenszel(calledByMaterial(t, e), Confidence)
	if err != nil {
		t.Fatal(err)
	}
	close(t, "common odds ratio of the facts", Figure(mh.OddsRatio.Value), example.Expected.OddsRatio, 1e-6)
}

// calledByMaterial counts, for each material, active and other calls of regions N and S.
func calledByMaterial(t *testing.T, e *engine.Engine) []stats.Table2x2 {
	t.Helper()
	var out []stats.Table2x2
	err := e.Each(context.Background(), `SELECT count(*) FILTER (WHERE region = 'N' AND call = 'active'), count(*) FILTER (WHERE region = 'S' AND call = 'active'),
		count(*) FILTER (WHERE region = 'N' AND call <> 'active'), count(*) FILTER (WHERE region = 'S' AND call <> 'active')
		FROM point_visits GROUP BY material ORDER BY material`, nil, func(scan func(...any) error) error {
		var c stats.Table2x2
		err := scan(&c.A, &c.B, &c.C, &c.D)
		out = append(out, c)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// TestStandardisedByHand: two materials, three of four points being board.
func TestStandardisedByHand(t *testing.T) {
	day := time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)
	all := spread("N", "board", "a", day, 7, 200, 20)                               // 10 %
	all = append(all, spread("N", "brick", "a", day, 7, 100, 50)...)                // 50 %
	all = append(all, spread("S", "board", "b", day, 7, 550, 110)...)               // 20 %
	all = append(all, spread("S", "brick", "b", day, 7, 150, 30)...)                // 20 %
	all = append(all, spread("V", "brick", "c", day, minStratumSites-1, 40, 20)...) // brick at too few sites
	all = append(all, spread("V", "board", "d", day, 10, 60, 6)...)
	b, _ := analyse(t, all, Options{})
	n, s, v := b.RegionStandardised[0], b.RegionStandardised[1], b.RegionStandardised[2]
	// the mix: (200+550+60) of 1100 board, (100+150+40) brick
	board, brick := 810.0/1100, 290.0/1100
	close(t, "N", n.Rate, board*0.1+brick*0.5, 1e-12)
	close(t, "N raw", n.RawRate, 70.0/300, 1e-12)
	close(t, "N difference", n.Difference, board*0.1+brick*0.5-70.0/300, 1e-12)
	close(t, "S", s.Rate, 0.2, 1e-12)
	close(t, "V, board alone", v.Rate, 0.1, 1e-12)
	close(t, "V, covered", v.WeightCovered, board, 1e-12)
	if v.MaterialsMissing != "brick" || v.Enough || n.MaterialsMissing != "" || !s.Enough {
		t.Errorf("got %+v %+v %+v", n, s, v)
	}
}

// twoYears are 24 months of four regions, seeded: a season, a site effect and some openings.
func twoYears() []tested {
	r := rand.New(rand.NewPCG(7, 7))
	var all []tested
	for k := range 24 {
		for i, region := range []string{"N", "S", "V", "W"} {
			wave := 0.1 * math.Cos(2*math.Pi*(float64(k)-6-6*float64(i%2))/12)
			for site := range 4 {
				p := max(0.02, 0.25+wave+0.1*(r.Float64()-0.5))
				v := tested{region: region, site: fmt.Sprintf("%s%d-%d", region, k, site), material: []string{"board", "brick"}[site%2],
					day: time.Date(2024, time.Month(1+k), 3+5*site, 0, 0, 0, 0, time.UTC), n: 20 + r.IntN(20)}
				for range v.n {
					if r.Float64() < p {
						v.active++
					}
				}
				v.opened = v.active * 2 / 3
				v.found = v.opened * 3 / 4
				all = append(all, v)
			}
		}
	}
	return all
}

// TestGoldenSeasons holds the results of two seeded years to what they were when they were last read.
func TestGoldenSeasons(t *testing.T) {
	b, _ := analyse(t, twoYears(), Options{AsOf: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)})
	for _, name := range []string{"season", "season_months", "trend", "trend_summary", "region_standardised"} {
		got, err := b.Result(name).JSON()
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join("testdata", name+".json")
		if *update {
			if err := os.WriteFile(path, got, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got, want) {
			t.Errorf("%s differs from %s; go test ./queries -update writes it anew", name, path)
		}
	}
}
