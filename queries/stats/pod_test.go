package stats

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func podOf(t interface{ Fatal(...any) }, in PODInput) POD {
	p, err := ProbabilityOfDetection(in)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// curveData is the counts a curve would give in expectation, n inspections at each of 20 sizes.
func curveData(n int, pod func(size float64) float64) PODInput {
	in := PODInput{Conf: 0.95}
	for i := 1; i <= 20; i++ {
		size := float64(i) / 4
		in.Size = append(in.Size, size)
		in.Inspections = append(in.Inspections, n)
		in.Hits = append(in.Hits, int(math.Round(float64(n)*pod(size))))
	}
	return in
}

func TestPODFindsTheCurve(t *testing.T) {
	const n = 100_000_000 // rounding of expected counts is then the only error
	const b0, b1 = -4.0, 3.0
	for link, fn := range linkFunctions {
		if link == LinkLog {
			continue
		}
		in := curveData(n, func(size float64) float64 { return fn.inverse(b0 + b1*size).mu })
		in.Link = link
		p := podOf(t, in)
		near(t, string(link)+" intercept", p.Intercept, b0, 1e-5)
		near(t, string(link)+" slope", p.Slope, b1, 1e-5)
		near(t, string(link)+" a50", p.A50, (fn.forward(0.5)-b0)/b1, 1e-5)
		near(t, string(link)+" a90", p.A90, (fn.forward(0.9)-b0)/b1, 1e-5)
	}
}

func TestPODFindsFloorAndCeiling(t *testing.T) {
	in := curveData(20_000, func(size float64) float64 { return 0.03 + 0.94*expit(-4+3*size) })
	in.Floor, in.Ceiling = true, true
	p := podOf(t, in)
	near(t, "floor", p.Floor, 0.03, 1e-3)
	near(t, "ceiling", p.Ceiling, 0.97, 1e-3)
	near(t, "slope", p.Slope, 3, 1e-2)
	near(t, "a90", p.A90, (math.Log(0.87/0.07)+4)/3, 5e-3)
	if !(p.A90 < p.A9095LikelihoodRatio && p.A9095LikelihoodRatio < p.A90+0.05) {
		t.Errorf("a90/95 %g beside a90 %g", p.A9095LikelihoodRatio, p.A90)
	}
	plain := in
	plain.Floor, plain.Ceiling = false, false
	if two := podOf(t, plain); p.Deviance > two.Deviance || p.AIC > two.AIC {
		t.Errorf("two more parameters fit worse: %+v and %+v", p, two)
	}
	never := curveData(1000, func(size float64) float64 { return 0.8 * expit(-4+3*size) })
	never.Ceiling = true
	if p := podOf(t, never); !math.IsNaN(p.A90) || len(p.Warnings) == 0 || math.Abs(p.Ceiling-0.8) > 0.01 {
		t.Errorf("levels off at 0.8: %+v", p)
	}
}

// With no false calls and no lost targets the free asymptotes come out at 0 and 1, and the figures
// are those of the plain curve.
func TestPODAsymptotesNotNeeded(t *testing.T) {
	in := curveData(400, func(size float64) float64 { return expit(-6 + 3*size) })
	in.Scale = SizeLog
	plain := podOf(t, in)
	in.Ceiling = true
	free := podOf(t, in)
	if free.Deviance > plain.Deviance+1e-6 {
		t.Errorf("a free ceiling fits worse: %g and %g", free.Deviance, plain.Deviance)
	}
}

func drawPOD(t *rapid.T) PODInput {
	in := PODInput{Conf: 0.95, Scale: SizeLog, Size: []float64{1, 8, 2, 4}, Hits: []int{0, 1, 1, 0}}
	for range rapid.IntRange(8, 60).Draw(t, "n") {
		size := float64(rapid.IntRange(1, 8).Draw(t, "size"))
		in.Size = append(in.Size, size)
		in.Hits = append(in.Hits, min(1, rapid.IntRange(0, int(size)).Draw(t, "hit")/2))
	}
	return in
}

func TestPODProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawPOD(t)
		p := podOf(t, in)
		if !(p.Slope > 0) {
			if !math.IsNaN(p.A90) || len(p.Warnings) == 0 {
				t.Fatalf("does not rise: %+v", p)
			}
			return
		}
		for name, bound := range map[string]float64{"wald": p.A9095Wald, "lr": p.A9095LikelihoodRatio, "delta": p.A9095Delta} {
			if !(bound > p.A90) && len(p.Warnings) == 0 {
				t.Fatalf("%s: bound %g, a90 %g", name, bound, p.A90)
			}
		}
		if !math.IsNaN(p.A9095Wald) { // the lower bound of the predictor reaches link(0.9) there
			x := math.Log(p.A9095Wald)
			se := math.Sqrt(p.SEIntercept*p.SEIntercept + 2*x*p.Covariance + x*x*p.SESlope*p.SESlope)
			if got := expit(p.Intercept + p.Slope*x - normalCritical(0.9)*se); math.Abs(got-0.9) > 1e-6 {
				t.Fatalf("lower bound of POD at the Wald bound is %g", got)
			}
		}
		// Another unit of size, another order, and grouping of equal sizes change nothing.
		inches, grouped := in, PODInput{Conf: in.Conf, Scale: in.Scale}
		inches.Size, inches.Hits = nil, nil
		hits, tried := make(map[float64]int), make(map[float64]int)
		for i := len(in.Size) - 1; i >= 0; i-- {
			inches.Size = append(inches.Size, in.Size[i]/25.4)
			inches.Hits = append(inches.Hits, in.Hits[i])
			hits[in.Size[i]] += in.Hits[i]
			tried[in.Size[i]]++
		}
		for size := 1.0; size <= 8; size++ {
			grouped.Size = append(grouped.Size, size)
			grouped.Hits = append(grouped.Hits, hits[size])
			grouped.Inspections = append(grouped.Inspections, tried[size])
		}
		for _, same := range []struct {
			in   PODInput
			unit float64
		}{{inches, 25.4}, {grouped, 1}} {
			q := podOf(t, same.in)
			for _, pair := range [][2]float64{{p.A50, q.A50}, {p.A90, q.A90}, {p.A9095LikelihoodRatio, q.A9095LikelihoodRatio}} {
				if d := pair[1]*same.unit/pair[0] - 1; math.Abs(d) > 1e-5 || math.IsNaN(pair[0]) != math.IsNaN(pair[1]) {
					t.Fatalf("%+v\n%+v", p, q)
				}
			}
		}
	})
}

func TestPODRefuses(t *testing.T) {
	good := PODInput{Size: []float64{1, 2, 3, 4}, Hits: []int{0, 1, 0, 1}, Conf: 0.95}
	if _, err := ProbabilityOfDetection(good); err != nil {
		t.Fatal(err)
	}
	for name, spoil := range map[string]func(*PODInput){
		"nothing":     func(in *PODInput) { in.Size, in.Hits = nil, nil },
		"lengths":     func(in *PODInput) { in.Hits = in.Hits[1:] },
		"inspections": func(in *PODInput) { in.Inspections = []int{1} },
		"over":        func(in *PODInput) { in.Hits = []int{0, 2, 0, 1} },
		"negative":    func(in *PODInput) { in.Hits = []int{0, -1, 0, 1} },
		"not finite":  func(in *PODInput) { in.Size = []float64{1, 2, 3, math.Inf(1)} },
		"one size":    func(in *PODInput) { in.Size = []float64{1, 1, 1, 1} },
		"log of zero": func(in *PODInput) { in.Size, in.Scale = []float64{0, 2, 3, 4}, SizeLog10 },
		"confidence":  func(in *PODInput) { in.Conf = 0.5 },
		"log link":    func(in *PODInput) { in.Link = LinkLog },
		"other link":  func(in *PODInput) { in.Link = "power" },
	} {
		in := good
		spoil(&in)
		if p, err := ProbabilityOfDetection(in); err == nil {
			t.Errorf("%s: accepted: %+v", name, p)
		}
	}
}

// TestPODRefusesWhatWouldTakeTooLong: with an asymptote the rows are bounded, and without more pass.
func TestPODRefusesWhatWouldTakeTooLong(t *testing.T) {
	in := PODInput{Conf: 0.95}
	for i := range podAsymptoteRows + 1 {
		in.Size, in.Hits = append(in.Size, float64(i)), append(in.Hits, (i/1000+i)%2)
	}
	if _, err := ProbabilityOfDetection(in); err != nil {
		t.Error(err)
	}
	for _, asymptote := range []PODInput{{Floor: true}, {Ceiling: true}} {
		in.Floor, in.Ceiling = asymptote.Floor, asymptote.Ceiling
		if _, err := ProbabilityOfDetection(in); err == nil || !strings.Contains(err.Error(), "at most 5000") {
			t.Errorf("got %v", err)
		}
	}
}
