package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/sys/unix"
)

// outputMark is the file that tells that a folder was written by this program and may be replaced.
const outputMark = "manifest.json"

// beginOutput makes a stage beside the output folder, so that both lie on one disk.
func beginOutput(out string) (stage string, err error) {
	entries, err := os.ReadDir(out)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return "", fmt.Errorf("write output: %w", err)
	}
	if len(entries) > 0 {
		if _, err := os.Stat(filepath.Join(out, outputMark)); err != nil {
			return "", fmt.Errorf("write output: folder %s holds files that scanledger did not write; name an empty or new folder", out)
		}
	}
	if err := os.MkdirAll(filepath.Dir(out), 0o700); err != nil {
		return "", fmt.Errorf("write output: %w", err)
	}
	if err := sweepOutput(out); err != nil {
		return "", err
	}
	stage, err = os.MkdirTemp(filepath.Dir(out), stagePattern(out))
	if err != nil {
		return "", fmt.Errorf("write output: %w", err)
	}
	return stage, nil
}

func stagePattern(out string) string { return "." + filepath.Base(out) + ".stage-*" }

// sweepOutput removes stages that a killed run left.
func sweepOutput(out string) error {
	left, err := filepath.Glob(filepath.Join(filepath.Dir(out), stagePattern(out)))
	if err != nil {
		return err
	}
	for _, dir := range left {
		if _, err := os.Stat(out); errors.Is(err, os.ErrNotExist) && strings.HasSuffix(dir, asideSuffix) {
			if err := os.Rename(dir, out); err != nil { // killed between two renames: this is the last good output
				return fmt.Errorf("write output: put the last one back: %w", err)
			}
			continue
		}
		if err := os.RemoveAll(dir); err != nil {
			return fmt.Errorf("write output: remove what an earlier run left: %w", err)
		}
	}
	return nil
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
	if err := syncTree(stage); err != nil {
		return fmt.Errorf("write output: %w", err)
	}
	err := unix.Renameat2(unix.AT_FDCWD, stage, unix.AT_FDCWD, out, unix.RENAME_EXCHANGE)
	switch {
	case errors.Is(err, unix.ENOENT): // nothing there yet
		err = os.Rename(stage, out)
	case errors.Is(err, unix.EINVAL), errors.Is(err, unix.ENOSYS): // this file system cannot exchange
		err = swapByRename(stage, out)
	}
	if err != nil {
		return fmt.Errorf("write output: put %s in place: %w", out, err)
	}
	return nil
}

const asideSuffix = ".aside"

// swapByRename exchanges two folders in three renames, for file systems that cannot do it in one.
func swapByRename(stage, out string) error {
	aside := stage + asideSuffix
	if err := os.Rename(out, aside); err != nil {
		return err
	}
	if err := os.Rename(stage, out); err != nil {
		return errors.Join(err, os.Rename(aside, out))
	}
	return os.Rename(aside, stage)
}

// syncTree brings every file and folder below dir to the disk.
func syncTree(dir string) error {
	return filepath.WalkDir(dir, func(path string, _ os.DirEntry, err error) error {
		if err != nil {
			return err
		}
		f, err := os.Open(path)
		if err != nil {
			return err
		}
		return errors.Join(f.Sync(), f.Close())
	})
}
