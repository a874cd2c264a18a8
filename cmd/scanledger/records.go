package main

import (
	"fmt"
	"strings"

	"scanledger/ingest/contract"
)

type recordsCmd struct {
	Set string `arg:"" optional:"" help:"One record set; otherwise all."`
}

// Run prints the contract.
func (c *recordsCmd) Run(a *app) error {
	sets := contract.Sets()
	if c.Set != "" {
		set, err := contract.Lookup(c.Set)
		if err != nil {
			return fmt.Errorf("%w: %w", errUsage, err)
		}
		sets = []*contract.Set{set}
	}
	if a.json {
		return a.object(sets)
	}
	for _, set := range sets {
		rows := []string{fmt.Sprintf("%s: %s (key %s)", set.Name, set.Description, strings.Join(set.PrimaryKey, " + ")),
			"  column\ttype\tunit\trule\tmeaning"}
		for _, f := range set.Fields {
			rows = append(rows, fmt.Sprintf("  %s\t%s\t%s\t%s\t%s", f.Name, kindName(f), f.Unit, rules(set, f), f.Description))
		}
		for _, r := range set.RowRules {
			rows = append(rows, fmt.Sprintf("  rule %s: %s", r.Name, r.Description))
		}
		if err := a.table(append(rows, "")); err != nil {
			return err
		}
	}
	return nil
}

func kindName(f contract.Field) string {
	switch {
	case f.Role != "":
		return f.Role
	case f.Kind() == contract.Timestamp:
		return "timestamp"
	case f.Type == "string":
		return "text"
	}
	return f.Type
}

// rules says in words what one value must meet.
func rules(set *contract.Set, f contract.Field) string {
	var out []string
	c := f.Constraints
	if c.Required {
		out = append(out, "required")
	}
	if c.MaxLength > 0 {
		out = append(out, fmt.Sprintf("%d to %d printable characters", c.MinLength, c.MaxLength))
	}
	if c.ExclusiveMinimum != nil {
		out = append(out, fmt.Sprintf("above %g", *c.ExclusiveMinimum))
	}
	if c.Minimum != nil {
		out = append(out, fmt.Sprintf("at least %g", *c.Minimum))
	}
	if c.Maximum != nil {
		out = append(out, fmt.Sprintf("at most %g", *c.Maximum))
	}
	if len(c.Enum) > 0 {
		out = append(out, strings.Join(c.Enum, " | "))
	}
	for _, k := range set.ForeignKeys {
		if k.Fields[0] == f.Name {
			out = append(out, "known in "+k.Reference.Resource)
		}
	}
	return strings.Join(out, ", ")
}
