// Package disk makes what is written last, one step after another.
//
// In: paths and bytes. Out: files that are on the disk when a call returns, names that change in one step, and folders
// that are swept once their maker is dead. It never decides what is written, or where.
package disk

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"
)

// Write writes a file, readable by its owner alone, and brings it onto the disk.
func Write(path string, content []byte) error {
	step()
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(content)
	return errors.Join(err, f.Sync(), f.Close())
}

// Sync brings a file onto the disk, or the names in a folder.
func Sync(path string) error {
	step()
	return bring(path)
}

// SyncTree is Sync for every file and folder below dir. It is one step: until the tree has its name, nobody looks at it.
func SyncTree(dir string) error {
	step()
	return filepath.WalkDir(dir, func(path string, _ os.DirEntry, err error) error {
		if err != nil {
			return err
		}
		return bring(path)
	})
}

func bring(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		return fmt.Errorf("bring %s onto the disk: %w", path, err)
	}
	return nil
}

// Rename gives a file or folder another name in one step. Its names are on the disk once their folders are synced.
func Rename(from, to string) error {
	step()
	return os.Rename(from, to)
}

// Exchange gives two files or folders each other's name in one step. Some file systems cannot: then the error is EINVAL or
// ENOSYS.
func Exchange(a, b string) error {
	step()
	return unix.Renameat2(unix.AT_FDCWD, a, unix.AT_FDCWD, b, unix.RENAME_EXCHANGE)
}

// Remove removes a file.
func Remove(path string) error {
	step()
	return os.Remove(path)
}

// RemoveAll removes a folder and all that is in it, if it is there.
func RemoveAll(path string) error {
	step()
	return os.RemoveAll(path)
}
