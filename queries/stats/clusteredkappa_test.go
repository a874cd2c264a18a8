package stats

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// pairsApart puts every pair of a table in a cluster of its own.
func pairsApart(t Table2x2) []Table2x2 {
	var out []Table2x2
	for range t.A {
		out = append(out, Table2x2{A: 1})
	}
	for range t.B {
		out = append(out, Table2x2{B: 1})
	}
	for range t.C {
		out = append(out, Table2x2{C: 1})
	}
	for range t.D {
		out = append(out, Table2x2{D: 1})
	}
	return out
}

// TestClusterOfOne: with one pair a cluster the standard errors are the plain ones (Fleiss, Cohen and
// Everitt 1969; Gwet 2008) times sqrt(m/(m-1)), and p is McNemar's exact one.
func TestClusterOfOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		count := rapid.IntRange(1, 40)
		table := Table2x2{count.Draw(t, "a"), count.Draw(t, "b"), count.Draw(t, "c"), count.Draw(t, "d")}
		got, err := AgreementInClusters(pairsApart(table), 0.95)
		if err != nil {
			t.Fatal(err)
		}
		m := float64(table.total())
		for name, pair := range map[string][2]float64{"kappa": {got.KappaSE, got.Table.SE}, "AC1": {got.AC1SE, got.Table.AC1.SE}} {
			if want := pair[1] * math.Sqrt(m/(m-1)); math.Abs(pair[0]-want) > 1e-9 {
				t.Fatalf("%v: %s has standard error %v, want %v", table, name, pair[0], want)
			}
		}
		var differences []int
		for _, c := range pairsApart(table) {
			differences = append(differences, c.B-c.C)
		}
		p, err := ClusteredMcNemar(differences)
		if err != nil {
			t.Fatal(err)
		}
		plain, err := McNemar(table)
		if err != nil || math.Abs(p-plain.Exact) > 1e-9 {
			t.Fatalf("%v: p %v, McNemar's exact %v (%v)", table, p, plain.Exact, err)
		}
	})
}

// TestClustersRepeated: the same pairs given k times in the same clusters are no more information.
func TestClustersRepeated(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		count, k := rapid.IntRange(0, 6), rapid.IntRange(2, 5).Draw(t, "times")
		one := []Table2x2{{1, 1, 1, 1}}
		for range rapid.IntRange(1, 30).Draw(t, "clusters") {
			one = append(one, Table2x2{count.Draw(t, "a"), count.Draw(t, "b"), count.Draw(t, "c"), 1 + count.Draw(t, "d")})
		}
		var many []Table2x2
		for _, c := range one {
			many = append(many, Table2x2{k * c.A, k * c.B, k * c.C, k * c.D})
		}
		a, errA := AgreementInClusters(one, 0.95)
		b, errB := AgreementInClusters(many, 0.95)
		if errA != nil || errB != nil || !same(a.KappaSE, b.KappaSE) || !same(a.AC1SE, b.AC1SE) || !same(a.Kappa.Low, b.Kappa.Low) {
			t.Fatalf("once %+v (%v), %d times %+v (%v)", a, errA, k, b, errB)
		}
	})
}

// alikeRaters is a world of two raters who see the same of each point but for slips; the points of a
// site are alike in how often they move.
type alikeRaters struct {
	rate, correlation, slip float64
	sites                   int
}

func (w alikeRaters) clusters(seed uint64) []Table2x2 {
	source := rand.NewPCG(seed, 11)
	r := rand.New(source)
	spread := (1 - w.correlation) / w.correlation
	beta := distuv.Beta{Alpha: w.rate * spread, Beta: (1 - w.rate) * spread, Src: source}
	out := make([]Table2x2, w.sites)
	for i := range out {
		here := beta.Rand()
		for range 4 + r.IntN(9) {
			truth := r.Float64() < here
			first, second := truth != (r.Float64() < w.slip), truth != (r.Float64() < w.slip)
			switch {
			case first && second:
				out[i].A++
			case first:
				out[i].B++
			case second:
				out[i].C++
			default:
				out[i].D++
			}
		}
	}
	return out
}

// kappa and AC1 of the world: both raters say yes with chance q, and both with chance both.
func (w alikeRaters) truth() (kappa, ac1 float64) {
	q := w.rate*(1-w.slip) + (1-w.rate)*w.slip
	both := w.rate*(1-w.slip)*(1-w.slip) + (1-w.rate)*w.slip*w.slip
	observed := 1 - 2*(q-both)
	return (observed - q*q - (1-q)*(1-q)) / (1 - q*q - (1-q)*(1-q)), (observed - 2*q*(1-q)) / (1 - 2*q*(1-q))
}

// TestAgreementCoverage: over seeded worlds the intervals hold the truth about as often as they say.
// The plain interval of kappa, which takes points as independent, is logged beside it.
func TestAgreementCoverage(t *testing.T) {
	for _, w := range []alikeRaters{{0.15, 0.2, 0.03, 40}, {0.15, 0.2, 0.03, 120}, {0.06, 0.2, 0.02, 120}, {0.3, 0.3, 0.08, 80}} {
		kappa, ac1 := w.truth()
		const worlds = 1000
		var held, heldAC1, plain float64
		for seed := range uint64(worlds) {
			got, err := AgreementInClusters(w.clusters(seed), 0.95)
			if err != nil {
				t.Fatal(err)
			}
			if got.Kappa.Low <= kappa && kappa <= got.Kappa.High {
				held++
			}
			if got.AC1.Low <= ac1 && ac1 <= got.AC1.High {
				heldAC1++
			}
			if got.Table.Kappa.Low <= kappa && kappa <= got.Table.Kappa.High {
				plain++
			}
		}
		t.Logf("%+v: kappa %.3f held in %.1f %% (plain %.1f %%), AC1 %.3f in %.1f %%", w, kappa, held*100/worlds, plain*100/worlds, ac1, heldAC1*100/worlds)
		if held/worlds < 0.92 || held/worlds > 0.98 || heldAC1/worlds < 0.92 || heldAC1/worlds > 0.98 {
			t.Errorf("%+v: kappa held in %.1f %%, AC1 in %.1f %%", w, held*100/worlds, heldAC1*100/worlds)
		}
	}
}

// TestClusteredMcNemarLevel: where points of a site are called alike, the test by clusters keeps its
// level and the plain one does not.
func TestClusteredMcNemarLevel(t *testing.T) {
	const worlds = 1000
	r := rand.New(rand.NewPCG(1, 53))
	var byCluster, plain int
	for range worlds {
		var differences []int
		var sum Table2x2
		for range 40 {
			d := r.IntN(4)
			if r.IntN(2) == 0 {
				d = -d
			}
			differences = append(differences, d)
			sum.B, sum.C = sum.B+max(d, 0), sum.C+max(-d, 0)
		}
		p, err := ClusteredMcNemar(differences)
		if err != nil {
			t.Fatal(err)
		}
		test, err := McNemar(sum)
		if err != nil {
			t.Fatal(err)
		}
		if p <= 0.05 {
			byCluster++
		}
		if test.Exact <= 0.05 {
			plain++
		}
	}
	t.Logf("at 5 %%: by clusters %.1f %%, plain %.1f %%", float64(byCluster)/10, float64(plain)/10)
	if byCluster > 70 || byCluster < 20 || plain < 100 {
		t.Errorf("at 5 %%: by clusters %d, plain %d of %d", byCluster, plain, worlds)
	}
}

// TestClusteredMcNemarLarge: beyond the exact size the normal law takes over and agrees with it.
func TestClusteredMcNemarLarge(t *testing.T) {
	differences := make([]int, 24_000)
	for i := range differences {
		differences[i] = 1 - 2*(i%2)
	}
	for i := range 300 {
		differences[2*i+1] = 1
	}
	large, err := ClusteredMcNemar(differences)
	if err != nil {
		t.Fatal(err)
	}
	exact, err := McNemar(Table2x2{B: 12_300, C: 11_700})
	if err != nil || math.Abs(large/exact.Exact-1) > 0.05 {
		t.Errorf("normal law %v, exact %v (%v)", large, exact.Exact, err)
	}
}

// TestJackknifeOfMean: with one cluster a group, the jackknife of a mean has the textbook standard
// error s/sqrt(n) (Efron and Tibshirani 1993, An Introduction to the Bootstrap, section 11.2).
func TestJackknifeOfMean(t *testing.T) {
	values := []float64{52, 104, 146, 10, 51, 30, 40, 27, 46}
	mean := func(in func(int) bool) (float64, error) {
		sum, n := 0.0, 0.0
		for i, v := range values {
			if in(i) {
				sum, n = sum+v, n+1
			}
		}
		return sum / n, nil
	}
	got, err := GroupJackknife(len(values), mean, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	n := float64(len(values))
	want := math.Sqrt(sumOfSquaredDeviations(values) / (n - 1) / n)
	if se := (got.High - got.Value) / tCritical(0.95, n-1); math.Abs(se-want) > 1e-9 {
		t.Errorf("standard error %v, want %v", se, want)
	}
	if one, err := GroupJackknife(1, mean, 0.95); err != nil || !math.IsNaN(one.Low) {
		t.Errorf("one cluster: %+v, %v", one, err)
	}
}

// TestDispersedRatio: without more than Poisson variation the limits are Garwood's; with more they
// widen as the variance says, and p grows.
func TestDispersedRatio(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		observed, expected := rapid.IntRange(0, 400).Draw(t, "observed"), rapid.Float64Range(0.5, 300).Draw(t, "expected")
		plain, err := ObservedToDispersed(observed, expected, expected, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		exact, err := ObservedToExpected(observed, expected, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		if !same(plain.Ratio.Low, exact.ExactRatio.Low) || !same(plain.Ratio.High, exact.ExactRatio.High) {
			t.Fatalf("limits %v to %v, Garwood's %v", plain.Ratio.Low, plain.Ratio.High, exact.ExactRatio)
		}
		if plain.P > exact.PDoubled+1e-9 || plain.P < exact.PDoubled/2.0-1e-9 && exact.PDoubled < 1 {
			t.Fatalf("mid-p %v outside half to all of the doubled p %v", plain.P, exact.PDoubled)
		}
		wide, err := ObservedToDispersed(observed, expected, 3*expected, 0.95)
		if err != nil || wide.Dispersion != 3*expected/expected || wide.Ratio.Low > plain.Ratio.Low+1e-9 || wide.Ratio.High < plain.Ratio.High-1e-9 || math.Abs(wide.Z) > math.Abs(plain.Z)+0.5 {
			t.Fatalf("three times the variance: %+v, plain %+v (%v)", wide, plain, err)
		}
	})
}

func TestClusteredErrors(t *testing.T) {
	if _, err := AgreementInClusters([]Table2x2{{}}, 0.95); err == nil {
		t.Error("a cluster without pairs was taken")
	}
	if _, err := AgreementInClusters([]Table2x2{{A: -1}}, 0.95); err == nil {
		t.Error("a negative count was taken")
	}
	if _, err := AgreementInClusters(nil, 0.95); err == nil {
		t.Error("no clusters were taken")
	}
	if _, err := ClusteredMcNemar([]int{MaxCount + 1}); err == nil {
		t.Error("a difference beyond all counts was taken")
	}
	if p, err := ClusteredMcNemar(nil); p != 1 || err != nil {
		t.Errorf("nothing to compare: p %v, %v", p, err)
	}
	if _, err := ObservedToDispersed(1, 0, 1, 0.95); err == nil {
		t.Error("an expected count of 0 was taken")
	}
	if _, err := GroupJackknife(0, nil, 0.95); err == nil {
		t.Error("no clusters were taken")
	}
}
