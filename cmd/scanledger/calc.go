package main

import (
	"fmt"

	"scanledger/queries/calc"
)

type calcCmd struct {
	Method string `arg:"" optional:"" help:"Name of the method; see --list."`
	List   bool   `help:"List the methods with their sources."`
}

// Run recomputes one figure.
func (c *calcCmd) Run(a *app) error {
	if c.List {
		return c.list(a)
	}
	if c.Method == "" {
		return fmt.Errorf("%w: name a method; list them with: scanledger calc --list", errUsage)
	}
	out, err := calc.Run(c.Method, a.t.in)
	if err != nil {
		return err
	}
	_, err = a.t.out.Write(out)
	return err
}

func (c *calcCmd) list(a *app) error {
	methods := calc.Methods()
	if a.json {
		return a.object(methods)
	}
	var rows []string
	for _, m := range methods {
		rows = append(rows, m.Name+"\t"+m.Summary+"\t"+m.Source)
	}
	return a.table(rows)
}
