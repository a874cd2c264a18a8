// Package fleettest starts a fleet on this machine, for the tests of rooms that run queries on one.
//
// In: a folder. Out: the address of a coordinator and a worker over it, which end with the test. It downloads nothing that the
// script .ci/fleet has not downloaded before or is told to, and no room but tests uses it.
package fleettest

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// Start starts a coordinator and a worker over a folder, and returns their address. The test is left out unless
// SCANLEDGER_FLEET=1 asks for a fleet; then it fails where there can be none.
func Start(t *testing.T, folder string) (dsn string) {
	t.Helper()
	if os.Getenv("SCANLEDGER_FLEET") != "1" {
		t.Skip("tests of a fleet are asked for by SCANLEDGER_FLEET=1")
	}
	t.Cleanup(func() {
		if _, err := script("stop", folder); err != nil {
			t.Error(err)
		}
	})
	dsn, err := script("start", folder)
	if err != nil {
		t.Fatal(err)
	}
	return dsn
}

// Worker starts the worker over a folder again.
func Worker(t *testing.T, folder string) {
	t.Helper()
	if _, err := script("worker", folder); err != nil {
		t.Fatal(err)
	}
}

// script runs the script of fleets, and returns what it prints.
func script(command, folder string) (string, error) {
	path, err := find()
	if err != nil {
		return "", err
	}
	var problems strings.Builder
	c := exec.Command(path, command, folder)
	c.Stderr = &problems
	said, err := c.Output()
	if err != nil {
		return "", fmt.Errorf("%s the fleet: %w: %s", command, err, problems.String())
	}
	return strings.TrimSpace(string(said)), nil
}

// find looks for the script in the folders above the one that tests run in.
func find() (string, error) {
	at, err := os.Getwd()
	if err != nil {
		return "", err
	}
	for ; at != filepath.Dir(at); at = filepath.Dir(at) {
		path := filepath.Join(at, ".ci", "fleet")
		if _, err := os.Stat(path); err == nil {
			return path, nil
		}
	}
	return "", errors.New("no .ci/fleet above this folder")
}
