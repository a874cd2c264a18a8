package main

import (
	"context"
	"errors"
	"flag"
	"os"
	"os/exec"
	"strconv"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

var update = flag.Bool("update", false, "write golden files anew")

func TestMain(m *testing.M) {
	testscript.Main(tidy{m}, map[string]func(){
		"scanledger": func() { os.Exit(run(context.Background(), os.Args[1:], terminal{os.Stdin, os.Stdout, os.Stderr})) },
	})
}

// tidy removes what tests share once they have all run.
type tidy struct{ *testing.M }

// Run runs the tests.
func (m tidy) Run() int {
	code := m.M.Run()
	for _, shared := range []string{demoMade, codedOnce.dir} { // an empty name is that of nothing
		if err := os.RemoveAll(shared); err != nil && code == 0 {
			code = 1
		}
	}
	return code
}

// TestScripts runs the stories in testdata/script, each on the real program.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		UpdateScripts:       *update,
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Cmds:                map[string]func(*testscript.TestScript, bool, []string){"exits": exits},
	})
}

// exits CODE PROGRAM ARG… runs a program and checks its exit code.
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE PROGRAM ARG…")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	var exit *exec.ExitError
	if err := ts.Exec(args[1], args[2:]...); errors.As(err, &exit) {
		got = exit.ExitCode()
	} else {
		ts.Check(err)
	}
	if got != want {
		ts.Fatalf("exit code %d, want %d", got, want)
	}
}
