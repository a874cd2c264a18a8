package queries

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"scanledger/queries/patterns"
	"scanledger/queries/stats"
)

// PatternOptions bound the search for patterns.
type PatternOptions struct {
	MinVerified int     // fewest checked calls; 0: the floor
	MinExcess   float64 // fewest wrong calls beyond the expected
	MinOdds     float64 // least ratio of the odds of being wrong, observed to expected
	Q           float64 // false discoveries borne among the patterns shown
}

// DefaultPatterns are the bounds of the search. (House's choice: five openings for nothing beyond the
// expected, odds three quarters above them, one pattern in ten a false discovery at most.)
var DefaultPatterns = PatternOptions{MinExcess: 5, MinOdds: 1.75, Q: 0.1}

// mostPatterns is how many patterns are looked for; fewestToSearch is with how many wrong calls a search is
// worth while. (House's choice.)
const (
	mostPatterns   = 20
	fewestToSearch = 10
)

// search is how the calls of either kind are searched. Patterns of a technician or a unit are adjusted for
// conditions, others for who works where.
func (o PatternOptions) search(floor int) patterns.Options {
	if o.MinVerified == 0 {
		o.MinVerified = floor
	}
	return patterns.Options{MinVerified: o.MinVerified, MinExcess: o.MinExcess, MinOdds: o.MinOdds, Q: o.Q, MaxFound: mostPatterns,
		Makers: []string{"technician_id", "unit_id"}, Conditions: []string{"material", "thickness_band", "season", "region", "purpose"},
		Usual: []string{"technician_id", "region"}, Spread: []string{"technician_id", "unit_id", "region"}}
}

func (d *desk) falseAlarmPatterns() error {
	found, q, err := d.searchPatterns("false_alarm_patterns", "false_alarms", d.opt.FalseAlarmCost)
	if err != nil {
		return err
	}
	rows := make([]FalseAlarmPatternRow, len(found.Patterns))
	for i, p := range found.Patterns {
		rows[i] = FalseAlarmPatternRow{p.Number, p.Factors, termsOf(p.Terms), p.Checked, p.Wrong, p.PatternFigures}
		for _, e := range p.Look {
			d.want(e.InspectionID)
		}
	}
	d.book.FalseAlarmPatterns = found
	d.conclude(q, rows, found.note("verified active calls", "false alarms"))
	return nil
}

func (d *desk) missedPatterns() error {
	found, q, err := d.searchPatterns("missed_patterns", "missed", d.opt.MissedCost)
	if err != nil {
		return err
	}
	rows := make([]MissedPatternRow, len(found.Patterns))
	for i, p := range found.Patterns {
		rows[i] = MissedPatternRow{p.Number, p.Factors, termsOf(p.Terms), p.Checked, p.Wrong, p.PatternFigures}
		for _, e := range p.Look {
			d.want(e.InspectionID)
		}
	}
	d.book.MissedPatterns = found
	d.conclude(q, rows, found.note("opened clear calls that nobody called active", "missed points"))
	return nil
}

// note says what was searched.
func (s PatternSearch) note(calls, wrong string) string {
	if !s.Searched {
		return "Not searched: " + s.WhyNot + "."
	}
	return fmt.Sprintf("%s patterns were tried over %s %s%s with %s %s; two calls of one site are alike by %.2f (correlation, given who works where).",
		Count(s.Tried), Count(s.Checked), calls, s.Partly, Count(s.Wrong), wrong, float64(s.Alike))
}

// searchPatterns searches the calls of a query and takes apart what it finds.
func (d *desk) searchPatterns(query, direction string, cost float64) (PatternSearch, Query, error) {
	parts := d.parts(direction == "false_alarms")
	checked, q, err := readCalls(d, query, parts)
	if err != nil {
		return PatternSearch{}, q, err
	}
	out := PatternSearch{Checked: int64(len(checked)), Partly: partly(parts), Alike: Unknown}
	for _, c := range checked {
		if c.wrong {
			out.Wrong++
		}
	}
	if out.WhyNot = tooThin(out); out.WhyNot != "" {
		return out, q, nil
	}
	found, err := patterns.Search(callsToSearch(checked), d.opt.Patterns.search(d.book.Floor))
	if err != nil {
		return out, q, fmt.Errorf("analysis %s: %w", query, err)
	}
	out.Tried = int64(found.Tried[0] + found.Tried[1] + found.Tried[2])
	if out.Searched = out.Tried > 0; !out.Searched {
		out.WhyNot = "no circumstance has enough checked calls"
		return out, q, nil
	}
	out.Alike = Figure(found.Alike)
	for i, p := range found.Patterns {
		f, err := d.describePattern(checked, p, direction, cost)
		if err != nil {
			return out, q, fmt.Errorf("analysis %s, pattern %d: %w", query, i+1, err)
		}
		f.Number = i + 1
		out.Patterns = append(out.Patterns, f)
		parts, err := partsOf(checked, p, direction, f)
		if err != nil {
			return out, q, fmt.Errorf("analysis %s, pattern %d: %w", query, i+1, err)
		}
		d.takeApart = append(d.takeApart, parts...)
	}
	return out, q, nil
}

// tooThin says why calls are not worth a search, or nothing. A pattern of one call in 25 with three times the
// usual rate stands out among thousands tried at about seven wrong calls expected.
func tooThin(s PatternSearch) string {
	if s.Wrong >= fewestToSearch && s.Checked-s.Wrong >= fewestToSearch {
		return ""
	}
	const share, needed = 1.0 / 25, 7.0
	why := fmt.Sprintf("%s of %s checked calls were wrong, too few to tell a pattern from chance", Count(s.Wrong), Count(s.Checked))
	if s.Wrong > 0 {
		rate := float64(s.Wrong) / float64(s.Checked)
		why += fmt.Sprintf("; at this rate a pattern of one call in %.0f that is wrong three times as often would need about %s checked calls", 1/share,
			Count(int64(math.Ceil(needed/(rate*share)/100)*100)))
	}
	return why
}

// describePattern turns a pattern that was found into figures.
func (d *desk) describePattern(checked []checkedCall, p patterns.Pattern, direction string, cost float64) (FoundPattern, error) {
	f := FoundPattern{Terms: p.Terms, Factors: factorsText(p.Terms), Checked: int64(p.Verified), Wrong: int64(p.Wrong), Look: examplesOf(checked, p.Members)}
	rate, err := patternInterval(checked, p.Members, d.book.Floor)
	if err != nil {
		return f, err
	}
	low, high, err := byChance(p.Chance)
	if err != nil {
		return f, err
	}
	expected := Figure(p.Expected / float64(p.Verified))
	f.PatternFigures = PatternFigures{
		Expected: Figure(p.Expected), ByChanceLow: low, ByChanceHigh: high,
		Rate: rate.Rate, RateLow: rate.Low, RateHigh: rate.High, RateExpected: expected,
		Ratio: rate.Rate / expected, RatioLow: rate.Low / expected, RatioHigh: rate.High / expected,
		P: Figure(p.P), Q: Figure(p.Q), Extra: Figure(float64(p.Wrong) - p.Expected), ExtraCost: Unknown, Examples: examplesText(f.Look),
	}
	if cost > 0 {
		f.ExtraCost = f.Extra * Figure(cost)
	}
	var same []string
	for _, terms := range p.Same {
		same = append(same, factorsText(terms))
	}
	f.SameAs = strings.Join(same, " | ")
	f.cause(checked, p.Members)
	f.Suggestion = suggestion(f.Terms, f.LeadingCause, direction)
	return f, errors.Join(f.person(checked, p), f.recent(checked, p, d.book.To))
}

// byChance is the range in which the number of wrong calls lies in 95 of 100 cases, by their chances alone.
func byChance(chances []float64) (low, high int64, err error) {
	law, err := stats.PoissonBinomial(chances, 0)
	if err != nil {
		return 0, 0, err
	}
	below := 0.0
	low = -1
	for k, p := range law.PMF {
		below += p
		if low < 0 && below > (1-Confidence)/2 {
			low = int64(k)
		}
		if below >= 1-(1-Confidence)/2 {
			return low, int64(k), nil
		}
	}
	return low, int64(len(chances)), nil
}

// causes are what a finding may name as having moved.
var causes = []string{"animal", "fan_or_motor", "person", "reflection", "unknown", "unsteady_hold", "vegetation", "water_pipe", "wind_or_loose_sheet"}

// cause names the cause recorded most often, and its share inside and outside the pattern.
func (f *FoundPattern) cause(checked []checkedCall, members []int) {
	inside, all, outsideWrong := map[string]int64{}, map[string]int64{}, int64(0)
	for _, c := range checked {
		if c.wrong {
			all[c.found]++
			outsideWrong++
		}
	}
	for _, i := range members {
		if checked[i].wrong {
			inside[checked[i].found]++
			outsideWrong--
		}
	}
	f.CauseShare, f.CauseUsual = Unknown, Unknown
	for _, c := range causes {
		if inside[c] > inside[f.LeadingCause] {
			f.LeadingCause = c
		}
	}
	if f.LeadingCause != "" {
		f.CauseShare = share(inside[f.LeadingCause], f.Wrong)
		f.CauseUsual = share(all[f.LeadingCause]-inside[f.LeadingCause], outsideWrong)
	}
}

// tallied is what one technician or month adds to a pattern.
type tallied struct {
	wrong   int
	chances []float64 // of each call
}

func (t *tallied) add(wrong bool, chance float64) {
	t.chances = append(t.chances, chance)
	if wrong {
		t.wrong++
	}
}

func (t tallied) expected() float64 {
	var sum float64
	for _, c := range t.chances {
		sum += c
	}
	return sum
}

// beyondChance tells whether there are more wrong calls than chance gives once in twenty.
func (t tallied) beyondChance() (bool, error) {
	if len(t.chances) == 0 {
		return false, nil
	}
	test, err := stats.PoissonBinomial(t.chances, t.wrong)
	return test.PUpper < 1-Confidence, err
}

// eased tells whether there are fewer wrong calls than chance gives once in twenty where they are so many
// times as likely.
func (t tallied) eased(ratio float64) (bool, error) {
	if len(t.chances) == 0 {
		return false, nil
	}
	more := make([]float64, len(t.chances))
	for i, c := range t.chances {
		more[i] = min(1, c*ratio)
	}
	test, err := stats.PoissonBinomial(more, t.wrong)
	return 1-test.PUpper+test.PMF[t.wrong] < 1-Confidence, err
}

// tallyBy adds up a pattern's members by what of says of each.
func tallyBy(checked []checkedCall, p patterns.Pattern, of func(c *checkedCall) string) (map[string]tallied, []string) {
	sums := map[string]tallied{}
	var names []string
	for k, i := range p.Members {
		name := of(&checked[i])
		t, seen := sums[name]
		if !seen {
			names = append(names, name)
		}
		t.add(checked[i].wrong, p.Chance[k])
		sums[name] = t
	}
	slices.Sort(names)
	return sums, names
}

// Answers to a question that figures may leave open.
const (
	Yes     = "yes"
	No      = "no"
	Unclear = "unclear"
)

// person names who has most of the excess, and whether anything is left without that technician.
func (f *FoundPattern) person(checked []checkedCall, p patterns.Pattern) error {
	sums, names := tallyBy(checked, p, (*checkedCall).technician)
	most := math.Inf(-1)
	for _, name := range names {
		if excess := float64(sums[name].wrong) - sums[name].expected(); excess > most {
			f.Leading, most = name, excess
		}
	}
	f.LeadingShare = share(int64(sums[f.Leading].wrong), f.Wrong)
	var rest tallied
	for k, i := range p.Members {
		if checked[i].technician() != f.Leading {
			rest.add(checked[i].wrong, p.Chance[k])
		}
	}
	left, err := rest.beyondChance()
	if f.OnePerson = Yes; left {
		f.OnePerson = No
	}
	return err
}

// recentMonths is how many of the last months tell whether a pattern goes on. (House's choice.)
const recentMonths = 3

// recent says whether the pattern goes on in the last months of the period.
func (f *FoundPattern) recent(checked []checkedCall, p patterns.Pattern, to string) error {
	since := monthsBefore(to, recentMonths-1)
	var t tallied
	for k, i := range p.Members {
		if checked[i].month >= since {
			t.add(checked[i].wrong, p.Chance[k])
		}
	}
	f.RecentChecked, f.RecentWrong, f.RecentExpected, f.GoesOn = int64(len(t.chances)), int64(t.wrong), Figure(t.expected()), Unclear
	on, err := t.beyondChance()
	if err != nil {
		return err
	}
	off, err := t.eased(float64(f.Ratio))
	switch {
	case on:
		f.GoesOn = Yes
	case off:
		f.GoesOn = No
	}
	return err
}

// monthsBefore is the month so many months before one, both YYYY-MM.
func monthsBefore(month string, n int) string {
	at, err := time.Parse("2006-01", month)
	if err != nil {
		return month // no months yet
	}
	return at.AddDate(0, -n, 0).Format("2006-01")
}
