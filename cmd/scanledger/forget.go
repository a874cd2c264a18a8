package main

import (
	"errors"
	"fmt"
	"time"

	"scanledger/ingest/store"
	"scanledger/transform/codes"
	"scanledger/transform/forget"
)

type forgetCmd struct {
	Store        string    `required:"" help:"Folder of the store." type:"path" placeholder:"DIR"`
	Technician   string    `help:"Forget this technician: the name, inspections and their readings." placeholder:"ID" xor:"who"`
	Site         string    `help:"Forget this site: its inspections, their readings and its findings." placeholder:"ID" xor:"who"`
	OlderThan    int       `help:"Forget records dated more than so many whole months ago; without this, --technician and --site, as many as retention.months says." placeholder:"MONTHS" xor:"who"`
	Pseudonymise bool      `help:"Keep the records, with a code in the place of the id and without the name; needs privacy.key."`
	DryRun       bool      `help:"Say what would go, and change nothing."`
	Received     time.Time `help:"When it was asked for (RFC 3339); otherwise now." placeholder:"TIME"`
}

// forgot says what went, or would go.
type forgot struct {
	store.Forgotten
	DryRun bool `json:"dry_run"`
}

// Run forgets, and says what that leaves to do.
func (c *forgetCmd) Run(a *app) error {
	r, err := c.request(a)
	if err != nil {
		return fmt.Errorf("%w: forget: %w", errUsage, err)
	}
	trail, err := c.forget(a, r)
	switch {
	case errors.Is(err, forget.ErrNothing) && r.Months > 0: // nothing has come of age; no fault
	case errors.Is(err, forget.ErrNothing):
		return fmt.Errorf("%w: %w", errUsage, err)
	case err != nil:
		return err
	}
	if a.json {
		return a.object(forgot{trail, c.DryRun})
	}
	return c.say(a, trail)
}

// request reads the flags.
func (c *forgetCmd) request(a *app) (forget.Request, error) {
	r := forget.Request{Technician: c.Technician, Site: c.Site, Months: c.OlderThan, At: c.Received, Tool: version(), Engine: a.engine(), Place: a.place}
	if r.At.IsZero() {
		r.At = time.Now()
	}
	if r.Technician == "" && r.Site == "" && r.Months == 0 {
		r.Months = a.config.Retention.Months
	}
	switch {
	case r.Months < 0:
		return r, fmt.Errorf("--older-than is %d; give 1 month or more", r.Months)
	case r.Technician == "" && r.Site == "" && r.Months == 0:
		return r, errors.New("name a --technician, a --site or --older-than MONTHS; retention.months is not set")
	case c.Pseudonymise && r.Months > 0:
		return r, errors.New("--pseudonymise goes with --technician or --site; old records are removed")
	case c.Pseudonymise:
		coder, err := codes.New(a.config.Privacy.Key)
		r.Coder = &coder
		return r, err
	}
	return r, nil
}

func (c *forgetCmd) forget(a *app, r forget.Request) (store.Forgotten, error) {
	if !c.DryRun {
		return forget.Forget(a.ctx, c.Store, r)
	}
	st, err := a.open(c.Store)
	if err != nil {
		return store.Forgotten{}, err
	}
	return forget.Plan(a.ctx, st, r)
}

func (c *forgetCmd) say(a *app, trail store.Forgotten) error {
	if trail.Total() == 0 {
		return a.say("No record is from before %s; nothing was changed.", trail.Before)
	}
	if a.quiet {
		return nil
	}
	rows := []string{"set\tmonth\trows"}
	for _, r := range trail.Rows {
		rows = append(rows, fmt.Sprintf("%s\t%s\t%d", r.RecordSet, r.Month, r.Rows))
	}
	if err := a.table(rows); err != nil {
		return err
	}
	if c.DryRun {
		return a.say("%d rows would be %s; nothing was changed.", trail.Total(), trail.Did)
	}
	return a.say(`%d rows %s; texts changed elsewhere: %d; kept record files removed: %d.
Build again: figures will say that they were restated. What was made or copied before still shows the records: other output
folders, issues of months, copies of the store, and the record files themselves; remove those by hand.`,
		trail.Total(), trail.Did, trail.Texts, trail.Originals)
}
