package queries

import (
	"context"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"scanledger/queries/patterns"
)

// plantedBook is a business whose false alarms gather on block, through record files.
func plantedBook(t *testing.T) *Book {
	t.Helper()
	visits := slices.Concat(crossed{activeYes: 160, activeNo: 40, clearYes: 4, clearNo: 60}.visits("board", 1),
		crossed{activeYes: 160, activeNo: 40, clearYes: 4, clearNo: 60}.visits("brick", 1),
		crossed{activeYes: 20, activeNo: 60, clearYes: 12, clearNo: 30}.visits("block", 1))
	return bookOf(t, visits)
}

// TestPatternThroughRecords: what is planted in record files comes out, with counts, parts and words that agree.
func TestPatternThroughRecords(t *testing.T) {
	b := plantedBook(t)
	s := b.FalseAlarmPatterns
	if !s.Searched || s.Checked != 480 || s.Wrong != 140 || len(s.Patterns) != 1 {
		t.Fatalf("%+v", s)
	}
	p := s.Patterns[0]
	if p.Factors != "material=block" || p.Checked != 80 || p.Wrong != 60 || math.Abs(float64(p.Expected)-16) > 1 || p.Q > 0.001 {
		t.Errorf("%+v", p)
	}
	if p.ByChanceLow > 16 || p.ByChanceHigh < 16 || p.ByChanceHigh >= p.Wrong || p.RatioLow >= p.Ratio || p.RatioHigh <= p.Ratio {
		t.Errorf("by chance %d to %d, ratio %g (%g to %g)", p.ByChanceLow, p.ByChanceHigh, p.Ratio, p.RatioLow, p.RatioHigh)
	}
	if len(p.Look) != patternExamples || !strings.HasPrefix(p.Suggestion, "Try: ") || p.LeadingCause != "" || p.CauseShare.Known() {
		t.Errorf("examples %v, suggestion %q, cause %q", p.Look, p.Suggestion, p.LeadingCause)
	}
	missed := b.MissedPatterns
	if !missed.Searched || len(missed.Patterns) != 1 || missed.Patterns[0].Factors != "material=block" || missed.Patterns[0].Wrong != 12 {
		t.Errorf("missed: %+v", missed)
	}
}

// TestPartsOfPatterns: by whatever a pattern is taken apart, the parts add up to it, and with what lies outside
// to all checked calls.
func TestPartsOfPatterns(t *testing.T) {
	b := plantedBook(t)
	for _, d := range []struct {
		name   string
		search PatternSearch
	}{{"false_alarms", b.FalseAlarmPatterns}, {"missed", b.MissedPatterns}} {
		for _, p := range d.search.Patterns {
			for _, by := range []string{"found", "technician_id", "quarter", "month"} {
				var checked, wrong, allWrong int64
				var share float64
				for _, r := range b.Breakdown {
					if r.Direction == d.name && r.Pattern == p.Number && r.By == by {
						checked, wrong, allWrong, share = checked+r.Checked, wrong+r.Wrong, allWrong+r.Wrong+r.OtherWrong, share+float64(r.Share)
					}
				}
				if wrong != p.Wrong || by != "found" && checked != p.Checked || math.Abs(share-1) > 1e-9 || by != "found" && allWrong != d.search.Wrong {
					t.Errorf("%s by %s: %d of %d wrong (share %g), %d with the others", d.name, by, wrong, checked, share, allWrong)
				}
			}
		}
	}
}

// TestValuesAgainstGroupingSets counts every single circumstance of the small demo once more, in SQL.
func TestValuesAgainstGroupingSets(t *testing.T) {
	b, e := smallDemoEngine(t, 1)
	d := &desk{ctx: context.Background(), eng: e, book: b}
	checked, _, err := readCalls(d, "false_alarm_patterns", 1)
	if err != nil {
		t.Fatal(err)
	}
	tested, err := patterns.Each(callsToSearch(checked), patterns.Options{MinVerified: 1})
	if err != nil {
		t.Fatal(err)
	}
	got := map[string][2]int64{}
	for _, p := range tested {
		got[factorsText(p.Terms)] = [2]int64{int64(p.Verified), int64(p.Wrong)}
	}
	seen := 0
	columns := strings.Join(kindFactors, ", ")
	sets := "(" + strings.Join(kindFactors, "), (") + ")"
	err = d.eng.Each(d.ctx, "SELECT concat_ws('', "+columns+"), grouping("+columns+"), count(*), count(*) FILTER (WHERE wrong) FROM checked_calls "+
		"WHERE call = 'active' GROUP BY GROUPING SETS ("+sets+") ORDER BY 2, 1", nil, func(scan func(...any) error) error {
		var value string
		var mask, n, wrong int64
		if err := scan(&value, &mask, &n, &wrong); err != nil {
			return err
		}
		for k, name := range kindFactors {
			if mask&(1<<(len(kindFactors)-1-k)) != 0 || value == "" || value == "unknown" {
				continue
			}
			if counts, ok := got[name+"="+value]; ok {
				seen++
				if counts != [2]int64{n, wrong} {
					t.Errorf("%s=%s: %v, in SQL %d and %d", name, value, counts, n, wrong)
				}
			}
		}
		return nil
	})
	if err != nil || seen < 30 || b.FalseAlarmPatterns.Checked != int64(len(checked)) {
		t.Errorf("%d values compared, %v", seen, err)
	}
}

// TestTooThin: with few wrong calls nothing is searched, and the reason says what would be needed.
func TestTooThin(t *testing.T) {
	if why := tooThin(PatternSearch{Checked: 300, Wrong: 9}); why != "9 of 300 checked calls were wrong, too few to tell a pattern from chance; at this rate a pattern of one call in 25 that is wrong three times as often would need about 5900 checked calls" {
		t.Error(why)
	}
	if why := tooThin(PatternSearch{Checked: 300, Wrong: 10}); why != "" {
		t.Error(why)
	}
	if why := tooThin(PatternSearch{}); why != "0 of 0 checked calls were wrong, too few to tell a pattern from chance" {
		t.Error(why)
	}
}

// TestGoesOn: the last three months tell whether a pattern goes on, has eased, or neither.
func TestGoesOn(t *testing.T) {
	for _, c := range []struct {
		recentWrong, recent int
		want                string
	}{{9, 12, Yes}, {0, 20, No}, {1, 3, Unclear}, {0, 0, Unclear}} {
		var checked []checkedCall
		p := patterns.Pattern{}
		add := func(month string, n, wrong int) {
			for i := range n {
				p.Members, p.Chance = append(p.Members, len(checked)), append(p.Chance, 0.2)
				checked = append(checked, checkedCall{month: month, wrong: i < wrong})
			}
		}
		add("2026-01", 40, 24)
		add("2026-06", c.recent, c.recentWrong)
		f := FoundPattern{PatternFigures: PatternFigures{Ratio: 3}}
		if err := f.recent(checked, p, "2026-08"); err != nil || f.GoesOn != c.want || f.RecentChecked != int64(c.recent) {
			t.Errorf("%d of %d: %s, %v; want %s", c.recentWrong, c.recent, f.GoesOn, err, c.want)
		}
	}
	if got := monthsBefore("2026-01", 2); got != "2025-11" {
		t.Error(got)
	}
}

// TestOnePerson: a pattern all of whose excess is one technician's says so.
func TestOnePerson(t *testing.T) {
	of := func(a, b int) FoundPattern {
		var checked []checkedCall
		p := patterns.Pattern{}
		for name, wrong := range map[string]int{"A": a, "B": b} {
			for i := range 40 {
				kinds := slices.Repeat([]string{""}, len(kindFactors))
				kinds[slices.Index(kindFactors, "technician_id")] = name
				p.Members, p.Chance = append(p.Members, len(checked)), append(p.Chance, 0.2)
				checked = append(checked, checkedCall{wrong: i < wrong, kinds: kinds})
			}
		}
		f := FoundPattern{Wrong: int64(a + b)}
		if err := f.person(checked, p); err != nil {
			t.Fatal(err)
		}
		return f
	}
	if f := of(30, 9); f.OnePerson != Yes || f.Leading != "A" || math.Abs(float64(f.LeadingShare)-30.0/39) > 1e-12 {
		t.Errorf("%+v", f)
	}
	if f := of(30, 25); f.OnePerson != No || f.Leading != "A" {
		t.Errorf("%+v", f)
	}
}

// TestSuggestionsCoverEveryFactor: whatever a pattern asks for, there is something to try, said once.
func TestSuggestionsCoverEveryFactor(t *testing.T) {
	for _, name := range Columns(reflect.TypeFor[PatternTerms]()) {
		got := suggestion([]patterns.Term{{Factor: name, Value: "x"}}, "", "false_alarms")
		if len(got) < 20 {
			t.Errorf("%s: %q", name, got)
		}
	}
	twice := suggestion([]patterns.Term{{Factor: "gain", Value: "4"}, {Factor: "gain_share", Value: "0.5 or more"}}, "unsteady_hold", "false_alarms")
	if strings.Count(twice, "steps lower") != 1 || !strings.Contains(twice, "steadily") {
		t.Error(twice)
	}
	if missed := suggestion([]patterns.Term{{Factor: "region", Value: "N"}}, "", "missed"); !strings.Contains(missed, openMore) {
		t.Error(missed)
	}
}

func TestPatternWords(t *testing.T) {
	l := Labels{Materials: map[string]string{"board": "Board"}}
	got := l.PatternWords([]patterns.Term{{Factor: "material", Value: "board"}, {Factor: "wind_band", Value: "35 or more"}, {Factor: "battery_band", Value: "under 20"},
		{Factor: "purpose", Value: "call_back"}, {Factor: "unit_id", Value: "U_1"}, {Factor: "season", Value: "dry"}, {Factor: "unit_overdue", Value: "yes"}})
	if want := "Board, wind 35 km/h or more, battery under 20 %, call back visits, unit U_1, dry, unit overdue for service"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

// TestPartsOfCalls: of very many checked calls about mostSearched are searched, of fewer all.
func TestPartsOfCalls(t *testing.T) {
	d := &desk{book: &Book{Weights: []WeightRow{{Call: "active", Verified: 90_000}, {Call: "active, elsewhere active", Verified: 10_001}, {Call: "clear", Verified: 50_000},
		{Call: "clear, elsewhere active", Verified: 80_000}, {Call: "unsure", Verified: 70_000}}}}
	if active, clear := d.parts(true), d.parts(false); active != 3 || clear != 1 {
		t.Errorf("active calls at one site in %d, clear ones at one in %d", active, clear)
	}
	if none := (&desk{book: &Book{}}).parts(true); none != 1 || partly(none) != "" || partly(3) != " at one site in 3, drawn at random" {
		t.Errorf("without calls %d; %q, %q", none, partly(none), partly(3))
	}
}

// TestDriftRuns: a staff of up to twenty has a thousand runs each, a large one fewer, but never too few for a tail.
func TestDriftRuns(t *testing.T) {
	for technicians, want := range map[int]int{0: 1000, 14: 1000, 20: 1000, 60: 333, 1000: 300} {
		if got := driftRuns(technicians); got != want {
			t.Errorf("%d technicians: %d runs, want %d", technicians, got, want)
		}
	}
}
