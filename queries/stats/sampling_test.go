package stats

import (
	"math"
	"math/big"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Cells of MIL-STD-105E Table II-A, read from memory of the printed table, its corners and arrows.
func TestNormalPlanCells(t *testing.T) {
	for _, c := range []struct {
		letter string
		aql    float64
		use    string
		n, ac  int
	}{
		{"A", 0.010, "Q", 1250, 0}, {"Q", 0.010, "Q", 1250, 0}, {"R", 0.010, "Q", 1250, 0},
		{"R", 0.015, "P", 800, 0}, {"Q", 0.025, "R", 2000, 1}, {"R", 0.025, "R", 2000, 1},
		{"A", 6.5, "A", 2, 0}, {"A", 10, "C", 5, 1}, {"A", 15, "B", 3, 1}, {"A", 25, "A", 2, 1},
		{"B", 6.5, "A", 2, 0}, {"B", 10, "C", 5, 1}, {"A", 1000, "A", 2, 30}, {"B", 1000, "B", 3, 44},
		{"C", 1000, "B", 3, 44}, {"R", 1000, "B", 3, 44}, {"E", 150, "E", 13, 30}, {"E", 250, "E", 13, 44},
		{"F", 65, "F", 20, 21}, {"F", 100, "E", 13, 21}, {"R", 65, "F", 20, 21}, {"G", 40, "G", 32, 21},
		{"K", 0.40, "K", 125, 1}, {"K", 10, "K", 125, 21}, {"L", 10, "K", 125, 21}, {"L", 6.5, "L", 200, 21},
		{"D", 10, "D", 8, 2}, {"E", 10, "E", 13, 3}, {"F", 10, "F", 20, 5}, {"G", 10, "G", 32, 7},
		{"H", 10, "H", 50, 10}, {"J", 10, "J", 80, 14}, {"A", 400, "A", 2, 14}, {"M", 1.0, "M", 315, 7},
		{"R", 0.65, "R", 2000, 21}, {"R", 1.0, "Q", 1250, 21}, {"N", 0.025, "N", 500, 0},
	} {
		p, err := NormalPlan(c.letter, c.aql)
		if err != nil || p.Letter != c.use || p.SampleSize != c.n || p.Accept != c.ac || p.Reject != c.ac+1 {
			t.Errorf("%s at %g: got %+v, %v; want row %s, n %d, Ac %d", c.letter, c.aql, p, err, c.use, c.n, c.ac)
		}
	}
}

// Arrows end at a plan that stands in its own row, and down a column the samples never shrink.
func TestNormalPlanWholeTable(t *testing.T) {
	for _, aql := range preferredAQL {
		before := SamplingPlan{}
		for _, letter := range codeLetters {
			p, err := NormalPlan(string(letter), aql)
			if err != nil {
				t.Fatal(err)
			}
			own, err := NormalPlan(p.Letter, aql)
			if err != nil || own != p {
				t.Errorf("%c at %g goes to %s, which goes on to %+v, %v", letter, aql, p.Letter, own, err)
			}
			if p.SampleSize < before.SampleSize {
				t.Errorf("%c at %g: sample %d after %d", letter, aql, p.SampleSize, before.SampleSize)
			}
			before = p
		}
	}
}

func TestCodeLetterBounds(t *testing.T) {
	for _, c := range []struct {
		lot         int
		level, want string
	}{
		{2, "I", "A"}, {8, "II", "A"}, {9, "II", "B"}, {8, "III", "B"}, {500, "I", "F"}, {501, "II", "J"},
		{500_000, "II", "P"}, {500_001, "III", "R"}, {500_001, "S-1", "D"}, {90, "S-2", "B"}, {151, "S-3", "D"},
		{151, "S-4", "E"}, {1 << 40, "S-4", "K"},
	} {
		if got, err := CodeLetter(c.lot, c.level); got != c.want || err != nil {
			t.Errorf("lot %d level %s: got %q, %v, want %s", c.lot, c.level, got, err, c.want)
		}
	}
	for _, c := range []struct {
		lot   int
		level string
	}{{1, "II"}, {-4, "II"}, {100, "IV"}, {100, ""}} {
		if got, err := CodeLetter(c.lot, c.level); err == nil {
			t.Errorf("lot %d level %q: got %q, want an error", c.lot, c.level, got)
		}
	}
	for level, letters := range levelLetters {
		if len(letters) != len(lotLimits)+1 || strings.Trim(letters, codeLetters) != "" {
			t.Errorf("level %s has letters %s", level, letters)
		}
	}
}

func TestInspectedIsAllOfASmallLot(t *testing.T) {
	p := SamplingPlan{SampleSize: 20}
	for lot, want := range map[int]int{5: 5, 20: 20, 21: 20} {
		if got := p.Inspected(lot); got != want {
			t.Errorf("lot %d: inspects %d, want %d", lot, got, want)
		}
	}
}

func TestOCCurveFallsAndStaysInRange(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lot := rapid.IntRange(2, 5000).Draw(t, "lot")
		n := rapid.IntRange(1, lot).Draw(t, "n")
		c := rapid.IntRange(0, n).Draw(t, "c")
		p := make([]float64, 40)
		for i := range p {
			p[i] = float64(i) / 39
		}
		curve, err := OCCurve(n, c, lot, p)
		if err != nil {
			t.Fatal(err)
		}
		before := OCPoint{Binomial: 1, Poisson: 1, Hypergeometric: 1}
		for i, o := range curve {
			for _, pair := range [][2]float64{{before.Binomial, o.Binomial}, {before.Poisson, o.Poisson}, {before.Hypergeometric, o.Hypergeometric}} {
				if !(pair[1] >= 0 && pair[1] <= pair[0]+1e-12) {
					t.Fatalf("at %g: %+v after %+v", p[i], o, before)
				}
			}
			if !(o.ATI >= float64(n)-1e-9 && o.ATI <= float64(lot)+1e-9 && o.AOQ <= o.AOQApprox && o.AOQ >= 0) {
				t.Fatalf("at %g: ATI or AOQ out of range: %+v", p[i], o)
			}
			before = o
		}
	})
}

// The hypergeometric against exact binomial coefficients.
func TestOCCurveExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lot := rapid.IntRange(1, 60).Draw(t, "lot")
		n, d := rapid.IntRange(1, lot).Draw(t, "n"), rapid.IntRange(0, lot).Draw(t, "d")
		c := rapid.IntRange(0, n).Draw(t, "c")
		curve, err := OCCurve(n, c, lot, []float64{float64(d) / float64(lot)})
		if err != nil {
			t.Fatal(err)
		}
		sum := new(big.Int)
		for x := 0; x <= min(c, d); x++ {
			if n-x <= lot-d {
				ways := new(big.Int).Binomial(int64(d), int64(x))
				sum.Add(sum, ways.Mul(ways, new(big.Int).Binomial(int64(lot-d), int64(n-x))))
			}
		}
		want, _ := new(big.Rat).SetFrac(sum, new(big.Int).Binomial(int64(lot), int64(n))).Float64()
		if got := curve[0].Hypergeometric; math.Abs(got-want) > 1e-13 {
			t.Fatalf("got %v, want %v", got, want)
		}
	})
}

// The sample achieves the confidence and one unit less does not, in exact numbers.
func TestDetectionSampleSizeIsLeast(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lot := rapid.IntRange(1, 300).Draw(t, "lot")
		d := rapid.IntRange(1, lot).Draw(t, "d")
		percent := rapid.IntRange(1, 99).Draw(t, "percent")
		got, err := DetectionSampleSize(lot, d, float64(percent)/100)
		if err != nil {
			t.Fatal(err)
		}
		reaches := func(n int) bool {
			missed := new(big.Rat).SetFrac(new(big.Int).Binomial(int64(lot-d), int64(n)), new(big.Int).Binomial(int64(lot), int64(n)))
			return missed.Cmp(big.NewRat(int64(100-percent), 100)) <= 0
		}
		if !reaches(got.SampleSize) || (got.SampleSize > 1 && reaches(got.SampleSize-1)) {
			t.Fatalf("lot %d, %d nonconforming, %d %%: %+v is not the least", lot, d, percent, got)
		}
		if got.CannonRoeNeeded < 1 || got.CannonRoeNeeded > lot || got.InfiniteLot < got.SampleSize {
			t.Fatalf("lot %d, %d nonconforming, %d %%: %+v", lot, d, percent, got)
		}
	})
}

// A test that never errs makes the positives hypergeometric, and one that answers at random makes
// them binomial whatever the prevalence.
func TestFreedomLimits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pop := rapid.IntRange(1, 200).Draw(t, "population")
		in := FreedomInput{Population: pop, Marked: rapid.IntRange(0, pop).Draw(t, "marked"), Sample: rapid.IntRange(1, pop).Draw(t, "sample")}
		in.Positives = rapid.IntRange(0, in.Sample).Draw(t, "positives")
		in.Sensitivity, in.Specificity = 1, 1
		perfect, err := FreedomFromImperfectTest(in)
		if err != nil {
			t.Fatal(err)
		}
		if want := newExactTable(in.Marked, in.Sample, pop, 1).below(in.Positives); math.Abs(perfect.AtDesign-want) > 1e-12 || perfect.IfFree != 1 {
			t.Fatalf("perfect test: %+v, want %v and 1", perfect, want)
		}
		in.Sensitivity, in.Specificity = 0.3, 0.7
		blind, err := FreedomFromImperfectTest(in)
		if err != nil || math.Abs(blind.AtDesign-blind.IfFree) > 1e-12 {
			t.Fatalf("blind test: %+v, %v", blind, err)
		}
		in.Sensitivity = 0.9
		better, err := FreedomFromImperfectTest(in)
		if err != nil || better.AtDesign > blind.AtDesign+1e-12 {
			t.Fatalf("a more sensitive test gives fewer positives: %+v after %+v, %v", better, blind, err)
		}
	})
}

func TestSamplingRefuses(t *testing.T) {
	nan := math.NaN()
	for name, err := range map[string]error{
		"sample over lot":   second(OCCurve(10, 1, 9, []float64{0.1})),
		"negative accept":   second(OCCurve(10, -1, 0, []float64{0.1})),
		"no sample":         second(OCCurve(0, 0, 0, []float64{0.1})),
		"share over 1":      second(OCCurve(10, 1, 0, []float64{1.1})),
		"share NaN":         second(OCCurve(10, 1, 0, []float64{nan})),
		"nothing to find":   second(DetectionSampleSize(10, 0, 0.95)),
		"more than the lot": second(DetectionSampleSize(10, 11, 0.95)),
		"certainty":         second(DetectionSampleSize(10, 1, 1)),
		"unknown AQL":       second(NormalPlan("F", 5)),
		"unknown letter":    second(NormalPlan("I", 4)),
		"two letters":       second(NormalPlan("AB", 4)),
		"no letter":         second(LetterSampleSize("")),
		"sample over herd":  second(FreedomFromImperfectTest(FreedomInput{Population: 5, Sample: 6})),
		"sensitivity NaN":   second(FreedomFromImperfectTest(FreedomInput{Population: 5, Sample: 5, Sensitivity: nan})),
	} {
		if err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func second[T any](_ T, err error) error { return err }
