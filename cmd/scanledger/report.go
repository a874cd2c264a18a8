package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"golang.org/x/sys/unix"

	"scanledger/dashboards/monthly"
	"scanledger/ingest/store"
	"scanledger/queries"
	"scanledger/transform/engine"
)

type reportCmd struct {
	Store string `required:"" help:"Folder of the store." type:"path" placeholder:"DIR"`
	Out   string `required:"" help:"Folder that holds months/, with a folder for each issue." type:"path" placeholder:"DIR"`
	Month string `help:"Month to issue (YYYY-MM); otherwise every complete month since the last one issued, and restatements of those before." placeholder:"MONTH"`
	AsOf  string `help:"See only what had been received by this day (YYYY-MM-DD)." placeholder:"DATE"`
	For   string `help:"Whom it is for: owner, auditor or all." enum:"owner,auditor,all" default:"all"`

	OnlyIfComplete bool `help:"Issue nothing, and exit with 4, while record files that came in since the month began have rejected or waiting rows."`
	PDF            bool `name:"pdf" help:"Print the page to issue.pdf as well, through a Chromium found on the machine."`
	NoNames        bool `help:"Codes in the place of ids, for issues that leave the business; needs privacy.key."`
}

// reported says what became of one month.
type reported struct {
	Month   string `json:"month"`
	Did     string `json:"did"` // issued, restated, stands or held_back
	Name    string `json:"name"`
	Out     string `json:"out"`     // page to open
	Changed int    `json:"changed"` // figures that are another than issued
	Why     string `json:"why"`     // why it is held back
}

// What became of a month.
const (
	didIssue    = "issued"
	didRestate  = "restated"
	didStand    = "stands"
	didHoldBack = "held_back"
)

// Run issues what is due and says so in one line.
func (c *reportCmd) Run(a *app) error {
	done, err := c.report(a)
	if err != nil {
		return err
	}
	if a.json {
		err = a.object(done)
	} else if err = a.say("%s", reportLine(done)); err == nil {
		for _, r := range done {
			if r.Out != "" && r.Did != didStand {
				err = errors.Join(err, a.say("Open %s", r.Out))
			}
		}
	}
	if err == nil && slices.ContainsFunc(done, func(r reported) bool { return r.Did == didHoldBack }) {
		err = errHeldBack
	}
	return err
}

// reportLine is what was done, in one line.
func reportLine(done []reported) string {
	if len(done) == 0 {
		return "No complete month is due."
	}
	var parts []string
	for _, r := range done {
		switch r.Did {
		case didRestate:
			parts = append(parts, fmt.Sprintf("%s restated as %s, figures changed: %d", r.Month, r.Name, r.Changed))
		case didHoldBack:
			parts = append(parts, fmt.Sprintf("%s held back: %s", r.Month, r.Why))
		case didStand:
			parts = append(parts, fmt.Sprintf("%s stands as issued (%s)", r.Month, r.Name))
		default:
			parts = append(parts, fmt.Sprintf("%s issued as %s", r.Month, r.Name))
		}
	}
	return strings.Join(parts, "; ") + "."
}

func (c *reportCmd) report(a *app) (_ []reported, err error) {
	asOf, err := (&buildCmd{From: c.Month, AsOf: c.AsOf}).check()
	if err != nil {
		return nil, err
	}
	if c.PDF { // rather now than after the work
		if _, err := findPrinter(); err != nil {
			return nil, fmt.Errorf("report: %w", err)
		}
	}
	hide, err := a.hide(c.NoNames)
	if err != nil {
		return nil, err
	}
	st, err := a.sound(c.Store)
	if err != nil {
		return nil, err
	}
	upTo, received, err := st.LoadAsOf(asOf)
	if err != nil {
		return nil, fmt.Errorf("report: %w", err)
	}
	if asOf.IsZero() {
		asOf = received
	}
	if _, err := os.Lstat(filepath.Join(c.Out, outputMark)); err == nil {
		return nil, fmt.Errorf("report: folder %s holds a store or the output of another command, which is replaced as a whole, issues and all; name another folder", c.Out)
	}
	free, err := lockReports(filepath.Join(c.Out, "months"))
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, free()) }()
	r := reporter{a: a, c: c, upTo: upTo, asOf: asOf, maker: monthly.Maker{Dir: filepath.Join(c.Out, "months"), Business: a.business(), Tool: version(), For: c.For, Load: upTo, Removals: len(st.Manifest.Forgotten)}, kept: kept(st)}
	if r.issued, err = monthly.Issued(r.maker.Dir); err != nil {
		return nil, err
	}
	opt, err := a.options("", "", asOf)
	if err != nil {
		return nil, err
	}
	if err := a.withFacts(st, upTo, "", "", hide, opt, r.issueAll(opt)); err != nil {
		return nil, err
	}
	return r.done, r.maker.WriteIndex()
}

// lockReports keeps two commands from issuing at once; free gives the folder back.
func lockReports(dir string) (free func() error, err error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("report: %w", err)
	}
	f, err := os.OpenFile(filepath.Join(dir, ".lock"), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fmt.Errorf("report: %w", err)
	}
	if err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB); err != nil {
		return nil, errors.Join(fmt.Errorf("report: another report is being written to %s; wait for it to end, then run again", dir), f.Close())
	}
	return f.Close, nil
}

// reporter is one run of the command.
type reporter struct {
	a      *app
	c      *reportCmd
	maker  monthly.Maker
	upTo   int
	asOf   time.Time
	issued []monthly.Named
	done   []reported
	kept   string // the first month of which records are kept; empty: of all
}

// kept is the first month that no removal for age has reached.
func kept(st *store.Store) (month string) {
	for _, f := range st.Manifest.Forgotten {
		month = max(month, f.Before)
	}
	return month
}

// issueAll issues what is due from the facts.
func (r *reporter) issueAll(opt queries.Options) func(engine.SQL, *store.Store, *watch) error {
	return func(eng engine.SQL, st *store.Store, w *watch) error {
		for _, f := range st.Manifest.Files {
			if f.Load <= r.upTo {
				r.maker.Inputs = append(r.maker.Inputs, monthly.Input{Name: f.Name, SHA256: f.SHA256, RecordSet: f.RecordSet, Load: f.Load})
			}
		}
		w.Step("analyse")
		book, err := queries.Analyse(r.a.ctx, eng, st, r.upTo, opt)
		if err != nil {
			return err
		}
		months, err := r.due(book)
		if err != nil {
			return err
		}
		for _, month := range months {
			w.Step("issue " + month)
			if err := r.issue(eng, st, book, month, opt); err != nil {
				return err
			}
		}
		return nil
	}
}

// due lists the months to look at: the one asked for; or those issued already, whose figures may have changed, and every
// complete month since the newest of them, or the last complete one where none was issued. Months whose records were removed
// for their age are not looked at: their issues stand.
func (r *reporter) due(b *queries.Book) ([]string, error) {
	if r.c.Month != "" {
		if len(b.MonthCounts) == 0 || r.c.Month > b.To {
			return nil, fmt.Errorf("report: no inspection of %s or later had been received by %s", r.c.Month, b.AsOf)
		}
		if r.c.Month < r.kept {
			return nil, fmt.Errorf("report: records of months before %s were removed for their age; what was issued of %s stands", r.kept, r.c.Month)
		}
		return []string{r.c.Month}, nil
	}
	var out []string
	for _, n := range r.issued {
		if n.For == r.c.For && !slices.Contains(out, n.Month) && n.Month >= r.kept && n.Month <= b.To {
			out = append(out, n.Month)
		}
	}
	last := time.Date(r.asOf.Year(), r.asOf.Month()-1, 1, 0, 0, 0, 0, time.UTC).Format("2006-01")
	last = min(last, b.To)
	next := last
	if len(out) > 0 {
		newest, err := time.Parse("2006-01", slices.Max(out))
		if err != nil {
			return nil, err
		}
		next = newest.AddDate(0, 1, 0).Format("2006-01")
	}
	for _, m := range b.MonthCounts {
		if m.Month >= next && m.Month <= last {
			out = append(out, m.Month)
		}
	}
	return out, nil
}

// issue issues or restates one month, or finds that it stands. Whole is the book of all months: figures of one month are
// the same in it.
func (r *reporter) issue(eng engine.SQL, st *store.Store, whole *queries.Book, month string, opt queries.Options) error {
	last := monthly.Latest(r.issued, month, r.c.For)
	var late []queries.LateRecords
	if last != nil {
		var err error
		if late, err = queries.RecordsSince(r.a.ctx, eng, month, last.Load, r.a.config.Truth.Days); err != nil {
			return err
		}
		removed, err := queries.RemovedSince(st.Manifest.Forgotten, month, last.Removals, r.a.config.Truth.Days)
		if err != nil {
			return err
		}
		late = append(late, removed...)
		i, err := r.maker.Compose(whole, month, last, late)
		if err != nil {
			return err
		}
		if len(i.Changes) == 0 {
			r.say(reported{Month: month, Did: didStand, Name: last.Name})
			return nil
		}
	}
	if why := notComplete(whole, month); r.c.OnlyIfComplete && why != "" {
		r.say(reported{Month: month, Did: didHoldBack, Why: why})
		return nil
	}
	book, err := whole, error(nil)
	if opt.To = month; month != whole.To {
		if book, err = queries.Analyse(r.a.ctx, eng, st, r.upTo, opt); err != nil {
			return err
		}
	}
	i, err := r.maker.Compose(book, month, last, late)
	if err != nil {
		return err
	}
	var printer func(page, pdf string) error
	if r.c.PDF {
		printer = r.a.print
	}
	name, err := r.maker.Publish(i, book, printer)
	if err != nil {
		return err
	}
	did := didIssue
	if last != nil {
		did = didRestate
	}
	r.say(reported{Month: month, Did: did, Name: name, Changed: len(i.Changes)})
	return nil
}

func (r *reporter) say(done reported) {
	if done.Name != "" {
		done.Out = filepath.Join(r.maker.Dir, done.Name, monthly.PageFile)
	}
	r.done = append(r.done, done)
}

// notComplete names the record files that came in since the month began and have rows that do not count.
func notComplete(b *queries.Book, month string) string {
	var open []string
	for _, q := range b.Quality {
		if q.ReceivedOn >= month && q.Rejected+q.Waiting > 0 {
			open = append(open, fmt.Sprintf("%s (%d rejected, %d waiting)", q.File, q.Rejected, q.Waiting))
		}
	}
	return strings.Join(open, ", ")
}
