package queries

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"scanledger/ingest/store"
	"scanledger/queries/sampling"
	"scanledger/transform"
	"scanledger/transform/engine"
	"scanledger/transform/settle"
)

// site is one site's points in a test of weights.
func drawnAt(site string, chance float64, drawn, back, faults int64) drawnSite {
	return drawnSite{draw: 1, sample: "s", month: "2026-08", measure: Missed, site: site, chance: chance, frame: drawn, drawn: drawn, cameBack: back, faults: faults}
}

// TestWeighSample: by hand. Three sites: chance 0.5 with 2 answers, 1 at fault; 0.1 with 1, none; 0.25 with 1,
// at fault. Weighted: faults 2 + 4 = 6 of 4 + 10 + 4 = 18.
func TestWeighSample(t *testing.T) {
	sites := []drawnSite{{draw: 1, sample: "s", month: "2026-08", measure: Missed, chance: 1, frame: 96},
		drawnAt("A", 0.5, 2, 2, 1), drawnAt("B", 0.1, 1, 1, 0), drawnAt("C", 0.25, 1, 1, 1)}
	r, err := weighSample(AuditSampleRow{}, sites, 3)
	if err != nil || r.Frame != 100 || r.Drawn != 4 || r.CameBack != 4 || r.Faults != 2 || r.Outstanding != 0 {
		t.Fatalf("%+v (%v)", r, err)
	}
	if math.Abs(float64(r.Rate)-6.0/18) > 1e-12 || math.Abs(float64(r.Total)-6) > 1e-12 || r.RateIfAll != r.RateIfNone {
		t.Errorf("%+v", r)
	}
	if r.Low >= r.Rate || r.High <= r.Rate {
		t.Errorf("interval %g to %g around %g", r.Low, r.High, r.Rate)
	}
	sites[2].cameBack = 0 // B, which stands for ten
	if r, err = weighSample(AuditSampleRow{}, sites, 3); err != nil || r.Outstanding != 1 || r.Total.Known() {
		t.Fatalf("%+v (%v)", r, err)
	}
	if math.Abs(float64(r.RateIfNone)-6.0/18) > 1e-12 || math.Abs(float64(r.RateIfAll)-16.0/18) > 1e-12 || math.Abs(float64(r.Rate)-6.0/8) > 1e-12 {
		t.Errorf("%+v", r)
	}
	sites[1].cameBack, sites[1].faults = 0, 0
	if r, err = weighSample(AuditSampleRow{}, sites, 1); err != nil || r.Enough || r.WhyNot != "most drawn points have not come back" {
		t.Errorf("1 of 4 back: %+v (%v)", r, err)
	}
}

// TestFirstDrawCounts: of two draws of one month, all months together take the first.
func TestFirstDrawCounts(t *testing.T) {
	first, second, other := drawnAt("A", 0.5, 2, 2, 2), drawnAt("A", 0.5, 2, 2, 0), drawnAt("A", 0.5, 2, 2, 0)
	second.draw, second.sample = 2, "again"
	other.draw, other.sample, other.month = 3, "other", "2026-09"
	rows, err := weighSamples([]drawnSite{first, second, other}, 1)
	if err != nil || len(rows) != 4 || rows[0].Sample != AllSamples || rows[0].Drawn != 4 || rows[0].Faults != 2 {
		t.Fatalf("%+v (%v)", rows, err)
	}
	if rows[1].Sample != "s" || rows[2].Sample != "again" || rows[3].Sample != "other" {
		t.Errorf("order: %v, %v, %v", rows[1].Sample, rows[2].Sample, rows[3].Sample)
	}
}

func TestScore(t *testing.T) {
	for _, s := range Signs() {
		n, text := score([]signAt{{s, true}, {signOverdue, false}})
		if n != 1+s.Points || text != fmt.Sprintf("%s (+%d)", s.Text, s.Points) {
			t.Errorf("%s: %d, %q", s.Text, n, text)
		}
	}
	if n, text := score(nil); n != 1 || text != "" {
		t.Errorf("no sign: %d, %q", n, text)
	}
	at := standingsOf([]ConsistencyRow{{TechnicianID: "A", Enough: true, Standing: Act}, {TechnicianID: "A", Enough: true, Standing: Watch},
		{TechnicianID: "B", Enough: true, Standing: Watch}, {TechnicianID: "C", Standing: Act}, {TechnicianID: "D", Enough: true, Standing: InLine}})
	if len(at) != 2 || at["A"] != Act || at["B"] != Watch {
		t.Errorf("standings %v", at)
	}
}

// TestSampleThroughTheStore draws a sample from the small demo, keeps it, and analyses it: every count agrees
// with the frame that was kept, and a sample of the whole frame gives the shares of the frame themselves.
func TestSampleThroughTheStore(t *testing.T) {
	ctx, dir := context.Background(), t.TempDir()
	storeDir := smallStore(t, dir, 2)
	analyse := func() (*engine.Engine, *Book) {
		st, err := store.Open(storeDir)
		if err != nil {
			t.Fatal(err)
		}
		if err := st.Verify(ctx); err != nil {
			t.Fatal(err)
		}
		e, err := engine.Open(ctx, engine.Options{Threads: 2})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = e.Close() })
		if err := settle.Views(ctx, e, st, 1); err != nil {
			t.Fatal(err)
		}
		if _, err := transform.Facts(ctx, e, filepath.Join(t.TempDir(), "facts"), transform.Options{}, func(string) {}); err != nil {
			t.Fatal(err)
		}
		b, err := Analyse(ctx, e, st, 1, Options{AsOf: time.Unix(0, 0)})
		if err != nil {
			t.Fatal(err)
		}
		return e, b
	}
	e, b := analyse()
	month := b.From
	frame, err := Frame(ctx, e, b, "whole", month)
	if err != nil || len(frame) < 200 {
		t.Fatalf("frame of %d points (%v)", len(frame), err)
	}
	kept := map[string][]store.FrameRow{}
	for name, s := range map[string]sampling.Sizes{"whole": {Frame: len(frame), Random: len(frame)}, "part": {Frame: len(frame), Random: 50, Risk: 30}} {
		rows := append([]store.FrameRow{}, frame...)
		if err := sampling.Draw(rows, s, 7, month); err != nil {
			t.Fatal(err)
		}
		for i := range rows {
			rows[i].Sample = name
		}
		kept[name] = rows
	}
	for _, name := range []string{"whole", "part"} {
		txn, err := store.Begin(storeDir)
		if err != nil {
			t.Fatal(err)
		}
		if err := txn.WriteSample(name, month, map[string]string{"name": name}, kept[name]); err != nil {
			t.Fatal(err)
		}
		if err := txn.Commit(); err != nil {
			t.Fatal(err)
		}
		if err := txn.Close(); err != nil {
			t.Fatal(err)
		}
	}
	_, b = analyse()
	if len(b.AuditSample) != 6 {
		t.Fatalf("%d rows: %+v", len(b.AuditSample), b.AuditSample)
	}
	for _, r := range b.AuditSample {
		name := strings.Replace(r.Sample, AllSamples, "whole", 1)
		var drawn, all, back int64
		for _, f := range kept[name] {
			if r.Measure == Missed && f.Call != "clear" {
				continue
			}
			all++
			if f.Part != "" {
				drawn++
				if r.Measure == Missed && f.Verified || r.Measure == Disagreement && f.Rechecked {
					back++
				}
			}
		}
		if r.Frame != all || r.Drawn != drawn || r.CameBack != back || r.Outstanding+r.Undecided != drawn-back {
			t.Errorf("%s, %s: %+v; frame %d, drawn %d, back %d", r.Sample, r.Measure, r, all, drawn, back)
		}
		if name == "whole" && r.CameBack > 0 && math.Abs(float64(r.Rate)-float64(r.Faults)/float64(r.CameBack)) > 1e-12 {
			t.Errorf("%s, %s: all chances are 1, yet the rate is %g for %d of %d", r.Sample, r.Measure, r.Rate, r.Faults, r.CameBack)
		}
	}
}

// TestAuditCoverage draws 600 samples from worlds whose faults follow the score and the site: the 95% interval
// holds the true share at least 94% of the time.
func TestAuditCoverage(t *testing.T) {
	const worlds, draws = 20, 30
	r := rand.New(rand.NewPCG(11, 12))
	held := 0
	for range worlds {
		frame, fault, faults := []store.FrameRow{}, map[string]int64{}, 0.0
		for i := range 960 {
			f := store.FrameRow{TechnicianID: fmt.Sprintf("T%d", i/120), InspectionID: fmt.Sprintf("I%03d", i/8), SiteID: fmt.Sprintf("S%03d", i/8), PointID: fmt.Sprint(i % 8), Call: "clear", Score: 1 + int32(r.IntN(2))*3}
			if r.Float64() < 0.03*float64(f.Score)*float64(1+i/8%4) {
				fault[f.InspectionID+f.PointID] = 1
				faults++
			}
			frame = append(frame, f)
		}
		for seed := range uint64(draws) {
			if err := sampling.Draw(frame, sampling.Sizes{Frame: len(frame), Random: 56, Risk: 24}, seed, "2026-08"); err != nil {
				t.Fatal(err)
			}
			var sites []drawnSite
			for _, f := range frame { // by technician and inspection, so by site
				if f.Part != "" {
					sites = append(sites, drawnAt(f.SiteID, f.Chance, 1, 1, fault[f.InspectionID+f.PointID]))
				}
			}
			row, err := weighSample(AuditSampleRow{}, sites, 30)
			if err != nil {
				t.Fatal(err)
			}
			if share := Figure(faults / float64(len(frame))); row.Low <= share && share <= row.High {
				held++
			}
		}
	}
	covered := float64(held) / (worlds * draws)
	t.Logf("the interval held the true share %.1f%% of the time", 100*covered)
	if covered < 0.94 {
		t.Errorf("the interval held the true share %.1f%% of the time", 100*covered)
	}
}
