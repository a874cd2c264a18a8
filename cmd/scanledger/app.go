package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
	"text/tabwriter"

	"golang.org/x/term"

	"scanledger/ingest/store"
	"scanledger/ingest/store/bucket"
	"scanledger/transform/engine"
)

// versionNumber is raised with every change that users can see.
const versionNumber = "0.1.0"

// version says which program this is: its number, the commit it was built from where the build knows it, and the Go and
// DuckDB that went into it. Everything that is written carries it.
func version() string {
	parts := []string{runtime.Version(), "DuckDB " + engine.Version()}
	if info, ok := debug.ReadBuildInfo(); ok {
		if c := commitOf(info); c != "" {
			parts = slices.Insert(parts, 0, c)
		}
	}
	return fmt.Sprintf("scanledger %s (%s)", versionNumber, strings.Join(parts, ", "))
}

// commitOf names the commit of a build, and says so where files had been changed since; empty where the build knows none.
func commitOf(info *debug.BuildInfo) string {
	var commit, changed string
	for _, s := range info.Settings {
		switch {
		case s.Key == "vcs.revision":
			commit = fmt.Sprintf("commit %.12s", s.Value)
		case s.Key == "vcs.modified" && s.Value == "true":
			changed = " with changes"
		}
	}
	if commit == "" {
		return ""
	}
	return commit + changed
}

// app is what every command runs with.
type app struct {
	ctx    context.Context
	t      terminal
	config config
	json   bool
	quiet  bool
	place  store.Place // where stores are published besides their folder; nil: nowhere
}

func newApp(ctx context.Context, c *commands, t terminal) (*app, error) {
	cfg, err := readConfig(c.Config)
	if err != nil {
		return nil, err
	}
	place, err := placeOf(cfg.Store.Place)
	if err != nil {
		return nil, fmt.Errorf("%w: configuration %s: store.place: %w", errUsage, c.Config, err)
	}
	return &app{ctx: ctx, t: t, config: cfg, json: c.JSON, quiet: c.Quiet, place: place}, nil
}

// say prints a line for a person, unless the output is for a machine.
func (a *app) say(format string, args ...any) error {
	if a.json || a.quiet {
		return nil
	}
	_, err := fmt.Fprintln(a.t.out, printable(fmt.Sprintf(format, args...)))
	return err
}

// object prints a value for a machine.
func (a *app) object(v any) error {
	raw, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(a.t.out, "%s\n", escapeHidden(raw))
	return err
}

// table prints rows with tab-separated cells in aligned columns.
func (a *app) table(rows []string) error {
	w := tabwriter.NewWriter(a.t.out, 0, 0, 2, ' ', 0)
	for _, r := range rows {
		if _, err := fmt.Fprintln(w, printable(r)); err != nil {
			return err
		}
	}
	return w.Flush()
}

// interactive reports whether progress may be drawn.
func (a *app) interactive() bool {
	f, ok := a.t.err.(*os.File)
	return ok && !a.quiet && !a.json && term.IsTerminal(int(f.Fd()))
}

// sound opens a store for reading, once every file that figures come from is what was written. Otherwise a figure might
// come from damage, or the engine fail on it in words of its own.
func (a *app) sound(dir string) (*store.Store, error) {
	return a.latest(dir, false, func(st *store.Store) error { return st.Sound(a.ctx) })
}

// latest opens a store and looks at it, again where it fails because another process published in between.
func (a *app) latest(dir string, originals bool, look func(*store.Store) error) (*store.Store, error) {
	for {
		st, err := a.openWith(dir, originals)
		if err != nil {
			return nil, err
		}
		if err = look(st); err == nil || !st.Superseded() {
			return st, err
		}
	}
}

// undisturbed is the error of one who reads a store. Where another process has published meanwhile, it says so: records that
// were removed can no longer be read by those who began before.
func undisturbed(st *store.Store, err error) error {
	if err != nil && st.Superseded() {
		return fmt.Errorf("store %s was changed by another process while it was read, nothing was written; run again: %w", st.Dir, err)
	}
	return err
}

// open opens a store for reading. Where it is published elsewhere, the folder is brought up to date first.
func (a *app) open(dir string) (*store.Store, error) { return a.openWith(dir, false) }

// openWith is open, with or without the record files as they came in.
func (a *app) openWith(dir string, originals bool) (*store.Store, error) {
	if a.place != nil {
		if err := store.Refresh(a.ctx, dir, a.place, originals); err != nil {
			return nil, err
		}
	}
	return store.Open(dir)
}

// placeOf is where stores are published besides their folder: in a bucket, in another folder, or, for an empty address, nowhere.
func placeOf(address string) (store.Place, error) {
	switch {
	case address == "":
		return nil, nil
	case strings.Contains(address, "://"):
		return bucket.Open(address)
	}
	return store.Folder(address), nil
}

func (a *app) engine() engine.Options {
	return engine.Options{MemoryLimit: a.config.Engine.Memory, Threads: a.config.Engine.Threads}
}
