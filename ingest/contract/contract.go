// Package contract states what a record is.
//
// In: nothing. Out: the schema of every record set, read from the embedded Table Schema files (an
// open standard), which are the one source for parsing, documentation and the store's
// datapackage.json. It never reads a record or touches the disk.
package contract

import (
	"embed"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
)

//go:embed schema/*.json
var files embed.FS

// SchemaVersion names the layout of the record sets and of the stores that hold them; a store remembers the one it was
// written with. 2 can say that rows were removed; in stores of 1 none were.
const SchemaVersion = 2

// Kind is how a field's values are held.
type Kind int

// The kinds, with what one value is.
const (
	Text      Kind = iota // UTF-8 string
	Integer               // 32-bit whole number
	Number                // 64-bit float
	Boolean               // true or false
	Date                  // calendar day, days since 1970-01-01
	Timestamp             // instant, microseconds since 1970-01-01T00:00Z
)

// Field is one column of a record set. Its JSON form is a Table Schema field descriptor.
type Field struct {
	Name        string      `json:"name"`
	Type        string      `json:"type"`
	Role        string      `json:"role,omitempty"` // id or zone: a text with a stricter form
	Description string      `json:"description"`
	Unit        string      `json:"unit,omitempty"`
	Constraints Constraints `json:"constraints,omitzero"`
}

// Constraints are the rules one value must meet on its own.
type Constraints struct {
	Required         bool     `json:"required,omitempty"`
	MinLength        int      `json:"minLength,omitempty"`
	MaxLength        int      `json:"maxLength,omitempty"`
	Minimum          *float64 `json:"minimum,omitempty"`
	Maximum          *float64 `json:"maximum,omitempty"`
	ExclusiveMinimum *float64 `json:"exclusiveMinimum,omitempty"`
	Enum             []string `json:"enum,omitempty"`
}

// Kind tells how the field's values are held.
func (f Field) Kind() Kind {
	switch f.Type {
	case "integer":
		return Integer
	case "number":
		return Number
	case "boolean":
		return Boolean
	case "date":
		return Date
	case "datetime":
		return Timestamp
	default:
		return Text
	}
}

// ForeignKey says that a field names a row of another record set.
type ForeignKey struct {
	Fields    []string  `json:"fields"`
	Reference Reference `json:"reference"`
}

// Reference is the far end of a ForeignKey.
type Reference struct {
	Resource string   `json:"resource"`
	Fields   []string `json:"fields"`
}

// RowRule is a rule over several fields, or over a row and the rows it names.
type RowRule struct {
	Name        string   `json:"name"`
	Fields      []string `json:"fields"`
	Description string   `json:"description"`
}

// Set is the schema of one record set. Its JSON form is a Table Schema.
type Set struct {
	Schema      string       `json:"$schema"`
	Name        string       `json:"name"`
	Title       string       `json:"title"`
	Description string       `json:"description"`
	Fields      []Field      `json:"fields"`
	PrimaryKey  []string     `json:"primaryKey"`
	ForeignKeys []ForeignKey `json:"foreignKeys,omitempty"`
	RowRules    []RowRule    `json:"rowRules,omitempty"`
	MonthOf     string       `json:"monthOf,omitempty"` // the field whose month names the folder; empty: no month folders
}

// Field returns the position of the named field, or -1.
func (s *Set) Field(name string) int {
	return slices.IndexFunc(s.Fields, func(f Field) bool { return f.Name == name })
}

// names lists the record sets in the order in which they can be settled: a set names only rows of
// sets before it (inspections also name inspections).
var names = []string{"regions", "technicians", "units", "materials", "inspections", "readings", "findings", "unit_log"}

var sets = mustRead()

// Sets returns every record set, each after the sets it refers to.
func Sets() []*Set { return sets }

// Lookup returns the named record set.
func Lookup(name string) (*Set, error) {
	for _, s := range sets {
		if s.Name == name {
			return s, nil
		}
	}
	return nil, fmt.Errorf("no record set %q; there are: %s", name, strings.Join(names, ", "))
}

// mustRead panics on a broken embedded file: the program itself is then broken, and a test says so.
func mustRead() []*Set {
	var out []*Set
	for _, name := range names {
		raw, err := files.ReadFile("schema/" + name + ".json")
		if err != nil {
			panic(err)
		}
		set := new(Set)
		if err := json.Unmarshal(raw, set); err != nil {
			panic(fmt.Errorf("schema/%s.json: %w", name, err))
		}
		out = append(out, set)
	}
	return out
}
