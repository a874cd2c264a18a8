package contract

import (
	"encoding/json"
	"slices"
	"testing"
)

// TestSchemasHoldTogether: keys and references name fields that are there, and a set names only rows of sets
// before it, so that sets can be settled in order. Types are those of Table Schema (datapackage.org, version 2).
func TestSchemasHoldTogether(t *testing.T) {
	types := []string{"string", "number", "integer", "boolean", "date", "datetime"}
	seen := map[string]*Set{}
	for _, s := range Sets() {
		seen[s.Name] = s
		if s.Description == "" || s.Title == "" || len(s.PrimaryKey) == 0 {
			t.Errorf("%s: title, description or key is missing", s.Name)
		}
		for _, f := range s.Fields {
			if f.Description == "" || !slices.Contains(types, f.Type) {
				t.Errorf("%s.%s: description or type %q", s.Name, f.Name, f.Type)
			}
		}
		for _, k := range s.PrimaryKey {
			if i := s.Field(k); i < 0 || !s.Fields[i].Constraints.Required {
				t.Errorf("%s: key field %s is missing or not required", s.Name, k)
			}
		}
		for _, k := range s.ForeignKeys {
			far := seen[k.Reference.Resource]
			if s.Field(k.Fields[0]) < 0 || far == nil || far.Field(k.Reference.Fields[0]) < 0 {
				t.Errorf("%s: reference %+v", s.Name, k)
			}
		}
		for _, r := range s.RowRules {
			for _, f := range r.Fields {
				if s.Field(f) < 0 {
					t.Errorf("%s: rule %s names %s", s.Name, r.Name, f)
				}
			}
		}
		if s.MonthOf != "" {
			if k := s.Fields[s.Field(s.MonthOf)].Kind(); k != Timestamp && k != Date {
				t.Errorf("%s: months of %s, which is no date", s.Name, s.MonthOf)
			}
		}
	}
}

// TestSchemasRoundTrip: what is written to a data package reads back as the same schema.
func TestSchemasRoundTrip(t *testing.T) {
	for _, s := range Sets() {
		raw, err := json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		var again Set
		if err := json.Unmarshal(raw, &again); err != nil {
			t.Fatal(err)
		}
		twice, err := json.Marshal(again)
		if err != nil || string(twice) != string(raw) {
			t.Errorf("%s changes on the way (%v)", s.Name, err)
		}
	}
}

func TestLookup(t *testing.T) {
	if s, err := Lookup("findings"); err != nil || s.Name != "findings" {
		t.Errorf("findings: %v", err)
	}
	if _, err := Lookup("walls"); err == nil {
		t.Error("walls is a record set")
	}
}
