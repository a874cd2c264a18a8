package queries

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"scanledger/queries/stats"
	"scanledger/transform/protocol"
)

// alone is a technician whose chances are each of a site of its own.
func alone(t *testing.T, tech string, chances, breaches int) protocolCounts {
	t.Helper()
	sizes, events := make([]int, chances), make([]int, chances)
	for i := range sizes {
		sizes[i] = 1
		if i < breaches {
			events[i] = 1
		}
	}
	sums, err := stats.SumClusters(sizes, events)
	if err != nil {
		t.Fatal(err)
	}
	return protocolCounts{ProtocolRow: ProtocolRow{Check: "short_hold", TechnicianID: tech, Chances: int64(chances), Breaches: int64(breaches), Sites: int64(chances)}, sums: sums}
}

// TestProtocolPublishedExample sends Fisher's tea tasting (1935) through the comparison of technicians: 3 of 4
// against 1 of 4, one-sided p 17/70.
func TestProtocolPublishedExample(t *testing.T) {
	rows, err := judgeProtocol([]protocolCounts{alone(t, "T1", 4, 3), alone(t, "T2", 4, 1)}, protocol.Settings{}, 1)
	if err != nil || math.Abs(float64(rows[0].P)-17.0/70) > 1e-12 {
		t.Errorf("%+v, %v", rows, err)
	}
}

// TestDigitsPublishedExample: the first thousand decimals of pi, 4.74 against even shares.
func TestDigitsPublishedExample(t *testing.T) {
	rows := []DigitRow{{TechnicianID: "pi", Model: "M", D0: 93, D1: 116, D2: 103, D3: 102, D4: 93, D5: 97, D6: 94, D7: 95, D8: 101, D9: 106},
		{TechnicianID: "even", Model: "M", D0: 100, D1: 100, D2: 100, D3: 100, D4: 100, D5: 100, D6: 100, D7: 100, D8: 100, D9: 100}}
	if err := judgeDigits(rows, 100); err != nil || math.Abs(float64(rows[0].ChiEven)-4.74) > 1e-9 || rows[0].Standing != InLine {
		t.Errorf("%+v, %v", rows[0], err)
	}
}

// aTeam draws the chances and breaches of 14 technicians on five checks, 80 sites each with ten chances that are
// alike within a site (a beta distribution of site rates, intraclass correlation 0.15). odd breaches the first
// check so many times as often as the others.
func aTeam(t *testing.T, r *rand.Rand, odd float64) []protocolCounts {
	t.Helper()
	rates := map[string]float64{"short_hold": 0.06, "no_control": 0.4, "left_unsure": 0.01, "unrepeated_active": 0.1, "start_step": 0.002}
	var out []protocolCounts
	for _, check := range slices.Sorted(maps.Keys(rates)) {
		for tech := range 14 {
			rate := rates[check]
			if tech == 0 && check == "short_hold" {
				rate *= odd
			}
			const alike = 1/0.15 - 1
			site := distuv.Beta{Alpha: rate * alike, Beta: (1 - rate) * alike, Src: r}
			sizes, events := make([]int, 80), make([]int, 80)
			for i := range sizes {
				sizes[i] = 10
				p := site.Rand()
				for range 10 {
					if r.Float64() < p {
						events[i]++
					}
				}
			}
			sums, err := stats.SumClusters(sizes, events)
			if err != nil {
				t.Fatal(err)
			}
			out = append(out, protocolCounts{sums: sums, ProtocolRow: ProtocolRow{Check: check, TechnicianID: fmt.Sprintf("T%02d", tech),
				Chances: int64(sums.Units), Breaches: int64(sums.Events), Sites: 80}})
		}
	}
	return out
}

// TestProtocolWorlds: over 200 worlds of people who are all alike, at most 5% have anyone who stands out or is to
// be watched; one who breaches three times as often stands out in at least 85% of worlds.
func TestProtocolWorlds(t *testing.T) {
	const worlds = 200
	accused, found, others := 0, 0, 0
	for world := range uint64(worlds) {
		null, err := judgeProtocol(aTeam(t, rand.New(rand.NewPCG(1, world)), 1), protocol.Settings{}, 30) //nolint:gosec // a seeded test
		if err != nil {
			t.Fatal(err)
		}
		if slices.ContainsFunc(null, func(r ProtocolRow) bool { return r.Standing == Act || r.Standing == Watch }) {
			accused++
		}
		planted, err := judgeProtocol(aTeam(t, rand.New(rand.NewPCG(2, world)), 3), protocol.Settings{}, 30) //nolint:gosec // a seeded test
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range planted {
			switch odd := r.Check == "short_hold" && r.TechnicianID == "T00"; {
			case odd && r.Standing == Act:
				found++
			case !odd && r.Standing == Act:
				others++
			}
		}
	}
	t.Logf("someone accused in %d of %d null worlds; planted found in %d, others with it in %d", accused, worlds, found, others)
	if accused > worlds*5/100 || found < worlds*85/100 || others > worlds*5/100 {
		t.Errorf("someone accused in %d of %d null worlds; planted found in %d, others with it in %d", accused, worlds, found, others)
	}
}
