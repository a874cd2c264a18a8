package ingest

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
)

// columnName is the form in which column names are compared.
func columnName(name string) string {
	return strings.ToLower(strings.Trim(name, asciiSpace))
}

// columnNames maps each name a column may go by to its field's position: the contract's names and
// the supplier's renamed ones.
func columnNames(src Source) (map[string]int, error) {
	names := map[string]int{}
	for i, f := range src.Set.Fields {
		names[f.Name] = i
	}
	renamed := map[string]string{}
	for _, from := range slices.Sorted(maps.Keys(src.Renames)) {
		to := src.Renames[from]
		field := src.Set.Field(to)
		if field < 0 {
			return nil, src.fileError("rename columns", fmt.Errorf("%s has no column %q", src.Set.Name, to),
				"correct the configuration; the columns are "+fieldNames(src))
		}
		key := columnName(from)
		if other, ok := renamed[key]; ok && other != to {
			return nil, src.fileError("rename columns", fmt.Errorf("column %q is renamed to both %s and %s", key, other, to),
				"keep one of the two in the configuration")
		}
		renamed[key] = to
		names[key] = field
	}
	return names, nil
}

func fieldNames(src Source) string {
	var names []string
	for _, f := range src.Set.Fields {
		names = append(names, f.Name)
	}
	return strings.Join(names, ", ")
}

// layout maps a file's columns onto the fields of its record set.
type layout struct {
	fieldOf []int    // for each column of the file, the field's position, or -1 where it is not used
	extra   []string // names of columns not used, in file order; nameless ones are left out
}

// newLayout reads a header.
func newLayout(src Source, header []string) (layout, error) {
	names, err := columnNames(src)
	if err != nil {
		return layout{}, err
	}
	var l layout
	seen := map[string]bool{}
	taken := make([]bool, len(src.Set.Fields))
	for _, raw := range header {
		name := columnName(raw)
		field, known := names[name]
		if name != "" && seen[name] || known && taken[field] {
			return l, src.fileError("read header", fmt.Errorf("column %q occurs twice", clip([]byte(name))),
				"keep one of the two")
		}
		seen[name] = true
		if !known {
			field = -1
			if name != "" {
				l.extra = append(l.extra, clip([]byte(name)))
			}
		} else {
			taken[field] = true
		}
		l.fieldOf = append(l.fieldOf, field)
	}
	return l, checkRequired(src, taken)
}

func checkRequired(src Source, taken []bool) error {
	var absent []string
	for i, f := range src.Set.Fields {
		if f.Constraints.Required && !taken[i] {
			absent = append(absent, f.Name)
		}
	}
	if absent == nil {
		return nil
	}
	return src.fileError("read header", fmt.Errorf("required column missing: %s", strings.Join(absent, ", ")),
		fmt.Sprintf("add it, or rename the supplier's column in [columns.%s] of the configuration", src.Set.Name))
}

var errNoHeader = errors.New("there is no header row")

const headerRemedy = "put the column names in the first row"
