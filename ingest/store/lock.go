package store

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/sys/unix"
)

// ErrLocked says that another process is writing to the store.
var ErrLocked = errors.New("store is in use")

// lock lets one process write. The operating system drops it when the process ends, however it ends.
type lock struct{ f *os.File }

func takeLock(dir string) (*lock, error) {
	path := filepath.Join(dir, lockName)
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fmt.Errorf("lock store %s: %w", dir, err)
	}
	if err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB); err != nil {
		holder, _ := os.ReadFile(path)
		return nil, errors.Join(fmt.Errorf("lock store %s: %w by %s; wait for it to end, then run again",
			dir, ErrLocked, strings.TrimSpace(string(holder))), f.Close())
	}
	host, err := os.Hostname()
	if err != nil {
		host = "unknown host"
	}
	if err := f.Truncate(0); err != nil {
		return nil, errors.Join(fmt.Errorf("lock store %s: %w", dir, err), f.Close())
	}
	if _, err := fmt.Fprintf(f, "process %d on %s\n", os.Getpid(), host); err != nil {
		return nil, errors.Join(fmt.Errorf("lock store %s: %w", dir, err), f.Close())
	}
	return &lock{f}, nil
}

func (l *lock) release() error { return l.f.Close() }
