package main

import (
	"path/filepath"
	"time"

	"scanledger/ingest/demo"
)

type demoCmd struct {
	Dir string `help:"Folder for the demo." default:"demo" type:"path"`
}

// demoReceived is when the demo's invented records are said to have come in, so that a demo made
// tomorrow is the same.
var demoReceived = time.Date(2026, time.September, 7, 8, 0, 0, 0, time.UTC)

// Run writes the invented records, then does what load and build do.
func (c *demoCmd) Run(a *app) error {
	records := filepath.Join(c.Dir, "records")
	w := &watch{a: a}
	w.Step("write invented records")
	if _, err := demo.Write(a.ctx, records, demo.Options{}); err != nil {
		return err
	}
	w.finish()
	if a.config.Business.Name == "" {
		cfg, err := readConfig(filepath.Join(records, "scanledger.toml"))
		if err != nil {
			return err
		}
		a.config = cfg
	}
	storeDir := filepath.Join(c.Dir, "store")
	rep, err := a.load(storeDir, []string{records}, "", demoReceived)
	if err != nil {
		return err
	}
	if err := a.sayLoad(rep, storeDir); err != nil {
		return err
	}
	made, err := (&buildCmd{Store: storeDir, Out: filepath.Join(c.Dir, "out")}).build(a)
	if err != nil {
		return err
	}
	if a.json {
		return a.object(made)
	}
	return a.sayBuilt(made)
}
