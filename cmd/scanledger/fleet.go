package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"scanledger/ingest/disk"
	"scanledger/ingest/store"
	"scanledger/queries"
	"scanledger/transform"
	"scanledger/transform/engine"
	"scanledger/transform/engine/fleet"
	"scanledger/transform/settle"
)

// Kinds of engine that facts are made in and analyses read.
const (
	embedded = "duckdb"
	trino    = "trino"
)

// checkEngine says what is wrong with the settings of the engine, without showing the address, which may hold a password.
func (c config) checkEngine() error {
	e := c.Engine
	switch {
	case e.Threads < 0:
		return fmt.Errorf("engine.threads is %d; give 1 or more, or leave it out", e.Threads)
	case e.Kind != embedded && e.Kind != trino:
		return fmt.Errorf("engine.kind is %q; give %s or %s", e.Kind, embedded, trino)
	case e.Kind == trino && (e.DSN == "" || e.Folder == ""):
		return errors.New("engine.kind is trino; give engine.dsn, its address, and engine.folder, the folder that it shares with this machine")
	case e.Kind == embedded && (e.DSN != "" || e.Folder != "" || e.Location != ""):
		return errors.New(`engine.dsn, folder and location are of a fleet; give engine.kind = "trino" too, or leave them out`)
	}
	return nil
}

// withFleet is withFacts where facts are made in a fleet. They lie in its folder until use is done.
func (a *app) withFleet(local *engine.Engine, st *store.Store, upTo int, opt queries.Options, w *watch,
	use func(eng engine.SQL, st *store.Store, w *watch) error) (err error) {
	folder, err := filepath.Abs(a.config.Engine.Folder)
	if err != nil {
		return err
	}
	name := fmt.Sprintf("scanledger_%d_%d", time.Now().UnixNano(), os.Getpid()) // nobody else's
	f, err := fleet.Open(a.ctx, fleet.Options{DSN: a.config.Engine.DSN, Folder: folder, Location: a.config.Engine.Location, Name: name, Local: local})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	if err := settle.Views(a.ctx, f, st, upTo); err != nil {
		return err
	}
	dir, err := disk.FreshScratch(folder, ".facts-")
	if err != nil {
		return fmt.Errorf("make facts: %w", err)
	}
	defer func() { err = errors.Join(err, dir.Close()) }()
	facts := a.factOptions(opt, "") // a fleet makes all months
	facts.Local = local
	if _, err := transform.Facts(a.ctx, f, dir.Path, facts, w.Step); err != nil {
		return err
	}
	return use(f, st, w)
}
