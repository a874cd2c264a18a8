package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"golang.org/x/sys/unix"

	"scanledger/ingest/disk"
)

// outputMark is the file that tells that a folder was written by this program and may be replaced.
const outputMark = "manifest.json"

// beginOutput makes a stage beside the output folder, so that both lie on one disk. What stands in the folder is replaced as
// a whole, so it may hold nothing but pages and what is named in makes, under the mark of an earlier output.
func beginOutput(out string, makes ...string) (*disk.Scratch, error) {
	if err := ours(out, makes); err != nil {
		return nil, fmt.Errorf("write output: %w", err)
	}
	if err := os.MkdirAll(filepath.Dir(out), 0o700); err != nil {
		return nil, fmt.Errorf("write output: %w", err)
	}
	if err := sweepOutput(out); err != nil {
		return nil, fmt.Errorf("write output: %w", err)
	}
	stage, err := disk.NewScratch(filepath.Dir(out), stagePrefix(out))
	if err != nil {
		return nil, fmt.Errorf("write output: %w", err)
	}
	return stage, nil
}

// ours is an error where a folder holds what an output is not made of: a store, issues of months, someone's own files.
func ours(out string, makes []string) error {
	entries, err := os.ReadDir(out)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	marked := len(entries) == 0
	for _, e := range entries {
		name := e.Name()
		if name == outputMark {
			marked = true
		} else if filepath.Ext(name) != ".html" && !slices.Contains(makes, name) {
			return fmt.Errorf("folder %s holds files that scanledger did not write there (%s) and would be replaced as a whole; name an empty or new folder", out, name)
		}
	}
	if !marked {
		return fmt.Errorf("folder %s holds files that scanledger did not write (there is no %s); name an empty or new folder", out, outputMark)
	}
	return nil
}

func stagePrefix(out string) string { return "." + filepath.Base(out) + ".stage-" }

// sweepOutput removes stages that a killed run left, or puts the last good output back. Where one is being written now, the
// error says so.
func sweepOutput(out string) error {
	aside, err := disk.Named(filepath.Dir(out), stagePrefix(out))
	if err != nil {
		return err
	}
	for _, dir := range aside {
		if _, err := os.Stat(out); errors.Is(err, os.ErrNotExist) && strings.HasSuffix(dir, asideSuffix) {
			if err := disk.Rename(dir, out); err != nil { // killed between two renames: this is the last good output
				return fmt.Errorf("put the last one back: %w", err)
			}
		}
	}
	living, err := disk.Sweep(filepath.Dir(out), stagePrefix(out))
	if err == nil && len(living) > 0 {
		err = fmt.Errorf("%s is being written by another process, in %s; wait for it to end, then run again", out, living[0])
	}
	return err
}

func writeOutput(stage, name string, content []byte) error {
	path := filepath.Join(stage, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return fmt.Errorf("write output: %w", err)
	}
	if err := os.WriteFile(path, content, 0o600); err != nil {
		return fmt.Errorf("write output: %w", err)
	}
	return nil
}

// publishOutput marks the stage complete and puts it in the place of the output folder in one step.
// What stood there before ends up in the stage, which the caller removes.
func publishOutput(stage, out string, mark []byte) error {
	if err := writeOutput(stage, outputMark, mark); err != nil {
		return err
	}
	if err := disk.SyncTree(stage); err != nil {
		return fmt.Errorf("write output: %w", err)
	}
	err := disk.Exchange(stage, out)
	switch {
	case errors.Is(err, unix.ENOENT): // nothing there yet
		err = disk.Rename(stage, out)
	case errors.Is(err, unix.EINVAL), errors.Is(err, unix.ENOSYS): // this file system cannot exchange
		err = swapByRename(stage, out)
	}
	if err != nil {
		return fmt.Errorf("write output: put %s in place: %w", out, err)
	}
	if err := disk.Sync(filepath.Dir(out)); err != nil {
		return fmt.Errorf("write output: %w", err)
	}
	return nil
}

const asideSuffix = ".aside"

// swapByRename exchanges two folders in three renames, for file systems that cannot do it in one.
func swapByRename(stage, out string) error {
	aside := stage + asideSuffix
	if err := disk.Rename(out, aside); err != nil {
		return err
	}
	if err := disk.Rename(stage, out); err != nil {
		return errors.Join(err, disk.Rename(aside, out))
	}
	return disk.Rename(aside, stage)
}
