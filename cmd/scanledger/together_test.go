package main

import (
	"bytes"
	"errors"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"scanledger/ingest/disk"
	"scanledger/ingest/store"
)

// together runs commands at one time. Each must end well or, where it was kept out or disturbed, say that it is to be run again;
// that is done once the others have ended.
func (w *workshop) together(t *testing.T, cmds ...*exec.Cmd) {
	t.Helper()
	said := make([]bytes.Buffer, len(cmds))
	for i, cmd := range cmds {
		cmd.Stdout, cmd.Stderr = &said[i], &said[i]
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
	}
	var again []*exec.Cmd
	for i, cmd := range cmds {
		err := cmd.Wait()
		var exit *exec.ExitError
		switch {
		case err == nil, errors.As(err, &exit) && exit.ExitCode() == exitRejects:
		case strings.Contains(said[i].String(), "run again"):
			again = append(again, w.command(cmd.Args[2:]...))
		default:
			t.Errorf("%v: %v: %s", cmd.Args[1:], err, &said[i])
		}
	}
	for _, cmd := range again {
		w.does(t, cmd)
	}
}

// TestTwoCommandsAtOnce runs commands of every kind at one time: none sees the half of what another does, and what comes of
// them is what comes of them one after another.
func TestTwoCommandsAtOnce(t *testing.T) {
	w := newWorkshop(t)
	for i := range w.late { // two loads, and a build and a report from whatever store they find
		more := w.late[i]
		if i+1 < len(w.late) {
			w.together(t, w.load(more), w.load(w.late[i+1]), w.build())
		} else {
			w.together(t, w.load(more), w.report())
		}
		w.does(t, w.command("verify", "--store", "store"))
	}
	st, err := store.Open(w.at("store"))
	if err != nil {
		t.Fatal(err)
	}
	if len(st.Manifest.Loads) < 4 || len(st.Manifest.Files) != w.files {
		t.Errorf("%d loads, %d files", len(st.Manifest.Loads), len(st.Manifest.Files))
	}
	w.does(t, w.command("build", "--store", "store", "--out", "alone"))
	w.together(t, w.build(), w.build(), w.report())
	differ(t, "built twice at once", treeOf(t, w.at("alone")), treeOf(t, w.at("out")))
	w.together(t, w.report(), w.report(), w.command("forget", "--store", "store", "--technician", "T01"))
	if issued, err := filepath.Glob(w.at("reports/months/2*")); err != nil || len(issued) == 0 {
		t.Errorf("issued: %v (%v)", issued, err)
	}
	for _, prefix := range []string{".", "scanledger-"} {
		if left, err := disk.Named(w.dir, prefix); err != nil || len(left) > 0 {
			t.Errorf("left behind: %v (%v)", left, err)
		}
	}
}

// TestSupersededStoreIsReadAgain: who opened a store before another process published finds files gone, and that is no damage.
func TestSupersededStoreIsReadAgain(t *testing.T) {
	w := newWorkshop(t)
	looked := 0
	st, err := (&app{}).latest(w.at("store"), false, func(st *store.Store) error {
		if looked++; looked == 1 {
			w.does(t, w.load(w.late...)) // drops the pool that was listed
		}
		return st.Sound(t.Context())
	})
	if err != nil || looked != 2 || len(st.Manifest.Loads) != 2 {
		t.Errorf("looked %d times: %v", looked, err)
	}
	old := *st
	w.does(t, w.command("forget", "--store", "store", "--technician", "T01"))
	if err := undisturbed(&old, old.Sound(t.Context())); err == nil || !strings.Contains(err.Error(), "changed by another process while it was read") {
		t.Errorf("%v", err)
	}
}
