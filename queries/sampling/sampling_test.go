package sampling

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"scanledger/ingest/store"
)

// frameOf makes a frame of so many points for each technician, with scores 1 to 6.
func frameOf(points []int) []store.FrameRow {
	var out []store.FrameRow
	for tech, n := range points {
		for i := range n {
			out = append(out, store.FrameRow{TechnicianID: fmt.Sprintf("T%02d", tech), InspectionID: fmt.Sprintf("I%03d", i/7), PointID: fmt.Sprintf("P%02d", i%7), Score: int32(1 + (i*i+tech)%6)})
		}
	}
	return out
}

func count(frame []store.FrameRow, part string) (n int) {
	for _, r := range frame {
		if r.Part == part {
			n++
		}
	}
	return n
}

// TestDrawKeepsItsSizes: for any frame and sizes, both parts have their size, chances are above 0, at most
// 1 and add up to the sample size, and the random part has every technician who has a point left.
func TestDrawKeepsItsSizes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		frame := frameOf(rapid.SliceOfN(rapid.IntRange(1, 40), 1, 12).Draw(t, "points"))
		risk := rapid.IntRange(0, len(frame)).Draw(t, "risk")
		random := rapid.IntRange(0, len(frame)-risk).Draw(t, "random")
		if risk+random == 0 {
			return
		}
		err := Draw(frame, Sizes{Frame: len(frame), Random: random, Risk: risk}, rapid.Uint64().Draw(t, "seed"), "2026-08")
		if err != nil {
			t.Fatal(err)
		}
		if count(frame, Risk) != risk || count(frame, Random) != random {
			t.Fatalf("%d by risk and %d random, want %d and %d", count(frame, Risk), count(frame, Random), risk, random)
		}
		sum := 0.0
		left, got, technicians := map[string]int{}, map[string]int{}, map[string]bool{}
		for _, r := range frame {
			sum += r.Chance
			if !(r.Chance > 0 && r.Chance <= 1) {
				t.Fatalf("chance %g", r.Chance)
			}
			technicians[r.TechnicianID] = true
			if r.Part != Risk {
				left[r.TechnicianID]++
			}
			if r.Part == Random {
				got[r.TechnicianID]++
			}
		}
		if math.Abs(sum-float64(risk+random)) > 1e-9*float64(len(frame)) {
			t.Fatalf("the chances add up to %.15g, not %d", sum, risk+random)
		}
		for tech, n := range left {
			if random >= len(technicians) && got[tech] == 0 {
				t.Fatalf("%s has %d points left and none is drawn at random", tech, n)
			}
		}
	})
}

// TestChancesBySimulation draws 40 000 samples, among them from a stratum of one point and from one that
// the first part takes whole: each row is drawn as often as its chance says, within 4.5 standard errors
// (of 69 rows, one in 2000 simulations would fail by luck; the seed is fixed).
func TestChancesBySimulation(t *testing.T) {
	const draws = 40_000
	frame := frameOf([]int{1, 2, 40, 7, 19})
	frame[0].Score = 30
	s := Sizes{Frame: len(frame), Random: 9, Risk: 8}
	times := map[string]int{}
	key := func(r store.FrameRow) string { return r.TechnicianID + r.InspectionID + r.PointID }
	for seed := range uint64(draws) {
		if err := Draw(frame, s, seed, "2026-08"); err != nil {
			t.Fatal(err)
		}
		for _, r := range frame {
			if r.Part != "" {
				times[key(r)]++
			}
		}
	}
	for _, r := range frame {
		got, se := float64(times[key(r)])/draws, math.Sqrt(r.Chance*(1-r.Chance)/draws)
		if math.Abs(got-r.Chance) > 4.5*se+1e-12 {
			t.Errorf("%s, score %d: drawn %.4f of the time, chance %.4f", key(r), r.Score, got, r.Chance)
		}
	}
}

// TestHorvitzThompsonIsUnbiased: over many seeds, the sum of faults over their chances has the true number
// as its mean, although faults sit where the score is high; counting plainly gives far too many.
func TestHorvitzThompsonIsUnbiased(t *testing.T) {
	const draws = 20_000
	frame := frameOf([]int{30, 60, 90})
	r := rand.New(rand.NewPCG(3, 4))
	faulty, total := map[string]bool{}, 0.0
	for _, f := range frame {
		if r.Float64() < 0.06*float64(f.Score) {
			faulty[f.TechnicianID+f.InspectionID+f.PointID] = true
			total++
		}
	}
	var sum, squares, plain float64
	for seed := range uint64(draws) {
		if err := Draw(frame, Sizes{Frame: len(frame), Random: 20, Risk: 20}, seed, "2026-08"); err != nil {
			t.Fatal(err)
		}
		estimate := 0.0
		for _, f := range frame {
			if f.Part != "" && faulty[f.TechnicianID+f.InspectionID+f.PointID] {
				estimate += 1 / f.Chance
				plain += float64(len(frame)) / 40 / draws
			}
		}
		sum += estimate
		squares += estimate * estimate
	}
	mean := sum / draws
	se := math.Sqrt((squares/draws - mean*mean) / draws)
	if math.Abs(mean-total) > 4*se {
		t.Errorf("mean estimate %.3f (standard error %.3f), true %g", mean, se, total)
	}
	if plain < 1.1*total {
		t.Errorf("plain counting gives %.1f of %g: the faults do not follow the score, so this shows little", plain, total)
	}
}

// TestOpeningsAreUnbiased: with a few of the drawn clear points opened, faults over their chance of being
// opened have the true number as their mean, and as many are opened as were asked for.
func TestOpeningsAreUnbiased(t *testing.T) {
	const draws = 20_000
	frame, total := frameOf([]int{30, 60, 90}), 0.0
	for i := range frame {
		frame[i].Call = []string{"clear", "clear", "active"}[i%3]
		frame[i].Verified = frame[i].Call == "clear" && frame[i].Score > 3 // stands for a fault
		if frame[i].Verified {
			total++
		}
	}
	most := 7
	var sum, squares float64
	for seed := range uint64(draws) {
		if err := Draw(frame, Sizes{Frame: len(frame), Random: 20, Risk: 20, Openings: &most}, seed, "2026-08"); err != nil {
			t.Fatal(err)
		}
		estimate, opened := 0.0, 0
		for _, f := range frame {
			if !f.Open {
				continue
			}
			opened++
			if f.Call != "clear" || f.Part == "" {
				t.Fatalf("opened: %+v", f)
			}
			if f.Verified {
				estimate += 1 / f.OpenChance
			}
		}
		if opened != most {
			t.Fatalf("%d opened", opened)
		}
		sum += estimate
		squares += estimate * estimate
	}
	mean := sum / draws
	if se := math.Sqrt((squares/draws - mean*mean) / draws); math.Abs(mean-total) > 4*se {
		t.Errorf("mean estimate %.3f (standard error %.3f), true %g", mean, se, total)
	}
}

// TestDrawRepeats: the same seed and month draw the same, whatever the order of the rows; another seed or
// month draws something else.
func TestDrawRepeats(t *testing.T) {
	drawn := func(seed uint64, month string, shuffle bool) (out []string) {
		frame := frameOf([]int{30, 30, 30})
		if shuffle {
			rand.New(rand.NewPCG(1, 1)).Shuffle(len(frame), func(i, j int) { frame[i], frame[j] = frame[j], frame[i] })
		}
		if err := Draw(frame, Sizes{Frame: 90, Random: 10, Risk: 5}, seed, month); err != nil {
			t.Fatal(err)
		}
		for _, r := range frame {
			out = append(out, fmt.Sprint(r))
		}
		return out
	}
	one := drawn(1, "2026-08", false)
	if !slices.Equal(one, drawn(1, "2026-08", true)) {
		t.Error("another order of rows gives another sample")
	}
	if slices.Equal(one, drawn(2, "2026-08", false)) || slices.Equal(one, drawn(1, "2026-09", false)) {
		t.Error("another seed or month gives the same sample")
	}
}

func TestAllocate(t *testing.T) {
	for _, c := range []struct {
		n     int
		sizes []int
		want  []int
	}{
		{10, []int{50, 30, 20}, []int{5, 3, 2}},
		{10, []int{97, 2, 1}, []int{8, 1, 1}},
		{2, []int{60, 30, 10}, []int{1, 1, 0}}, // too few for one each: largest remainders of 1.2, 0.6, 0.2
		{3, []int{100, 0, 1, 1}, []int{1, 0, 1, 1}},
		{102, []int{100, 0, 1, 1}, []int{100, 0, 1, 1}},
		{0, []int{3, 4}, []int{0, 0}},
		{0, []int{}, []int{}},
	} {
		if got := Allocate(c.n, c.sizes); !slices.Equal(got, c.want) {
			t.Errorf("%d among %v: %v, want %v", c.n, c.sizes, got, c.want)
		}
	}
}

// published are examples of testdata/published.json by method; each names its source there.
func published(t *testing.T, method string, into any) {
	t.Helper()
	raw, err := os.ReadFile("../../testdata/published.json")
	if err != nil {
		t.Fatal(err)
	}
	var all []struct{ Method string }
	var rows []json.RawMessage
	if err := json.Unmarshal(raw, &rows); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(raw, &all); err != nil {
		t.Fatal(err)
	}
	var chosen []json.RawMessage
	for i, e := range all {
		if e.Method == method {
			chosen = append(chosen, rows[i])
		}
	}
	joined, err := json.Marshal(chosen)
	if err == nil {
		err = json.Unmarshal(joined, into)
	}
	if err != nil || len(chosen) == 0 {
		t.Fatalf("%s: %d examples (%v)", method, len(chosen), err)
	}
}

// TestPublishedDetectionSizes: Cannon and Roe (1982), through the rule.
func TestPublishedDetectionSizes(t *testing.T) {
	var examples []struct {
		ID    string
		Input struct {
			Lot    []int   `json:"lot_size"`
			Faults []int   `json:"nonconforming"`
			Conf   float64 `json:"confidence"`
		}
		Expected struct {
			N []int `json:"n_exact_hypergeometric"`
		}
	}
	published(t, "17-detection-sample-size", &examples)
	tried := 0
	for _, e := range examples {
		for i, lot := range e.Input.Lot {
			s, err := Rule{Detect: float64(e.Input.Faults[i]) / float64(lot), Confidence: e.Input.Conf}.Sizes(lot)
			if err != nil || s.Random != e.Expected.N[i] || s.Faults != e.Input.Faults[i] || s.Risk != 0 {
				t.Errorf("%s, %d of %d: %+v (%v), want %d", e.ID, e.Input.Faults[i], lot, s, err, e.Expected.N[i])
			}
			tried++
		}
	}
	if tried < 13 {
		t.Errorf("only %d tried", tried)
	}
}

// TestPublishedPlans: MIL-STD-105E (1989) Tables I and II-A, through the rule. Code letter F stands for
// lots of 91 to 150 at level II; AQL 2.5 and 4.0 accept 1 and 2 of 20 (letter H, 281 to 500: 3 and 5 of 50).
func TestPublishedPlans(t *testing.T) {
	for _, c := range []struct {
		lot            int
		aql            float64
		letter         string
		random, accept int
	}{{91, 2.5, "F", 20, 1}, {150, 4, "F", 20, 2}, {281, 2.5, "H", 50, 3}, {500, 4, "H", 50, 5}, {40, 4, "E", 13, 1}} {
		s, err := Rule{Level: "II", AQL: c.aql}.Sizes(c.lot)
		if err != nil || s.Random != c.random || s.Letter != c.letter || *s.Accept != c.accept {
			t.Errorf("%d at %g: %+v (%v)", c.lot, c.aql, s, err)
		}
	}
	var examples []struct {
		Input struct {
			Low   []int  `json:"lot_size_low"`
			Level string `json:"inspection_level"`
		}
		Expected struct {
			Size []int `json:"sample_size_normal_single"`
		}
	}
	published(t, "17-code-letters", &examples)
	for _, e := range examples {
		for i, lot := range e.Input.Low {
			if e.Input.Level == "II" && lot > e.Expected.Size[i] {
				s, err := Rule{Level: "II", AQL: ownColumn(e.Expected.Size[i])}.Sizes(lot)
				if err != nil || s.Random != e.Expected.Size[i] {
					t.Errorf("lot %d: %+v (%v), want %d", lot, s, err, e.Expected.Size[i])
				}
			}
		}
	}
}

// ownColumn is the AQL at which the row of a sample size accepts none, so that no arrow leads away: the
// column on the table's diagonal of Ac 0.
func ownColumn(size int) float64 {
	return map[int]float64{2: 6.5, 3: 4, 5: 2.5, 8: 1.5, 13: 1, 20: 0.65, 32: 0.4, 50: 0.25, 80: 0.15, 125: 0.1, 200: 0.065, 315: 0.04, 500: 0.025, 800: 0.015, 1250: 0.01}[size]
}

// TestPublishedCurves: the chance of no fault and of passing, against a published curve: code letter F
// (20, accept 0) in a lot of 100.
func TestPublishedCurves(t *testing.T) {
	var examples []struct {
		ID    string
		Input struct {
			Share []float64 `json:"proportion_defective"`
		}
		Expected struct {
			P []float64 `json:"p_accept_hypergeometric"`
		}
		Tolerance float64
	}
	published(t, "17-oc-curve", &examples)
	accept, tried := 0, 0
	shows, err := WhatItShows(Sizes{Frame: 100, Random: 20, Accept: &accept, Letter: "F"})
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range examples {
		if e.ID != "code-letter-F-20-c0" {
			continue
		}
		for i, share := range e.Input.Share {
			for _, c := range shows.Chances {
				if c.Share == share {
					tried++
					if math.Abs(c.NoFault-e.Expected.P[i]) > e.Tolerance || math.Abs(*c.Passes-e.Expected.P[i]) > e.Tolerance {
						t.Errorf("share %g: %g and %g, want %g", share, c.NoFault, *c.Passes, e.Expected.P[i])
					}
				}
			}
		}
	}
	if tried < 4 {
		t.Errorf("only %d shares compared", tried)
	}
}

// TestWhatItShows: 45 of 100 without fault leave at most 4 (Cannon and Roe 1982: 45 find 5 of 100 with 95 %).
func TestWhatItShows(t *testing.T) {
	shows, err := WhatItShows(Sizes{Frame: 100, Random: 45})
	if err != nil || shows.AtMost != 4 {
		t.Errorf("at most %d (%v), want 4", shows.AtMost, err)
	}
	for _, c := range shows.Chances {
		if *c.NoFaultErring < c.NoFault {
			t.Errorf("share %g: erring checks find more (%g against %g)", c.Share, *c.NoFaultErring, c.NoFault)
		}
	}
	all, err := WhatItShows(Sizes{Frame: 30, Random: 30})
	if err != nil || all.AtMost != 0 {
		t.Errorf("all of 30: at most %d (%v)", all.AtMost, err)
	}
	none, err := WhatItShows(Sizes{Frame: 30, Risk: 5})
	if err != nil || len(none.Would) != 0 || len(none.WouldNot) == 0 {
		t.Errorf("no random part: %+v (%v)", none, err)
	}
}

func TestRuleFaults(t *testing.T) {
	less := -1
	for _, r := range []Rule{{}, {Size: -3}, {Size: 5, Openings: &less}, {Size: 5, Detect: 0.05, Confidence: 0.95}, {Size: 5, Level: "II", AQL: 4}, {Size: 5, RiskShare: 1}, {Size: 5, RiskShare: math.NaN()},
		{Detect: 1, Confidence: 0.95}, {Detect: -0.1, Confidence: 0.95}, {Detect: 0.05}, {Detect: 0.05, Confidence: 1}, {Level: "IV", AQL: 4}, {Level: "II", AQL: 3}} {
		if err := r.Check(); err == nil {
			t.Errorf("accepted: %+v", r)
		}
	}
	if _, err := (Rule{Size: 11}).Sizes(10); err == nil {
		t.Error("a sample larger than the frame is accepted")
	}
	s, err := Rule{Size: 10, RiskShare: 0.3}.Sizes(100)
	if err != nil || s.Random != 7 || s.Risk != 3 {
		t.Errorf("10 with 0.3 by risk: %+v (%v)", s, err)
	}
	if s, err = (Rule{Level: "II", AQL: 4, RiskShare: 0.5}).Sizes(150); err != nil || s.Random != 20 || s.Risk != 20 {
		t.Errorf("plan with half by risk: %+v (%v)", s, err)
	}
}
