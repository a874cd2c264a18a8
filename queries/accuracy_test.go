package queries

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"scanledger/queries/stats"
)

// byCut is the row of the cut whose only named value is value; "" for all calls.
func byCut(t *testing.T, b *Book, by, value string) AccuracyRow {
	t.Helper()
	i := slices.IndexFunc(b.Accuracy, func(r AccuracyRow) bool {
		named := map[string]*string{"material": r.Material, "density_class": r.DensityClass, "model": r.Model, "thickness_band": r.ThicknessBand}[by]
		return r.By == by && (named == nil || *named == value)
	})
	if i < 0 {
		t.Fatalf("no row by %s %s in %+v", by, value, b.Accuracy)
	}
	return b.Accuracy[i]
}

// publishedVerification is an example of partial verification in testdata/published.json.
type publishedVerification struct {
	Input struct {
		ActiveYes  int `json:"test_positive_disease"`
		ActiveNo   int `json:"test_positive_no_disease"`
		ActiveOpen int `json:"test_positive_unverified"`
		ClearYes   int `json:"test_negative_disease"`
		ClearNo    int `json:"test_negative_no_disease"`
		ClearOpen  int `json:"test_negative_unverified"`
	}
	Expected struct {
		NaiveSensitivity float64 `json:"naive_sensitivity"`
		NaiveSpecificity float64 `json:"naive_specificity"`
		Sensitivity      float64
		SensitivitySE    float64    `json:"sensitivity_se"`
		SensitivityLogit [2]float64 `json:"sensitivity_logit_ci"`
		Specificity      float64
		SpecificitySE    float64    `json:"specificity_se"`
		SpecificityLogit [2]float64 `json:"specificity_logit_ci"`
		PPV              float64
	}
	Tolerance float64
}

// TestPublishedPartialVerification takes each published table in as record files, one point a site,
// and holds the analysis to the published figures. Our intervals take t for the number of sites where
// the published ones are normal; the test widens those by just that.
func TestPublishedPartialVerification(t *testing.T) {
	for _, id := range []string{"drum1972-hepatic", "cecil1996-spect-cad"} {
		t.Run(id, func(t *testing.T) {
			var c publishedVerification
			published(t, id, &c)
			in, want := c.Input, c.Expected
			points := crossed{in.ActiveYes, in.ActiveNo, in.ActiveOpen, in.ClearYes, in.ClearNo, in.ClearOpen}
			b := bookOf(t, points.visits("board", 1))
			sites := in.ActiveYes + in.ActiveNo + in.ActiveOpen + in.ClearYes + in.ClearNo + in.ClearOpen
			df := distuv.StudentsT{Sigma: 1, Nu: float64(sites - 1)}
			for _, r := range []AccuracyRow{byCut(t, b, "all", ""), byCut(t, b, "material", "board"), byCut(t, b, "model", "M1")} {
				close(t, "sensitivity", r.Sensitivity, want.Sensitivity, c.Tolerance)
				close(t, "specificity", r.Specificity, want.Specificity, c.Tolerance)
				close(t, "naive sensitivity", r.SensitivityNaive, want.NaiveSensitivity, c.Tolerance)
				close(t, "naive specificity", r.SpecificityNaive, want.NaiveSpecificity, c.Tolerance)
				close(t, "ppv", r.PPV, float64(in.ActiveYes)/float64(in.ActiveYes+in.ActiveNo), c.Tolerance)
				for _, ci := range []struct {
					what      string
					low, high Figure
					p, se     float64
					published [2]float64
				}{{"sensitivity", r.SensitivityLow, r.SensitivityHigh, want.Sensitivity, want.SensitivitySE, want.SensitivityLogit},
					{"specificity", r.SpecificityLow, r.SpecificityHigh, want.Specificity, want.SpecificitySE, want.SpecificityLogit}} {
					half := df.Quantile(0.975) * ci.se / (ci.p * (1 - ci.p))
					centre := math.Log(ci.p / (1 - ci.p))
					close(t, ci.what+" low, from the published standard error", ci.low, 1/(1+math.Exp(half-centre)), c.Tolerance)
					close(t, ci.what+" high, from the published standard error", ci.high, 1/(1+math.Exp(-half-centre)), c.Tolerance)
					close(t, ci.what+" low as published", ci.low, ci.published[0], 2e-4)
					close(t, ci.what+" high as published", ci.high, ci.published[1], 2e-4)
				}
				if r.Clusters != int64(sites) || r.Strata != 1 || r.StrataMerged != 0 || !r.SensitivityEnough {
					t.Errorf("%+v", r)
				}
			}
		})
	}
}

// TestStratifiedCorrection: clear calls on brick are opened far less than on board, and brick hides
// more. By hand, stratum by stratum:
//
//	board: 100 active, 80 of 80 checked right:      A = 100;  200 clear, 10 of 100 checked missed: B = 20
//	brick: 100 active, 30 of 60 checked right:      A =  50;  400 clear, 10 of 20 checked missed: B = 200
//	sensitivity (100+50)/(100+50+20+200) = 150/370; specificity (180+200)/(180+200+0+50) = 380/430
//
// as one group it would be A = 200·110/140, B = 600·20/120, sensitivity 0.6111.
func TestStratifiedCorrection(t *testing.T) {
	board, brick := crossed{80, 0, 20, 10, 90, 100}, crossed{30, 30, 40, 10, 10, 380}
	b := bookOf(t, append(board.visits("board", 4), brick.visits("brick", 4)...))
	r := byCut(t, b, "all", "")
	close(t, "sensitivity", r.Sensitivity, 150./370, 1e-12)
	close(t, "specificity", r.Specificity, 380./430, 1e-12)
	close(t, "naive sensitivity", r.SensitivityNaive, 110./130, 1e-12)
	if r.Strata != 2 || r.StrataMerged != 0 || r.Clusters != 200 {
		t.Errorf("%d strata, %d merged, %d clusters", r.Strata, r.StrataMerged, r.Clusters)
	}
	close(t, "board alone", byCut(t, b, "material", "board").Sensitivity, 100./120, 1e-12)
	close(t, "dense alone", byCut(t, b, "density_class", "dense").Sensitivity, 50./250, 1e-12)
	if !(r.SensitivityLow < r.Sensitivity && r.Sensitivity < r.SensitivityHigh) || r.SensitivityDesignEffect < 1 {
		t.Errorf("interval %v to %v, design effect %v", r.SensitivityLow, r.SensitivityHigh, r.SensitivityDesignEffect)
	}
}

// TestSparseStrata: block and foam have clear calls of which none was opened; they make one remainder,
// which board, the smaller of the others, must join. By hand:
//
//	brick: A = 60·30/40 = 45, B = 90·5/30 = 15
//	rest:  active 20+10+10, 25 of 30 checked right: A = 40·25/30; clear 40+10+10, 3 of 20 checked missed: B = 60·3/20
func TestSparseStrata(t *testing.T) {
	visits := slices.Concat(
		crossed{30, 10, 20, 5, 25, 60}.visits("brick", 3),
		crossed{10, 2, 8, 3, 17, 20}.visits("board", 3),
		crossed{9, 1, 0, 0, 0, 10}.visits("block", 3),
		crossed{6, 2, 2, 0, 0, 10}.visits("foam", 3))
	b := bookOf(t, visits)
	r := byCut(t, b, "all", "")
	found, missed := 45+40*25./30, 15+60*3./20
	close(t, "sensitivity", r.Sensitivity, found/(found+missed), 1e-12)
	if r.Strata != 2 || r.StrataMerged != 3 {
		t.Errorf("%d strata, %d merged", r.Strata, r.StrataMerged)
	}
	block := byCut(t, b, "material", "block")
	if block.Sensitivity.Known() || block.Specificity.Known() || block.SensitivityEnough || block.SensitivityWhyNot != "no clear call was ever opened" {
		t.Errorf("clear calls on block were never opened: %+v", block)
	}
	notes := strings.Join(b.Result("accuracy").Notes, "\n")
	if !strings.Contains(notes, "weighs 2 strata") || !strings.Contains(notes, "remainder of 3") {
		t.Errorf("notes do not tell of the strata: %s", notes)
	}
}

// TestCalledAgain: of 200 clear calls, 20 are called active by a recheck, and so all are opened: 16 are
// active. Of the other 180, 30 are opened at random and 3 are active. The 20 rechecks are active calls
// at points that the first visit called clear, and so are no stratum of their own with it:
//
//	first visits, not called again: 100 active, 40 of 50 checked right: A = 80;  B = 180·3/30 = 18
//	clear, then active:             B = 16
//	rechecks (the other visit called clear, so among the first): 20 active, 16 of 20 right
//
// A = (100+20)·(40+16)/(50+20) = 96; sensitivity 96/(96+18+16). Openings taken as a random draw
// would give B = 200·19/50 = 76.
func TestCalledAgain(t *testing.T) {
	visits := slices.Concat(
		crossed{40, 10, 50, 3, 27, 150}.visits("board", 1),
		crossed{0, 0, 0, 16, 4, 0}.visits("board", 1))
	for i := range 20 {
		v := &visits[280+i]
		v.site, v.recheck = "again"+v.site, "active"
	}
	r := byCut(t, bookOf(t, visits), "all", "")
	close(t, "sensitivity", r.Sensitivity, 96./(96+18+16), 1e-12)
	if r.Strata != 2 || r.Missed != 19 || r.ActiveCalls != 120 {
		t.Errorf("%+v", r)
	}
}

// TestReportsStayApart: what only a report or a return visit says changes no rate.
func TestReportsStayApart(t *testing.T) {
	points := crossed{40, 10, 5, 6, 34, 50}.visits("board", 2)
	before := byCut(t, bookOf(t, points), "all", "")
	for i := range points {
		if v := &points[i]; v.method == "" {
			v.method, v.result = []string{"return_visit", "occupant_report"}[i%2], "active"
		}
	}
	after := byCut(t, bookOf(t, points), "all", "")
	if after.ConfirmedReported != 5 || after.MissedReported != 50 {
		t.Errorf("reported: %d confirmed, %d missed", after.ConfirmedReported, after.MissedReported)
	}
	after.ConfirmedReported, after.MissedReported = 0, 0
	one, err := json.Marshal(before)
	if err != nil {
		t.Fatal(err)
	}
	if other, err := json.Marshal(after); err != nil || string(one) != string(other) {
		t.Errorf("reports changed a figure (%v):\n%s\n%s", err, one, other)
	}
}

// TestClusteredPoints: four points of a site that are alike in all tell as much as one.
func TestClusteredPoints(t *testing.T) {
	single := crossed{60, 20, 20, 10, 70, 120}
	times4 := crossed{240, 80, 80, 40, 280, 480}
	one, four := byCut(t, bookOf(t, single.visits("board", 1)), "all", ""), byCut(t, bookOf(t, times4.visits("board", 4)), "all", "")
	close(t, "sensitivity", four.Sensitivity, float64(one.Sensitivity), 1e-12)
	close(t, "its low end", four.SensitivityLow, float64(one.SensitivityLow), 2e-3)
	close(t, "its high end", four.SensitivityHigh, float64(one.SensitivityHigh), 2e-3)
	close(t, "low end of ppv", four.PPVLow, float64(one.PPVLow), 1e-2)
	close(t, "design effect of ppv", four.PPVDesignEffect, 4, 0.1)
	close(t, "design effect of sensitivity", four.SensitivityDesignEffect, 4, 0.1)
}

// TestAccuracyEnough: what is said of rates that rest on too little.
func TestAccuracyEnough(t *testing.T) {
	for name, c := range map[string]struct {
		points  crossed
		enough  bool
		whyNot  string
		opening string
	}{
		"strong":          {crossed{200, 40, 60, 20, 300, 900}, true, "", ""},
		"nothing":         {crossed{}, false, "there are no calls", "0 of 0 clear calls"},
		"never opened":    {crossed{100, 20, 30, 0, 0, 900}, false, "no clear call was ever opened", "at worst"},
		"never verified":  {crossed{0, 0, 30, 5, 60, 900}, false, "no active call was verified", "cannot be said before"},
		"few opened":      {crossed{100, 20, 30, 5, 10, 900}, false, "fewer verified clear calls than the floor", "drawn at random"},
		"few verified":    {crossed{10, 5, 30, 5, 60, 900}, false, "fewer verified active calls than the floor", ""},
		"none missed":     {crossed{100, 20, 30, 0, 60, 900}, false, "too few missed points are known: 0, under 5", "at worst"},
		"one missed":      {crossed{100, 20, 30, 1, 60, 900}, false, "too few missed points are known: 1, under 5", "if what was found so far holds"},
		"all are checked": {crossed{900, 90, 0, 100, 900, 0}, true, "", "none more is needed"},
	} {
		a := audit{floor: DefaultFloor}
		for i, v := range c.points.visits("board", 1) {
			if err := a.add(v.calls(i)); err != nil {
				t.Fatalf("%s: %v", name, err)
			}
		}
		rows, err := a.finish()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		r := rows[0]
		if r.SensitivityEnough != c.enough || r.SensitivityWhyNot != c.whyNot {
			t.Errorf("%s: enough %v, %q", name, r.SensitivityEnough, r.SensitivityWhyNot)
		}
		if got := OpeningsInWords(r); !strings.Contains(got, c.opening) {
			t.Errorf("%s: %q does not say %q", name, got, c.opening)
		}
		if _, err := json.Marshal(rows); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// calls is the visit as the query counts it, alone at its site.
func (v visit) calls(i int) siteCalls {
	arm := stats.TestArm{Unverified: 1}
	switch {
	case v.result == "active":
		arm = stats.TestArm{Condition: 1}
	case v.result != "":
		arm = stats.TestArm{NoCondition: 1}
	}
	c := siteCalls{AccuracyCut: AccuracyCut{By: "all"}, site: int64(i), stratum: v.material}
	if v.call == "active" {
		c.active = arm
	} else {
		c.clear = arm
	}
	return c
}
