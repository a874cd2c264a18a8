package instrument

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"scanledger/queries/stats"
)

// TestPublishedDistance sends the examples of the SciPy manual for the Jensen-Shannon distance (natural
// base; scipy.spatial.distance.jensenshannon, from memory, recomputed by hand: (1, 0) and (1/2, 1/2) give
// 0.46450140402245893) through counts of readings.
func TestPublishedDistance(t *testing.T) {
	for _, c := range []struct {
		own, peers []int
		want       float64 // in nats
	}{
		{[]int{4, 0}, []int{2, 2}, 0.46450140402245893},
		{[]int{3, 0, 0}, []int{0, 3, 0}, math.Sqrt(math.Ln2)},
		{[]int{5, 0, 0}, []int{7, 0, 0}, 0},
	} {
		var readings []MixReadings
		for technician, counts := range [][]int{c.own, c.peers} {
			for gain, n := range counts {
				if n > 0 {
					readings = append(readings, MixReadings{fmt.Sprint("T", technician), "board", fmt.Sprint("V", technician), gain, float64(gain) / 4, n})
				}
			}
		}
		got, err := GainMix(readings)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range got {
			if math.Abs(m.Distance*math.Sqrt(math.Ln2)-c.want) > 1e-9 {
				t.Errorf("%v against %v: %v, want %v", c.own, c.peers, m.Distance*math.Sqrt(math.Ln2), c.want)
			}
		}
	}
}

// world makes readings of technicians with units of two models; every visit has its own leaning, so that
// its readings are alike. One technician may take a share of readings a step higher.
type mixWorld struct {
	technicians, visits int
	higher              float64
}

func (w mixWorld) readings(seed uint64) []MixReadings {
	r := rand.New(rand.NewPCG(seed, 3))
	var out []MixReadings
	for v := range w.visits {
		technician, model := r.IntN(w.technicians), r.IntN(2)
		materials := []float64{3, 4, 6}
		leaning := r.NormFloat64()
		for i, usual := range materials {
			if r.IntN(4) == technician%4 { // who works where differs
				continue
			}
			counts := map[int]int{}
			for range 3 + r.IntN(8) {
				gain := int(math.Round(usual + leaning + 0.7*r.NormFloat64()))
				if technician == 0 && r.Float64() < w.higher {
					gain += 2
				}
				counts[max(0, min(gain, 6+4*model))]++
			}
			for gain := range 11 {
				if counts[gain] > 0 {
					out = append(out, MixReadings{fmt.Sprintf("T%02d", technician), fmt.Sprint(i, model), fmt.Sprint("V", v), gain, float64(gain) / float64(6+4*model), counts[gain]})
				}
			}
		}
	}
	return out
}

// TestMixLevel: where all use gain alike, p is below 0.05 about one time in twenty, though readings of
// one visit are alike; one who steps higher is found.
func TestMixLevel(t *testing.T) {
	low, all, found := 0, 0, 0
	const worlds = 20
	for seed := range uint64(worlds) {
		level, err := GainMix(mixWorld{8, 240, 0}.readings(seed))
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range level {
			all++
			if m.P <= 0.05 {
				low++
			}
		}
		planted, err := GainMix(mixWorld{8, 240, 0.7}.readings(seed))
		if err != nil {
			t.Fatal(err)
		}
		var p []float64
		for _, m := range planted {
			p = append(p, m.P)
		}
		q, err := stats.AdjustPValues(p)
		if err != nil {
			t.Fatal(err)
		}
		if q.BenjaminiHochberg[0] <= 0.05 && planted[0].Mean > planted[0].PeersMean {
			found++
		}
	}
	t.Logf("p at most 0.05 for %d of %d alike; found %d of %d who step higher", low, all, found, worlds)
	if low > all*10/100 || found < worlds*85/100 {
		t.Errorf("p at most 0.05 for %d of %d alike; found %d of %d who step higher", low, all, found, worlds)
	}
}

// TestMixProperties: shares sum to 1, two technicians alone are as far from one another, the order of
// rows does not matter, and the same rows give the same figures.
func TestMixProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		readings := mixWorld{rapid.IntRange(1, 4).Draw(t, "technicians"), rapid.IntRange(1, 12).Draw(t, "visits"), 0}.readings(rapid.Uint64().Draw(t, "seed"))
		got, err := GainMix(readings)
		if err != nil {
			t.Fatal(err)
		}
		slices.Reverse(readings)
		again, err := GainMix(readings)
		if err != nil {
			t.Fatal(err)
		}
		total, counted := 0, 0
		for _, r := range readings {
			total += r.N
		}
		for i, m := range got {
			if fmt.Sprint(m) != fmt.Sprint(again[i]) {
				t.Fatalf("turned round: %+v, was %+v", again[i], m)
			}
			counted += m.Readings + m.Alone
			if m.Readings == 0 {
				if !math.IsNaN(m.P) || !math.IsNaN(m.Distance) {
					t.Fatalf("nothing to compare, yet %+v", m)
				}
				continue
			}
			sum := 0.0
			for _, share := range m.RelativeMix {
				sum += share
			}
			if math.Abs(sum-1) > 1e-9 || !(m.Distance >= 0 && m.Distance <= 1) || !(m.P > 0 && m.P <= 1) {
				t.Fatalf("%+v", m)
			}
		}
		if counted != total {
			t.Fatalf("%d of %d readings accounted for", counted, total)
		}
	})
}
