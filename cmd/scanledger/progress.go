package main

import (
	"fmt"
	"strings"

	"github.com/schollz/progressbar/v3"
)

// watch draws how a load goes on.
type watch struct {
	a   *app
	bar *progressbar.ProgressBar
}

func (w *watch) File(name string, _ int64) { w.start("read " + name) }

func (w *watch) Step(what string) { w.start(what) }

func (w *watch) start(what string) {
	if !w.a.interactive() {
		return
	}
	w.finish()
	w.bar = progressbar.NewOptions64(-1, progressbar.OptionSetWriter(w.a.t.err), progressbar.OptionSetDescription(printable(what)),
		progressbar.OptionShowCount(), progressbar.OptionClearOnFinish())
}

func (w *watch) Rows(n int64) {
	if w.bar != nil {
		_ = w.bar.Add64(n) // a bar that cannot be drawn is no reason to stop
	}
}

func (w *watch) Extra(file string, columns []string) {
	if !w.a.quiet {
		_, _ = fmt.Fprintf(w.a.t.err, "scanledger: %s has columns the contract does not know, ignored: %s\n",
			printable(file), printable(strings.Join(columns, ", ")))
	}
}

func (w *watch) finish() {
	if w.bar != nil {
		_ = w.bar.Finish()
	}
}
