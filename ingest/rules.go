package ingest

import (
	"slices"

	"scanledger/ingest/contract"
)

// rowRules are the contract's rules that one row settles by itself, by the contract's name. A
// check gets the values of the rule's fields in the contract's order, none of them faulty, and
// tells whether the row keeps the rule. Rules that need another row are settled in the store.
var rowRules = map[string]rowRule{
	"gain_range_order":           {ascending, "is out of order; gain_min, gain_start and gain_max must not fall"},
	"guidance_order":             {ascending, "is above gain_high; swap or correct them"},
	"ends_after_start":           {endsAfterStart, "is before started_at or more than 24 h after it; correct one of them"},
	"recheck_names_original":     {recheckNamesOriginal, "must be given when purpose is recheck, and only then; fill it in or leave it out, or correct the purpose"},
	"cause_needs_other_movement": {causeNeedsOtherMovement, "may be given only when result is other_movement; leave it out or correct the result"},
	"logged_with_offset":         {loggedWithOffset, "has no offset; write Z or an offset such as +10:00, since a unit belongs to no region"},
}

type rowRule struct {
	keeps   func(v []value) bool
	message string
}

// ascending: no whole number is below the one before it; missing ones are passed over.
func ascending(v []value) bool {
	present := slices.DeleteFunc(slices.Clone(v), func(x value) bool { return x.state == missing })
	return slices.IsSortedFunc(present, func(a, b value) int { return int(a.whole - b.whole) })
}

// endsAfterStart: ended_at, started_at. Where one is local and the other an instant, the order
// shows only once the region's zone is known, and the row passes here.
func endsAfterStart(v []value) bool {
	ended, started := v[0], v[1]
	if ended.state == missing || started.state == missing || ended.local != started.local {
		return true
	}
	lasted := ended.whole - started.whole
	return lasted >= 0 && lasted <= 24*hour
}

// recheckNamesOriginal: recheck_of, purpose.
func recheckNamesOriginal(v []value) bool {
	return (v[0].state == sound) == (string(v[1].text) == "recheck")
}

// causeNeedsOtherMovement: cause, result.
func causeNeedsOtherMovement(v []value) bool {
	return v[0].state == missing || string(v[1].text) == "other_movement"
}

// loggedWithOffset: logged_at.
func loggedWithOffset(v []value) bool { return v[0].state == missing || !v[0].local }

// boundRule is a row rule tied to field positions of its set. The first field is the one at fault.
type boundRule struct {
	rowRule
	name   string
	fields []int
}

// bindRules finds the rules of a set that rowRules can settle.
func bindRules(set *contract.Set) []boundRule {
	var out []boundRule
	for _, rule := range set.RowRules {
		check, ok := rowRules[rule.Name]
		if !ok {
			continue
		}
		bound := boundRule{rowRule: check, name: rule.Name}
		for _, name := range rule.Fields {
			bound.fields = append(bound.fields, set.Field(name))
		}
		out = append(out, bound)
	}
	return out
}
