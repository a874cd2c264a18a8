package main

import (
	"fmt"
	"path/filepath"
	"time"

	"scanledger/ingest/store"
	"scanledger/transform/settle"
)

type loadCmd struct {
	Store    string    `required:"" help:"Folder of the store; made when new." type:"path" placeholder:"DIR"`
	Set      string    `help:"Record set of every file; otherwise the start of each file's name says." placeholder:"NAME"`
	Received time.Time `help:"When the records came in (RFC 3339); otherwise now." placeholder:"TIME"`
	Files    []string  `arg:"" name:"file" help:"Record files or folders of them."`
}

// Run takes the files in and says what became of their rows.
func (c *loadCmd) Run(a *app) error {
	rep, err := a.load(c.Store, c.Files, c.Set, c.Received)
	if err != nil {
		return err
	}
	if a.json {
		err = a.object(rep)
	} else {
		err = a.sayLoad(rep, c.Store)
	}
	if err == nil && rep.Broken > 0 {
		err = errRejects
	}
	return err
}

func (a *app) load(dir string, files []string, set string, received time.Time) (settle.Report, error) {
	if received.IsZero() {
		var err error
		if received, err = a.now(dir); err != nil {
			return settle.Report{}, err
		}
	}
	w := &watch{a: a}
	defer w.finish()
	return settle.Load(a.ctx, dir, files, settle.Options{ReceivedAt: received, RecordSet: set, Renames: a.config.Columns,
		Engine: a.engine(), KeepOriginals: a.config.Store.KeepOriginals, Tool: version(), Place: a.place, Watch: w})
}

// now is the time by the clock, or that of the store's last load where the clock was set back behind it: what comes in later
// was not there earlier.
func (a *app) now(dir string) (time.Time, error) {
	now := time.Now()
	st, err := store.Open(dir)
	if err != nil {
		return now, nil // a new store, or one that the load refuses
	}
	last := st.Manifest.LastReceived()
	if !last.After(now) {
		return now, nil
	}
	return last, a.say("the clock says %s, but the last load came in at %s; this one is entered with that time: set the clock right",
		now.UTC().Format(time.RFC3339), last.Format(time.RFC3339))
}

func (a *app) sayLoad(rep settle.Report, dir string) error {
	for _, s := range rep.Skipped {
		if err := a.say("skipped %s: %s", oneLine.Replace(s.Path), oneLine.Replace(s.Reason)); err != nil {
			return err
		}
	}
	if rep.Load == 0 {
		return a.say("nothing new; the store is as it was")
	}
	if a.quiet || a.json {
		return nil
	}
	rows := []string{"file\tset\trows\taccepted\tduplicate\tcorrected\twaiting\trejected"}
	for _, f := range rep.Files {
		rows = append(rows, countsLine(f.Name, f.RecordSet, f.Now))
	}
	rows = append(rows, countsLine("all", "", rep.Total))
	for _, f := range rep.Changed {
		rows = append(rows, countsLine(f.Name+" (earlier, now)", f.RecordSet, f.Now))
	}
	if err := a.table(rows); err != nil {
		return err
	}
	if rep.Broken > 0 {
		return a.say("broken rules: %d; every one is listed in %s", rep.Broken,
			filepath.Join(dir, "rejects", fmt.Sprintf("load-%06d.csv", rep.Load)))
	}
	return nil
}

func countsLine(name, set string, c store.Counts) string {
	return fmt.Sprintf("%s\t%s\t%d\t%d\t%d\t%d\t%d\t%d", oneLine.Replace(name), set, c.Rows, c.Accepted, c.Duplicate, c.Corrected, c.Waiting, c.Rejected)
}
