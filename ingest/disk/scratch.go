package disk

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"

	"golang.org/x/sys/unix"
)

// Scratch is a folder for what is not yet, or never, to be found. Its maker holds a lock on it for as long as the maker
// lives, so that others can tell it from what a dead process left. File systems without locks keep what dead ones left.
type Scratch struct {
	Path string
	hold *os.File
}

// NewScratch makes a folder in dir whose name begins with prefix.
func NewScratch(dir, prefix string) (*Scratch, error) {
	for {
		made, err := os.MkdirTemp(dir, prefix+"*")
		if err != nil {
			return nil, err
		}
		hold, err := os.Open(made)
		if errors.Is(err, os.ErrNotExist) {
			continue // swept before it was held
		}
		if err != nil {
			return nil, err
		}
		_ = unix.Flock(int(hold.Fd()), unix.LOCK_EX) // waits for one who looks whether it is held; fails where there are no locks
		if _, err := os.Lstat(made); err == nil {
			return &Scratch{made, hold}, nil
		}
		if err := hold.Close(); err != nil {
			return nil, err
		}
	}
}

// FreshScratch is NewScratch in the place of those that dead makers left under the prefix.
func FreshScratch(dir, prefix string) (*Scratch, error) {
	if _, err := Sweep(dir, prefix); err != nil {
		return nil, err
	}
	return NewScratch(dir, prefix)
}

// Close removes what stands under the folder's name, and ends the hold.
func (s *Scratch) Close() error { return errors.Join(RemoveAll(s.Path), s.hold.Close()) }

// Sweep removes those of this user's folders in dir whose names begin with prefix and whose makers are dead, and lists the
// others.
func Sweep(dir, prefix string) (living []string, err error) {
	found, err := Named(dir, prefix)
	if err != nil {
		return nil, err
	}
	for _, at := range found {
		gone, err := sweep(at)
		if err != nil {
			return nil, fmt.Errorf("remove what an earlier run left: %w", err)
		}
		if !gone {
			living = append(living, at)
		}
	}
	return living, nil
}

func sweep(at string) (gone bool, err error) {
	f, err := os.OpenFile(at, os.O_RDONLY|unix.O_DIRECTORY|unix.O_NOFOLLOW, 0)
	if errors.Is(err, os.ErrNotExist) {
		return true, nil
	}
	if err != nil {
		return false, nil // no folder, or someone else's
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	info, err := f.Stat()
	if err != nil {
		return false, err
	}
	if owner, ok := info.Sys().(*syscall.Stat_t); !ok || int(owner.Uid) != os.Geteuid() {
		return false, nil
	}
	if unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB) != nil {
		return false, nil
	}
	return true, RemoveAll(at)
}

// Named lists what is in dir under names that begin with prefix, in order of names: nothing where there is no dir. Unlike
// filepath.Glob it takes both as they are, whatever characters are in them.
func Named(dir, prefix string) (found []string, err error) {
	entries, err := os.ReadDir(dir)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return nil, err
	}
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), prefix) {
			found = append(found, filepath.Join(dir, e.Name()))
		}
	}
	return found, nil
}
