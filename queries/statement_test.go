package queries

import (
	"regexp"
	"slices"
	"strings"
	"testing"
)

// forbidden are words that no statement may hold: the law of several places says that a report is no
// guarantee, and a rate of all or none claims more than was seen.
var forbidden = []string{"guarant", "certif", "termite free", "termite-free", "no termites", "free of termites", "100%", "100 %", "safe", "proven",
	"rank", "best", "worst", "all areas", "infested", "not known"}

// statementOf is the statement on visits to one point a site.
func statementOf(t *testing.T, c crossed) []StatementRow {
	t.Helper()
	return bookOf(t, c.visits("board", 1)).Statement
}

func topic(t *testing.T, rows []StatementRow, name string) StatementRow {
	t.Helper()
	i := slices.IndexFunc(rows, func(r StatementRow) bool { return r.Topic == name })
	if i < 0 {
		t.Fatalf("no sentence on %s in %+v", name, rows)
	}
	return rows[i]
}

// TestStatement: what is said of strong, thin, bare and absent figures. Intervals are those of the rows
// they come from, which other tests hold to published ones.
func TestStatement(t *testing.T) {
	for name, c := range map[string]struct {
		points crossed
		want   map[string]string
	}{
		"strong": {crossed{200, 40, 60, 20, 300, 900}, map[string]string{
			"scope":     "From 2 March 2026 to 2 March 2026, 1520 points were tested in 1520 inspections of 1520 sites, each point counted once per inspection.",
			"shown":     "Movement was shown at 300 of 1520 points tested (20%, 95% interval 18% to 22%).",
			"verified":  "Of 300 calls of movement, 240 (80%) were later verified by opening, drilling or borescope; of 1220 clear calls, 320 (26%) were.",
			"confirmed": "Activity was found at 200 of 240 verified calls of movement (83%, 95% interval 78% to 88%).",
			"found":     "What share of active points was called active is estimated at 77% (95% interval 68% to 84%), corrected for which points were ever verified; it rests on 560 verified points, of which 20 had been missed.",
			"basis":     "These figures rest on records received by 1 June 2026, and on what was found up to 60 days after each visit.",
		}},
		"thin": {crossed{3, 1, 2, 0, 4, 20}, map[string]string{
			"shown":     "Movement was shown at 6 of 30 points tested (too few, or too uneven, for a rate).",
			"confirmed": "Activity was found at 3 of 4 verified calls of movement (too few, or too uneven, for a rate).",
			"found":     "What share of active points was called active cannot be said: fewer verified active calls than the floor.",
		}},
		"never opened": {crossed{100, 20, 30, 0, 0, 900}, map[string]string{
			"verified": "Of 150 calls of movement, 120 (80%) were later verified by opening, drilling or borescope; of 900 clear calls, none were.",
			"found":    "What share of active points was called active cannot be said: no clear call was ever opened. 0 of 900 clear calls were verified, and no missed point is known; at worst",
		}},
		"all and none": {crossed{60, 0, 0, 0, 40, 0}, map[string]string{
			"verified":  "Of 60 calls of movement, all were later verified by opening, drilling or borescope; of 40 clear calls, all were.",
			"confirmed": "Activity was found at all of 60 verified calls of movement (95% interval from 94%).",
			"found":     "What share of active points was called active cannot be said: too few missed points are known: 0, under 5.",
		}},
		"no calls of movement": {crossed{0, 0, 0, 2, 40, 300}, map[string]string{
			"shown":     "Movement was shown at none of 342 points tested (95% interval up to 1.1%).",
			"confirmed": "How many calls of movement were right cannot be said: none was verified.",
		}},
		"nothing": {crossed{}, map[string]string{
			"scope":  "No point was tested in the months of this statement.",
			"limits": "A clear reading never proves absence: it says that no movement was shown at the points and settings tested, on that day.",
		}},
	} {
		t.Run(name, func(t *testing.T) {
			rows := statementOf(t, c.points)
			for key, want := range c.want {
				if got := topic(t, rows, key).Text; !strings.HasPrefix(got, want) {
					t.Errorf("%s:\ngot  %q\nwant %q", key, got, want)
				}
			}
			checkWords(t, rows)
		})
	}
}

// TestStatementOnTheDemo holds the sentences on invented records to the same words.
func TestStatementOnTheDemo(t *testing.T) {
	b := smallDemo(t, 2)
	checkWords(t, b.Statement)
	if got := topic(t, b.Statement, "shown").N; got == nil || *got != b.Detection[0].N() {
		t.Errorf("movement shown is of %v points, detection of %d", got, b.Detection[0].N())
	}
}

// checkWords: no forbidden word, the limits always said, and no rate without its count and interval.
func checkWords(t *testing.T, rows []StatementRow) {
	t.Helper()
	percent := regexp.MustCompile(`\d%`)
	for _, r := range rows {
		text := strings.ToLower(strings.ReplaceAll(r.Text, "at worst", ""))
		for _, bad := range forbidden {
			if strings.Contains(text, bad) {
				t.Errorf("%q says %q", r.Text, bad)
			}
		}
		if strings.Contains(r.Text, "NaN") || strings.Contains(r.Text, "%!") {
			t.Errorf("an unformatted number: %q", r.Text)
		}
		if r.Rate.Known() && (r.N == nil || *r.N == 0 || !strings.Contains(r.Text, Count(*r.N)) || !strings.Contains(r.Text, "95% interval")) {
			t.Errorf("a rate without its count or interval: %+v", r)
		}
		if percent.MatchString(r.Text) && !r.Rate.Known() && r.Topic != "verified" && r.Topic != "found" {
			t.Errorf("a percentage that is no rate of the row: %+v", r)
		}
		if r.Topic == "found" && !r.Rate.Known() && percent.MatchString(strings.ReplaceAll(r.Text, "at 95%", "")) {
			t.Errorf("says a rate it holds back: %+v", r)
		}
		if !strings.HasSuffix(r.Text, ".") {
			t.Errorf("no sentence: %q", r.Text)
		}
	}
	if last := topic(t, rows, "limits").Text; !strings.HasPrefix(last, "A clear reading never proves absence") {
		t.Errorf("the limits are not said: %q", last)
	}
}
