package ingest

import (
	"slices"
	"testing"

	"scanledger/ingest/contract"
)

// settledElsewhere are the row rules that need another row, which the store looks up.
var settledElsewhere = []string{"recheck_same_site", "taken_within_inspection", "gain_within_unit"}

// TestEveryRowRuleIsSettled: each rule of the contract is settled here or elsewhere, never both.
func TestEveryRowRuleIsSettled(t *testing.T) {
	used := map[string]bool{}
	for _, set := range contract.Sets() {
		for _, rule := range set.RowRules {
			used[rule.Name] = true
			_, here := rowRules[rule.Name]
			if here == slices.Contains(settledElsewhere, rule.Name) {
				t.Errorf("%s: rule %s is settled here: %v", set.Name, rule.Name, here)
			}
			for _, name := range rule.Fields {
				if set.Field(name) < 0 {
					t.Errorf("%s: rule %s names no field %q", set.Name, rule.Name, name)
				}
			}
		}
	}
	for name := range rowRules {
		if !used[name] {
			t.Errorf("rule %s is in no contract", name)
		}
	}
}

func whole(v int64) value   { return value{state: sound, whole: v} }
func words(v string) value  { return value{state: sound, text: []byte(v)} }
func clock(v int64) value   { return value{state: sound, whole: v, local: true} }
func instant(v int64) value { return value{state: sound, whole: v} }

func TestRowRules(t *testing.T) {
	none := value{}
	tests := []struct {
		rule   string
		values []value // in the order of the contract's fields
		want   bool
	}{
		{"gain_range_order", []value{whole(1), whole(1), whole(1)}, true},
		{"gain_range_order", []value{whole(1), whole(5), whole(4)}, false},
		{"gain_range_order", []value{whole(2), whole(1), whole(4)}, false},
		{"gain_range_order", []value{whole(-2147483648), whole(0), whole(2147483647)}, true},
		{"guidance_order", []value{whole(2), whole(1)}, false},
		{"guidance_order", []value{whole(1), whole(2)}, true},
		{"guidance_order", []value{none, whole(2)}, true},
		{"guidance_order", []value{whole(2), none}, true},
		{"ends_after_start", []value{instant(0), instant(0)}, true},
		{"ends_after_start", []value{instant(-1), instant(0)}, false},
		{"ends_after_start", []value{instant(24 * hour), instant(0)}, true},
		{"ends_after_start", []value{instant(24*hour + 1), instant(0)}, false},
		{"ends_after_start", []value{clock(-1), clock(0)}, false},
		{"ends_after_start", []value{clock(-1), instant(0)}, true},
		{"ends_after_start", []value{none, instant(0)}, true},
		{"recheck_names_original", []value{words("I1"), words("recheck")}, true},
		{"recheck_names_original", []value{none, words("recheck")}, false},
		{"recheck_names_original", []value{words("I1"), words("routine")}, false},
		{"recheck_names_original", []value{none, words("routine")}, true},
		{"cause_needs_other_movement", []value{words("person"), words("other_movement")}, true},
		{"cause_needs_other_movement", []value{words("person"), words("active")}, false},
		{"cause_needs_other_movement", []value{none, words("other_movement")}, true},
		{"cause_needs_other_movement", []value{none, words("active")}, true},
		{"logged_with_offset", []value{clock(0)}, false},
		{"logged_with_offset", []value{instant(0)}, true},
	}
	for _, test := range tests {
		if got := rowRules[test.rule].keeps(test.values); got != test.want {
			t.Errorf("%s %+v: got %v", test.rule, test.values, got)
		}
	}
}
