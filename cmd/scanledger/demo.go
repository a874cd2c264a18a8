package main

import (
	"context"
	"fmt"
	"os"
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
	if err := writeDemoRecords(a.ctx, records); err != nil {
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
	if err := a.sayBuilt(made); err != nil {
		return err
	}
	return a.say("\nTo issue a month of it: scanledger report --config %s --store %s --out %s --month 2026-07", filepath.Join(records, demoMark), storeDir, filepath.Join(c.Dir, "reports"))
}

// demoMark is the file that tells that a folder holds the demo's records and may be written anew.
const demoMark = "scanledger.toml"

// writeDemoRecords writes the records beside their place and puts them there, so that a demo may be run
// again in the same folder.
func writeDemoRecords(ctx context.Context, records string) error {
	_, err := os.Stat(records)
	if err == nil {
		if _, err := os.Stat(filepath.Join(records, demoMark)); err != nil {
			return fmt.Errorf("write demo: folder %s holds files that the demo did not write; name another with --dir", records)
		}
	}
	stage := records + ".new"
	if err := os.RemoveAll(stage); err != nil {
		return fmt.Errorf("write demo: %w", err)
	}
	if _, err := demo.Write(ctx, stage, demo.Options{}); err != nil {
		return err
	}
	if err := os.RemoveAll(records); err != nil {
		return fmt.Errorf("write demo: %w", err)
	}
	if err := os.Rename(stage, records); err != nil {
		return fmt.Errorf("write demo: %w", err)
	}
	return nil
}
