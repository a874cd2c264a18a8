// Command scanledger keeps the ledger of calls made with hand-held movement sensors: what was
// called, what was later found, and how the two add up.
//
// In: flags and a configuration file. Out: progress on stderr, results on stdout, an exit code. It
// wires the rooms together; it never computes a figure, knows SQL or looks inside a record.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	_ "time/tzdata" // time zones must not depend on the machine

	"github.com/alecthomas/kong"
	"golang.org/x/sys/unix"

	"scanledger/ingest/store"
	"scanledger/queries/calc"
	"scanledger/queries/sampling"
)

// Exit codes; they are part of the interface and published in --help and the README.
const (
	exitClean     = 0
	exitFailure   = 1
	exitUsage     = 2
	exitRejects   = 3
	exitHeldBack  = 4
	exitCancelled = 130
)

const exitCodes = `Exit codes: 0 clean; 1 failure, nothing was changed; 2 wrong usage or impossible input; 3 finished, with rejected rows; 4 a month is held back as not complete; 130 cancelled.`

const cautions = `A clear reading never proves absence: it says that no movement was shown at the points and settings listed.
Before opening a wall: old fibre cement may hold asbestos; locate and isolate cables and pipes; follow local codes and
leave treatment and opening to licensed practice.`

var (
	errRejects = errors.New("finished with rejected rows")
	errUsage   = errors.New("usage")

	errHeldBack = errors.New("a month is held back") // the command has said so
)

// terminal is where a command reads and writes.
type terminal struct {
	in       io.Reader
	out, err io.Writer
}

// commands is the command line.
type commands struct {
	Demo    demoCmd    `cmd:"" help:"Write the demo's invented records, take them in, and build everything."`
	Load    loadCmd    `cmd:"" help:"Take record files or folders into a store."`
	Build   buildCmd   `cmd:"" help:"Make facts, results and pages from a store."`
	Report  reportCmd  `cmd:"" help:"Issue a month: one page to be mailed, a workbook and a summary, never overwritten."`
	Sample  sampleCmd  `cmd:"" help:"Draw the audit sample of a month: points to recheck blind and clear points to open."`
	Ask     askCmd     `cmd:"" help:"Answer one SELECT over a store, read-only."`
	Explain explainCmd `cmd:"" help:"Say where a figure comes from: query, counts, files and lines."`
	Verify  verifyCmd  `cmd:"" help:"Recompute every count and checksum in a store."`
	Forget  forgetCmd  `cmd:"" help:"Remove the records of a technician, a site or old months from a store, or put codes in their place."`
	Repair  repairCmd  `cmd:"" help:"Rebuild what is damaged in a store, or the whole store from the record files it keeps."`
	Check   checkCmd   `cmd:"" help:"Validate record files without a store."`
	Records recordsCmd `cmd:"" help:"Print the record contract as a table."`
	Calc    calcCmd    `cmd:"" help:"Recompute one figure from a JSON object on standard input."`

	Bench      benchCmd      `cmd:"" help:"Measure each stage beside the least that the same work takes, on made-up records."`
	Licences   licencesCmd   `cmd:"" help:"List the modules in this program, with the texts of their licences."`
	Floor      floorCmd      `cmd:"" hidden:"" help:"Do the least of a stage, for bench."`
	Manual     manualCmd     `cmd:"" help:"Print the manual page, for man."`
	Completion completionCmd `cmd:"" help:"Print what a shell reads to complete commands and flags."`

	Config  string           `help:"Configuration file (TOML); every setting has a default." type:"path" placeholder:"FILE"`
	JSON    bool             `help:"Print machine-readable output." name:"json"`
	Quiet   bool             `help:"Print nothing but results and errors." short:"q"`
	Version kong.VersionFlag `help:"Print the version."`
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	code := run(ctx, os.Args[1:], terminal{os.Stdin, os.Stdout, os.Stderr})
	stop()
	os.Exit(code)
}

// run is the program: it returns the exit code.
func run(ctx context.Context, args []string, t terminal) (code int) {
	unix.Umask(0o077)           // whatever this program or an engine it calls creates is its owner's alone
	signal.Ignore(unix.SIGXFSZ) // a file over the limit is an error to be told, in a thread of the engine too
	var c commands
	type exited int
	parser, err := kong.New(&c, kong.Name("scanledger"), kong.Writers(t.out, t.err),
		kong.Description("Takes in inspection records, reading logs and later findings, and shows how well the calls held up.\n\n"+exitCodes+"\n\n"+cautions+"\n\n"+exampleText()),
		kong.Exit(func(code int) { panic(exited(code)) }), kong.Vars{"version": version(), "risk_share": fmt.Sprint(sampling.DefaultRiskShare)}, kong.ConfigureHelp(kong.HelpOptions{Compact: true}))
	if err != nil {
		return report(t, err)
	}
	defer func() { // --help and --version end inside the parser
		if e := recover(); e != nil {
			if _, ok := e.(exited); !ok {
				panic(e)
			}
			code = exitClean
		}
	}()
	parsed, err := parser.Parse(args)
	if err != nil {
		return report(t, fmt.Errorf("%w: %w; see: scanledger --help", errUsage, err))
	}
	a, err := newApp(ctx, &c, t)
	if err != nil {
		return report(t, err)
	}
	return report(t, parsed.Run(a, parser.Model))
}

// report prints an error and gives its exit code.
func report(t terminal, err error) int {
	if err == nil {
		return exitClean
	}
	code := exitFailure
	switch {
	case errors.Is(err, context.Canceled):
		err, code = errors.New("cancelled; what was there before is whole"), exitCancelled
	case errors.Is(err, errRejects):
		return exitRejects // the command has said so
	case errors.Is(err, errHeldBack):
		return exitHeldBack
	case errors.Is(err, errUsage), errors.Is(err, calc.ErrInput):
		code = exitUsage
	}
	said := err.Error()
	if do := advice(err); do != "" {
		said += "\n" + do
	}
	if _, err := fmt.Fprintln(t.err, "scanledger:", printable(said)); err != nil {
		return exitFailure
	}
	return code
}

// printable keeps control characters of hostile input away from a terminal, and those that turn the direction of a
// text, with which it could look like another.
func printable(s string) string { return strings.Map(store.Shown, s) }
