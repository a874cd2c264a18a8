// Package protocol says how an inspection ought to be done: the checks, what each asks, and the
// settings that a house may change.
//
// In: the house's own settings. Out: for every check its title, what counts as a chance and as a breach,
// and where its rule comes from. It is the one place for these: fact tables, results, pages and the guide
// to the settings all read it. It never reads a record.
package protocol

import (
	"slices"
	"strconv"
	"strings"
)

// Kind says where a rule or a default comes from.
type Kind string

// The kinds. None of the thresholds was found in a published source.
const (
	Published      Kind = "published"
	CommonPractice Kind = "common practice, no source"
	House          Kind = "house"
)

// Check is one thing that is looked for.
type Check struct {
	ID     string
	Title  string
	Chance string // what counts as one chance of a breach; in this and the next two, {name} stands for a setting
	Breach string // when a chance is a breach
	Asks   string // what is asked, short
	Kind   Kind
	Source string // of a published rule
	Handed bool   // who is given what is the house's doing: a rate by technician is shown, and nobody is judged by it
	Weight int    // how much one breach takes from what the records prove, 1 little to 10 all of it; the house's choice
}

// Checks are all of them, in the order shown: what the evidence rests on, then how the sensor was used,
// then who and what was fit for use.
var Checks = []Check{
	{ID: "outcome_unbacked", Title: "Active outcome with no active reading", Chance: "inspection with outcome active", Breach: "no reading of it was called active",
		Asks: "a reading that shows what the report says", Kind: Published, Weight: 9,
		Source: "AS 4349.3-2010, 4.2.4, in substance and from an excerpt: what was observed is recorded where a device supports a conclusion"},
	{ID: "no_readings", Title: "Clear outcome with no reading", Chance: "inspection with outcome clear", Breach: "it has no reading but control readings",
		Asks: "readings behind a clear outcome", Kind: CommonPractice, Weight: 9},
	{ID: "copied_levels", Title: "Levels copied from other points", Chance: "point with two or more readings, all with a level, whose sequence of levels would repeat an earlier one with a chance of at most {copy_chance}",
		Breach: "the sequence is that of an earlier point of the same visit, of an earlier visit by the same person, or of an earlier visit to the same point",
		Asks:   "levels read at the point itself", Kind: House, Weight: 8},
	{ID: "digit_preference", Title: "Last digits used too often", Chance: "one of the ten last digits of a technician with at least {digit_levels} levels",
		Breach: "used more often than by the others with the same model, where the technician's digits also differ from even shares; see digit_preference",
		Asks:   "levels as the sensor showed them", Kind: House, Weight: 4},
	{ID: "against_level", Title: "Call against its level", Chance: "reading called active or clear, with a level, on a material and gain step whose usual threshold is known",
		Breach: "the level is on the other side of the usual threshold, by more than {level_margin_pct} points of full scale",
		Asks:   "a call within {level_margin_pct} points of the usual threshold, or on the right side of it", Kind: House, Weight: 6},
	{ID: "against_log", Title: "Call against the unit's log", Chance: "reading called active or clear that is matched with a hold in the unit's log",
		Breach: "called active where nothing in the hold moved, or clear where much did; the limits are logs.quiet_share and logs.strong_share",
		Asks:   "a call that the unit's log bears out", Kind: House, Weight: 6},
	{ID: "not_stepped_up", Title: "Clear call on a dense wall without stepping up", Chance: "point of a dense material called clear",
		Breach: "the highest gain step used is below the material's guidance; without guidance, not above the unit's starting step",
		Asks:   "gain stepped up into the material's guidance", Kind: CommonPractice, Weight: 4},
	{ID: "unrepeated_active", Title: "Active call that no second reading shows again", Chance: "point called active", Breach: "fewer than two of its readings were called active",
		Asks: "a second reading that shows the movement again", Kind: CommonPractice, Weight: 3},
	{ID: "high_gain_only", Title: "Active only at high gain on light material", Chance: "point of a light material with guidance, called active",
		Breach: "every active reading is above the guidance, and no reading after the first of them is at a lower gain",
		Asks:   "a repeat at lower gain", Kind: CommonPractice, Weight: 4},
	{ID: "left_unsure", Title: "Point left unsure", Chance: "point tested", Breach: "no reading of it was called active or clear",
		Asks: "a call, or another visit", Kind: CommonPractice, Weight: 2},
	{ID: "start_step", Title: "First reading at an odd step", Chance: "point tested", Breach: "its first reading is neither at the unit's starting step nor within the material's guidance",
		Asks: "a start at the unit's starting step or within the guidance", Kind: CommonPractice, Weight: 2},
	{ID: "short_hold", Title: "Hold too short", Chance: "reading with a hold time", Breach: "held for less than {hold_s} s",
		Asks: "at least {hold_s} s", Kind: House, Weight: 3},
	{ID: "too_close", Title: "Readings closer together than a person can move", Chance: "reading after another with the same unit in a visit whose times are kept to the second",
		Breach: "it comes sooner than the shorter of the two holds takes, with {move_s} s more where the point is another; one second is left for rounding",
		Asks:   "time for the hold, and {move_s} s to move", Kind: House, Weight: 6},
	{ID: "short_visit", Title: "Visit too short for its points", Chance: "inspection with readings and an end", Breach: "it took less time than {point_s} s a point, or than its holds together",
		Asks: "at least {point_s} s a point, and the time of its holds", Kind: House, Weight: 5},
	{ID: "no_control", Title: "Active call with no control reading", Chance: "inspection with a point called active", Breach: "it has no control reading",
		Asks: "a reading on a place known to be clear", Kind: House, Weight: 1},
	{ID: "areas_unexplained", Title: "Area not inspected, no reason given", Chance: "inspection that names areas not inspected, or is inconclusive",
		Breach: "an area with nothing after a colon, a dash or in brackets and without because, due to, no access or locked; or inconclusive with neither an area named nor a point left unsure",
		Asks:   "each area with its reason, after a colon", Kind: House, Weight: 2},
	{ID: "overdue_unit", Title: "Unit past its service date", Chance: "inspection and unit with a service date", Breach: "the service was due before the day",
		Asks: "a unit in service", Handed: true, Kind: CommonPractice, Weight: 5},
	{ID: "low_battery", Title: "Low battery", Chance: "inspection and unit with battery levels", Breach: "a reading was taken with the battery under {battery_pct}%",
		Asks: "battery at {battery_pct}% or more", Kind: House, Weight: 2},
	{ID: "lapsed_accreditation", Title: "Accreditation lapsed", Chance: "inspection by someone whose last day of accreditation is known", Breach: "that day was over",
		Asks: "an accreditation that covers the day", Kind: CommonPractice, Weight: 7},
	{ID: "own_finding", Title: "Return visit judged by who made the call", Chance: "return-visit finding on a day when one technician was at the site, after an earlier call on the point within the truth window",
		Breach: "that technician made the call. Records name no author of a finding: one by someone else that day, or by the same person without an inspection, cannot be seen",
		Asks:   "a return visit by someone else", Kind: CommonPractice, Weight: 3},
}

// Lookup finds a check.
func Lookup(id string) (Check, bool) {
	i := slices.IndexFunc(Checks, func(c Check) bool { return c.ID == id })
	if i < 0 {
		return Check{}, false
	}
	return Checks[i], true
}

// Order is where a check stands among Checks; one that is none of them stands last.
func Order(id string) int {
	if i := slices.IndexFunc(Checks, func(c Check) bool { return c.ID == id }); i >= 0 {
		return i
	}
	return len(Checks)
}

// With is the check with the settings in its words.
func (c Check) With(s Settings) Check {
	var values []string
	for _, p := range Parameters {
		values = append(values, "{"+p.Name+"}", strconv.FormatFloat(s.Value(p.Name), 'f', -1, 64))
	}
	fill := strings.NewReplacer(values...)
	c.Chance, c.Breach, c.Asks = fill.Replace(c.Chance), fill.Replace(c.Breach), fill.Replace(c.Asks)
	return c
}
