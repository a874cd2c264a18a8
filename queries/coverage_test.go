package queries

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"scanledger/queries/stats"
)

// world is a business whose true rate is known. Its sites differ: their rates follow a beta law of
// the given mean and intraclass correlation, and each site has 4 to 12 points.
type world struct {
	rate, correlation float64
	sites             int
}

func (w world) counts(seed uint64) (detectionCounts, error) {
	source := rand.NewPCG(seed, 95)
	r := rand.New(source)
	spread := (1 - w.correlation) / w.correlation
	beta := distuv.Beta{Alpha: w.rate * spread, Beta: (1 - w.rate) * spread, Src: source}
	sizes, events := make([]int, w.sites), make([]int, w.sites)
	for i := range sizes {
		sizes[i] = 4 + r.IntN(9)
		here := beta.Rand()
		for range sizes[i] {
			if r.Float64() < here {
				events[i]++
			}
		}
	}
	sums, err := stats.SumClusters(sizes, events)
	return detectionCounts{active: int64(sums.Events), sums: sums}, err
}

// coverage is in what share of so many worlds the interval shown holds the true rate, in what share
// the naive one (Wilson's, points taken as independent) does, and how many worlds had no event.
func (w world) coverage(t *testing.T, worlds int) (shown, naive float64, empty int) {
	t.Helper()
	in := func(low, high float64) float64 {
		if low <= w.rate && w.rate <= high {
			return 1 / float64(worlds)
		}
		return 0
	}
	for seed := range worlds {
		c, err := w.counts(uint64(seed))
		if err != nil {
			t.Fatal(err)
		}
		row, err := c.figures(DefaultFloor)
		if err != nil {
			t.Fatal(err)
		}
		plain, err := stats.Wilson(c.sums.Events, c.sums.Units, Confidence)
		if err != nil {
			t.Fatal(err)
		}
		shown += in(float64(row.Low), float64(row.High))
		naive += in(plain.Low, plain.High)
		if row.Active == 0 {
			empty++
			if row.Low != 0 || !(row.High > 0 && row.High < 1) {
				t.Fatalf("no event in %d points: interval %v to %v", row.N(), row.Low, row.High)
			}
		}
	}
	return shown, naive, empty
}

// TestCoverage: over seeded worlds the interval shown for a detection rate holds the truth as often
// as it says, within what 400 worlds can tell; the naive one does not.
func TestCoverage(t *testing.T) {
	w := world{rate: 0.2, correlation: 0.15, sites: 80}
	shown, naive, _ := w.coverage(t, 400)
	t.Logf("400 worlds, rate 20 %%, 80 sites, intraclass correlation 0.15: shown %.1f %%, naive %.1f %%", 100*shown, 100*naive)
	if shown < 0.93 || shown > 0.97 {
		t.Errorf("the interval shown covers the truth in %.1f %% of worlds", 100*shown)
	}
	if naive > 0.90 {
		t.Errorf("the naive interval covers the truth in %.1f %% of worlds: nothing to warn of", 100*naive)
	}
}

// TestCoverageSettings holds the interval shown to 93 to 97 % over rates, numbers of sites and how
// alike points of a site are, each with enough worlds to tell 93 from 94 %.
func TestCoverageSettings(t *testing.T) {
	for _, rate := range []float64{0.05, 0.2} {
		for _, sites := range []int{40, 80, 150} {
			for _, correlation := range []float64{0.05, 0.15, 0.3} {
				w := world{rate, correlation, sites}
				t.Run(fmt.Sprintf("%g/%d/%g", rate, sites, correlation), func(t *testing.T) {
					t.Parallel()
					shown, naive, _ := w.coverage(t, 2000)
					t.Logf("shown %.1f %%, naive %.1f %%", 100*shown, 100*naive)
					if shown < 0.93 || shown > 0.97 {
						t.Errorf("the interval shown covers the truth in %.1f %% of worlds", 100*shown)
					}
					if naive > shown-0.03 {
						t.Errorf("the naive interval covers the truth in %.1f %% of worlds, the one shown in %.1f %%", 100*naive, 100*shown)
					}
				})
			}
		}
	}
}

// TestCoverageOfNone: where events are so rare that many worlds have none, the interval of such a
// world starts at 0, ends inside 0 to 1, and the intervals together still hold the truth.
func TestCoverageOfNone(t *testing.T) {
	shown, _, empty := world{rate: 0.01, correlation: 0.02, sites: 40}.coverage(t, 2000)
	t.Logf("rate 1 %%: %d of 2000 worlds had no event; the interval shown covers %.1f %%", empty, 100*shown)
	if empty < 50 {
		t.Fatalf("only %d worlds had no event", empty)
	}
	if shown < 0.93 {
		t.Errorf("the interval shown covers the truth in %.1f %% of worlds", 100*shown)
	}
}

// TestShownWithoutSpread: sites that do not differ at all leave no variance to go by, and the
// interval is the exact one on the points.
func TestShownWithoutSpread(t *testing.T) {
	sums, err := stats.SumClusters([]int{4, 4, 4, 4, 4, 4, 4, 4, 4, 4}, []int{1, 1, 1, 1, 1, 1, 1, 1, 1, 1})
	if err != nil {
		t.Fatal(err)
	}
	got, err := clusterRate(sums, DefaultFloor)
	if err != nil {
		t.Fatal(err)
	}
	want, err := stats.ClopperPearson(10, 40, Confidence)
	if err != nil {
		t.Fatal(err)
	}
	if got.Low != Figure(want.Low) || got.High != Figure(want.High) {
		t.Errorf("got %v to %v, want %v to %v", got.Low, got.High, want.Low, want.High)
	}
}
