package dashboards

import (
	"bytes"
	"flag"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"scanledger/queries"
)

var update = flag.Bool("update", false, "write golden files anew")

func ptr[T any](v T) *T { return &v }

// strong is a small book whose figures say something.
func strong() *queries.Book {
	b := &queries.Book{AsOf: "2026-09-07", From: "2026-07", To: "2026-08", Floor: 30}
	b.Labels.Materials = map[string]string{"board": "Board", "brick": "Brick"}
	b.Labels.Regions = map[string]string{"N": "North", "S": "South"}
	rate := func(by string, n, active int64, low, high queries.Figure) queries.DetectionRow {
		return queries.DetectionRow{Cut: queries.Cut{By: by}, PointVisits: &n, Active: active, Sites: 90, Rate: queries.Figure(float64(active) / float64(n)),
			Low: low, High: high, DesignEffect: 1.5, NEffective: queries.Figure(float64(n) / 1.5), Enough: true}
	}
	of := func(r queries.DetectionRow, set func(c *queries.Cut)) queries.DetectionRow { set(&r.Cut); return r }
	gain := func(g int, n, active int64, low, high queries.Figure) queries.DetectionRow {
		r := rate("gain", n, active, low, high)
		r.Readings, r.PointVisits, r.Gain = &n, nil, &g
		return r
	}
	b.Detection = []queries.DetectionRow{
		rate("all", 1000, 120, 0.1, 0.14),
		of(rate("material", 600, 90, 0.13, 0.18), func(c *queries.Cut) { c.Material = ptr("board") }),
		of(rate("material", 400, 30, 0.05, 0.1), func(c *queries.Cut) { c.Material = ptr("brick") }),
		gain(1, 700, 35, 0.03, 0.07), gain(5, 900, 180, 0.17, 0.23),
		of(rate("season", 1000, 120, 0.1, 0.14), func(c *queries.Cut) { c.Season = ptr("winter") }),
		of(rate("region", 500, 90, 0.15, 0.21), func(c *queries.Cut) { c.Region = ptr("N") }),
		of(rate("region", 500, 30, 0.04, 0.08), func(c *queries.Cut) { c.Region = ptr("S") }),
		of(rate("month", 500, 60, 0.09, 0.15), func(c *queries.Cut) { c.Month = ptr("2026-07") }),
		of(rate("month", 500, 60, 0.09, 0.15), func(c *queries.Cut) { c.Month = ptr("2026-08") }),
	}
	checked := func(by string, confirmed, verified int64, low, high queries.Figure) queries.AccuracyRow {
		r := queries.AccuracyRow{ActiveCalls: verified + 20, ActiveVerified: verified, ActiveVerifiedShare: queries.Figure(float64(verified) / float64(verified+20)),
			Confirmed: confirmed, FalseAlarms: verified - confirmed, PPV: queries.Figure(float64(confirmed) / float64(verified)), PPVLow: low, PPVHigh: high,
			ClearCalls: 880, ClearVerified: 44, ClearVerifiedShare: 0.05, Missed: 4, Sensitivity: 0.6, SensitivityLow: 0.4, SensitivityHigh: 0.8,
			Specificity: 0.97, SpecificityLow: 0.95, SpecificityHigh: 0.98, SensitivityNaive: 0.95, SpecificityNaive: 0.7, Enough: true, SensitivityEnough: true, SpecificityEnough: true, OpeningsNeeded: ptr[int64](70)}
		r.By = by
		return r
	}
	board, brick := checked("material", 45, 50, 0.79, 0.96), checked("material", 20, 50, 0.28, 0.54)
	board.Material, brick.Material = ptr("board"), ptr("brick")
	july, august := checked("month", 40, 50, 0.68, 0.9), checked("month", 25, 50, 0.36, 0.64)
	july.Month, august.Month = ptr("2026-07"), ptr("2026-08")
	b.Accuracy = []queries.AccuracyRow{checked("all", 65, 100, 0.55, 0.74), board, brick, july, august}
	compared := func(id string, n, observed int64, expected, ratio, low, high, z, q queries.Figure, standing string) queries.ConsistencyRow {
		return queries.ConsistencyRow{TechnicianID: id, Measure: "false_alarms", Opportunities: n, Observed: observed, Expected: expected, Rate: queries.Figure(float64(observed) / float64(n)),
			Ratio: ratio, Low: low, High: high, DesignEffect: 1.2, Spread: 0.1, LimitLow998: 0.2, LimitLow95: 0.4, LimitHigh95: 1.7, LimitHigh998: 2.1, Z: z, P: q, Q: q,
			ShrunkRatio: ratio, ShrunkRate: 0.3, ExpectedWithGain: expected, RatioWithGain: ratio, ExplainedByGain: queries.Unknown, Enough: n >= 30, Standing: standing}
	}
	b.Consistency = []queries.ConsistencyRow{
		compared("T1", 60, 33, 12, 2.75, 1.9, 3.9, 5, 0.0002, queries.Act),
		compared("T2", 40, 8, 12, 0.67, 0.3, 1.3, -1, 0.3, queries.InLine),
		compared("T3", 3, 1, 1, 1, 0, 5, 0, queries.Unknown, queries.InLine),
	}
	b.Consistency[0].ExplainedByGain = 0.25
	b.Drift = append(drifted("T1", queries.Up), steady("T2")...)
	b.Quality = []queries.QualityRow{{File: "readings.csv", SHA256: "00", RecordSet: "readings", ReceivedOn: "2026-09-07", Rows: 1010, Accepted: 1000, Duplicate: 3, Corrected: 2, Waiting: 1, Rejected: 4}}
	b.RejectRules = []queries.RejectRuleRow{{File: "readings.csv", RecordSet: "readings", Column: "gain", Rule: "gain_within_unit", Times: 4, FirstLine: 7, Example: "9"}}
	b.Flow = []queries.FlowRow{{Step: "readings", N: 1600}, {Step: "control_readings", N: 20}, {Step: "points", N: 1000}, {Step: "call", Call: "active", N: 120},
		{Step: "call", Call: "clear", N: 880}, {Step: "verified", Call: "active", N: 100}, {Step: "verified", Call: "clear", N: 44},
		{Step: "finding", Call: "active", Outcome: "active", N: 65}, {Step: "finding", Call: "active", Outcome: "not_active", N: 35},
		{Step: "finding", Call: "clear", Outcome: "active", N: 4}, {Step: "finding", Call: "clear", Outcome: "not_active", N: 40}}
	b.Findings = []queries.Finding{{Text: "T1 raised false alarms at 33 of 60 verified active calls.", Page: "technicians.html"}}
	b.Statement = []queries.StatementRow{{Topic: "confirmed", Text: "Activity was found at 65 of 100 verified calls of movement (65%, 95% interval 55% to 74%).", N: ptr[int64](100), Rate: 0.65, Low: 0.55, High: 0.74},
		{Topic: "limits", Text: "A clear reading never proves absence.", Rate: queries.Unknown, Low: queries.Unknown, High: queries.Unknown}}
	seasons(b)
	withPatterns(b)
	rechecked(b)
	fleet(b)
	habitsOf(b)
	logsOf(b)
	b.AuditSample = auditSamples()
	return b
}

// thin is strong with too few cases everywhere.
func thin() *queries.Book {
	b := strong()
	for i := range b.Detection {
		b.Detection[i].Enough = false
	}
	for i := range b.Accuracy {
		b.Accuracy[i].Enough = false
		b.Accuracy[i].Sensitivity, b.Accuracy[i].SensitivityEnough, b.Accuracy[i].SpecificityEnough = queries.Unknown, false, false
		b.Accuracy[i].SensitivityWhyNot = "fewer verified clear calls than the floor"
	}
	for i := range b.Statement {
		b.Statement[i].Rate = queries.Unknown
	}
	for i := range b.Consistency {
		b.Consistency[i].Enough = false
	}
	b.Drift = append(unwatched("T1"), unwatched("T2")...)
	thinSeasons(b)
	thinRechecks(b)
	thinFleet(b)
	fewHabits(b)
	thinSamples(b)
	b.Findings = nil
	return b
}

// level is strong with nothing standing clear of anything.
func level() *queries.Book {
	b := strong()
	for i := range b.Detection {
		b.Detection[i].Low, b.Detection[i].High = 0.01, 0.9
	}
	for i := range b.Accuracy {
		b.Accuracy[i].PPVLow, b.Accuracy[i].PPVHigh, b.Accuracy[i].SensitivityHigh = 0.1, 0.99, 0.97
	}
	for i := range b.Consistency {
		b.Consistency[i].Standing = queries.InLine
	}
	b.Drift = append(steady("T1"), steady("T2")...)
	levelSeasons(b)
	levelRechecks(b)
	levelFleet(b)
	sameHabits(b)
	return b
}

func books() map[string]*queries.Book {
	return map[string]*queries.Book{"strong": strong(), "thin": thin(), "level": level(), "nothing": {AsOf: "2026-09-07", Floor: 30}}
}

// TestHeadings: a heading claims what its figures show and nothing else.
func TestHeadings(t *testing.T) {
	all := func(b *queries.Book) queries.AccuracyRow { r, _ := allAccuracy(b); return r }
	headings := []struct {
		name string
		of   func(b *queries.Book) string
		want map[string]string
	}{
		{"overview", overviewHeading, map[string]string{"strong": "65% of checked active calls were confirmed", "level": "65% of checked active calls were confirmed",
			"thin": "Too few active calls have been checked to say how they hold up: 100 of 120", "nothing": "No calls have been taken in yet"}},
		{"held up", heldUpHeading, map[string]string{"strong": "Fewer active calls are confirmed in Aug 2026 than in Jul 2026",
			"level": "Between Jul 2026 and Aug 2026, no change in confirmed calls beyond what chance gives",
			"thin":  "Too few months have enough checked calls to show a course", "nothing": "Too few months have enough checked calls to show a course"}},
		{"detection", detectionHeading, map[string]string{"strong": "Movement was called at 12% of 1000 points tested", "level": "Movement was called at 12% of 1000 points tested",
			"thin": "Too few points to say how often movement is shown: 1000", "nothing": "No points have been tested yet"}},
		{"material and gain", materialGainHeading, map[string]string{"strong": "Readings at gain 5 show movement more often than at gain 1",
			"level": "From gain 1 to gain 5, no difference beyond what chance gives", "thin": "Too few readings to compare gain steps", "nothing": "Too few readings to compare gain steps"}},
		{"region", func(b *queries.Book) string { return spreadHeading(b, "region", "region", b.Labels.Region) }, map[string]string{
			"strong": "Movement is called more often in one region than another: North 18%, South 6.0%", "level": "No region stands clear of the others",
			"thin": "Too few points to compare one region with another", "nothing": "Too few points to compare one region with another"}},
		{"season", func(b *queries.Book) string {
			return spreadHeading(b, "season", "season", func(s string) string { return s })
		},
			map[string]string{"strong": "Too few points to compare one season with another", "level": "Too few points to compare one season with another",
				"thin": "Too few points to compare one season with another", "nothing": "Too few points to compare one season with another"}},
		{"confirmed", confirmedHeading, map[string]string{"strong": "Active calls hold up best on Board (90% of 50) and least on Brick (40% of 50)",
			"level": "On no material do active calls hold up better than on another, beyond what chance gives", "thin": "Too few checked calls to compare materials", "nothing": "Too few checked calls to compare materials"}},
		{"technicians", techniciansHeading, map[string]string{"strong": "1 of 2 technicians fall outside the outer limits on some measure", "level": "All 2 technicians are within what chance allows",
			"thin": "Too few cases to compare technicians", "nothing": "Too few cases to compare technicians"}},
		{"false alarms", func(b *queries.Book) string { return measureHeading("False alarms", measured(b, "false_alarms")) }, map[string]string{
			"strong": "False alarms: 1 of 2 outside the outer limits", "level": "False alarms: nobody is outside the outer limits",
			"thin": "False alarms: too few cases to judge anyone", "nothing": "False alarms: too few cases to judge anyone"}},
		{"auditor", auditorHeading, map[string]string{"strong": "83% of active calls and 5.0% of clear calls were ever checked", "level": "83% of active calls and 5.0% of clear calls were ever checked",
			"thin": "83% of active calls and 5.0% of clear calls were ever checked", "nothing": "There are no calls to audit yet"}},
		{"checked", checkedHeading, map[string]string{"strong": "Active calls are checked 17 times as often as clear ones, which flatters what is found",
			"level": "Active calls are checked 17 times as often as clear ones, which flatters what is found",
			"thin":  "Active calls are checked 17 times as often as clear ones, which flatters what is found", "nothing": "Too little has been checked to compare"}},
		{"corrected", func(b *queries.Book) string { return correctedHeading(all(b)) }, map[string]string{
			"strong": "Counting only checked points, sensitivity looks like 95%; corrected, it is nearer 60%", "level": "Correcting for what was never checked moves sensitivity no further than its own doubt",
			"thin": "What is missed cannot be said: fewer verified clear calls than the floor", "nothing": "What is missed cannot be said: there are no calls"}},
		{"corrected by cut", cutsHeading, map[string]string{"strong": "In 2 of 2 cuts, enough was checked to say what is missed", "level": "In 2 of 2 cuts, enough was checked to say what is missed",
			"thin": "In no cut was enough checked to say what is missed", "nothing": "There is nothing to compare yet"}},
		{"quote", quoteHeading, map[string]string{"strong": "What may be said, with 1 rate and its interval", "level": "What may be said, with 1 rate and its interval",
			"thin": "What may be said holds no rate yet", "nothing": "What may be said holds no rate yet"}},
		{"audit samples", auditSampleHeading, map[string]string{"strong": "Audit samples put missed points at 2.1% of clear calls (0.7% to 4.9%)", "level": "Audit samples put missed points at 2.1% of clear calls (0.7% to 4.9%)",
			"thin": "Audit samples do not say yet: 25 answers from 150 drawn points", "nothing": "No audit sample has been drawn"}},
		{"quality", qualityHeading, map[string]string{"strong": "All 1010 rows of 1 file are accounted for", "level": "All 1010 rows of 1 file are accounted for",
			"thin": "All 1010 rows of 1 file are accounted for", "nothing": "No rows have been taken in yet"}},
	}
	for _, h := range headings {
		for name, b := range books() {
			if got := h.of(b); got != h.want[name] {
				t.Errorf("%s, %s figures:\ngot  %q\nwant %q", h.name, name, got, h.want[name])
			}
		}
	}
}

// forbidden are words a page never prints (TRADE: laws of several places say a report is no guarantee).
var forbidden = regexp.MustCompile(`(?i)guaranteed|certified|termite free|no termites\b|100 % sure|safe to buy|all areas checked`)

func TestPagesAgainstGolden(t *testing.T) {
	for name, b := range books() {
		dir := t.TempDir()
		if err := Write(dir, b, Business{Name: "House", Currency: "credits", FalseAlarmCost: 380, MissedCost: 2600}); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		for _, p := range pages {
			raw, err := os.ReadFile(filepath.Join(dir, p.link.File))
			if err != nil {
				t.Fatal(err)
			}
			if len(raw) > 400<<10 {
				t.Errorf("%s, %s: %d bytes", p.link.File, name, len(raw))
			}
			raw = said(raw)
			if bad := forbidden.FindString(string(raw)); bad != "" {
				t.Errorf("%s, %s: says %q", p.link.File, name, bad)
			}
			if strings.Contains(string(raw), "NaN") || strings.Contains(string(raw), "%!") {
				t.Errorf("%s, %s: an unformatted number", p.link.File, name)
			}
			if name == "strong" {
				golden(t, p.link.File, raw)
			}
		}
	}
}

// said is a page less its style, script and queries.
func said(page []byte) []byte {
	return regexp.MustCompile(`(?s)<style>.*?</style>|<script>.*?</script>|<meta http-equiv[^>]*>|<pre.*?</pre>`).ReplaceAll(page, nil)
}

// golden compares what a page says with what is kept.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.MkdirAll("testdata", 0o750); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, got, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil || !bytes.Equal(got, want) {
		t.Errorf("%s differs from its golden file (%v); look at it and run go test ./dashboards -update", name, err)
	}
}

// TestHostileTextIsText puts markup into every name a supplier gives.
func TestHostileTextIsText(t *testing.T) {
	const evil = `"><script>alert(1)</script><img src=x onerror=alert(1)>'&{{.}}`
	b := strong()
	b.Labels.Materials = map[string]string{"board": evil, "brick": evil}
	b.Labels.Regions = map[string]string{"N": evil, "S": evil}
	for i := range 6 {
		b.Drift[i].TechnicianID, b.Drift[i].WhatChanged = evil, evil
	}
	b.Consistency[0].TechnicianID, b.Quality[0].File, b.RejectRules[0].Example, b.RejectRules[0].Column = evil, evil, evil, evil
	b.Units[0].UnitID, b.Units[0].Model, b.UnitUse[0].UnitID, b.Agreement[1].TechnicianID, b.GainUse[0].TechnicianID, b.Repeats[1].TechnicianID = evil, evil, evil, evil, evil, evil
	dir := t.TempDir()
	if err := Write(dir, b, Business{Name: evil, Currency: evil, FalseAlarmCost: 1}); err != nil {
		t.Fatal(err)
	}
	for _, p := range pages {
		raw, err := os.ReadFile(filepath.Join(dir, p.link.File))
		if err != nil {
			t.Fatal(err)
		}
		if bytes.Contains(raw, []byte("<script>alert")) || bytes.Contains(raw, []byte("<img src=x")) {
			t.Errorf("%s: hostile text came through as markup", p.link.File)
		}
	}
}

// TestContrast: every text stands out from what it lies on by at least 4.5 : 1 (WCAG 2.1, 1.4.3, with its
// formula of relative luminance), in both themes.
func TestContrast(t *testing.T) {
	css := asset("page.css")
	light, dark := colours(t, css[:strings.Index(css, "@media")]), colours(t, css[strings.Index(css, "@media"):])
	pairs := [][2]string{{"ink", "paper"}, {"soft", "paper"}, {"deep", "paper"}, {"rust", "paper"}, {"violet", "paper"}, {"ink", "band2"}, {"ink", "band1"},
		{"rust", "band1"}, {"rust", "band2"}, {"soft", "band2"}, {"on-dark", "r5"}, {"on-dark", "r6"}}
	for i := range 5 {
		pairs = append(pairs, [2]string{"ink", "r" + strconv.Itoa(i)})
	}
	for theme, c := range map[string]map[string]float64{"light": light, "dark": dark} {
		for _, p := range pairs {
			a, b := c[p[0]], c[p[1]]
			if ratio := (math.Max(a, b) + 0.05) / (math.Min(a, b) + 0.05); ratio < 4.5 {
				t.Errorf("%s: %s on %s has contrast %.2f", theme, p[0], p[1], ratio)
			}
		}
	}
}

// colours reads the relative luminance of each colour variable.
func colours(t *testing.T, css string) map[string]float64 {
	t.Helper()
	out := map[string]float64{}
	for _, m := range regexp.MustCompile(`--([a-z0-9-]+): #([0-9A-F]{6});`).FindAllStringSubmatch(css, -1) {
		var sum float64
		for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
			v, err := strconv.ParseUint(m[2][2*i:2*i+2], 16, 8)
			if err != nil {
				t.Fatal(err)
			}
			c := float64(v) / 255
			if c <= 0.04045 {
				c /= 12.92
			} else {
				c = math.Pow((c+0.055)/1.055, 2.4)
			}
			sum += weight * c
		}
		out[m[1]] = sum
	}
	if len(out) < 18 {
		t.Fatalf("only %d colours found", len(out))
	}
	return out
}
