package main

import (
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"time"

	"scanledger/dashboards"
	"scanledger/ingest/store"
	"scanledger/queries"
	"scanledger/queries/sampling"
	"scanledger/transform/codes"
	"scanledger/transform/engine"
)

type sampleCmd struct {
	Store      string   `required:"" help:"Folder of the store, which keeps the sample." type:"path" placeholder:"DIR"`
	Month      string   `required:"" help:"Month of the inspections to draw from (YYYY-MM)." placeholder:"MONTH"`
	Out        string   `help:"Folder for the lists; replaced as a whole. Otherwise sample-MONTH." type:"path" placeholder:"DIR"`
	Size       *int     `help:"Points in all."`
	Detect     *float64 `help:"Share of points at fault that should show: as many points as that takes (hypergeometric)." placeholder:"SHARE"`
	Confidence *float64 `help:"Chance with which --detect should show it; otherwise 0.95." placeholder:"SHARE"`
	Plan       string   `help:"Inspection level of a plan for inspection by attributes (ISO 2859-1): S-1 to S-4, I, II or III." placeholder:"LEVEL"`
	AQL        *float64 `name:"aql" help:"Acceptable quality limit of --plan, per cent." placeholder:"PERCENT"`
	Seed       uint64   `help:"Seed of the draw." default:"1"`
	RiskShare  float64  `help:"Share of the sample that is weighted to risk." default:"${risk_share}"`
	Openings   *int     `help:"Most clear points to open, drawn from those of the sample; otherwise every one of them."`
	Trial      bool     `help:"Draw without keeping the sample in the store."`
	NoNames    bool     `help:"Codes in the place of ids, for lists that leave the business; needs privacy.key."`
}

// drawn says what a draw made.
type drawn struct {
	Sample string         `json:"sample"`
	Out    string         `json:"out"`
	Start  string         `json:"start"` // the page to open first
	Sizes  sampling.Sizes `json:"sizes"`
	Kept   bool           `json:"kept"` // in the store
}

// Run draws, or takes what was drawn before, and says where to look.
func (c *sampleCmd) Run(a *app) (err error) {
	rule, err := c.rule()
	if err != nil {
		return fmt.Errorf("%w: sample: %w", errUsage, err)
	}
	if c.Out == "" {
		c.Out = "sample-" + c.Month
	}
	hide, err := a.hide(c.NoNames)
	if err != nil {
		return err
	}
	stage, err := beginOutput(c.Out, "sample.json", "sample.csv", "frame.csv") // before the draw is kept: it may not be possible
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, stage.Close()) }()
	s, err := c.sample(a, rule)
	if err != nil {
		return err
	}
	if hide != nil {
		coded(&s, *hide)
	}
	if err := c.write(a, stage.Path, s); err != nil {
		return err
	}
	made := drawn{s.Name, c.Out, filepath.Join(c.Out, "index.html"), s.Sizes, !c.Trial}
	if a.json {
		return a.object(made)
	}
	return a.say("%d of %d points drawn: %d at random, %d weighted to risk.\nOpen %s", s.Sizes.Random+s.Sizes.Risk, s.Sizes.Frame, s.Sizes.Random, s.Sizes.Risk, made.Start)
}

// rule reads the flags.
func (c *sampleCmd) rule() (sampling.Rule, error) {
	r := sampling.Rule{Level: c.Plan, RiskShare: c.RiskShare, Openings: c.Openings}
	if _, err := time.Parse("2006-01", c.Month); err != nil {
		return r, fmt.Errorf("%q is no month; write it as 2026-08", c.Month)
	}
	switch {
	case c.Size != nil && *c.Size < 1:
		return r, fmt.Errorf("--size is %d; give 1 or more", *c.Size)
	case c.Detect != nil && *c.Detect == 0:
		return r, errors.New("--detect is 0; give a share between 0 and 1")
	case c.Confidence != nil && c.Detect == nil:
		return r, errors.New("--confidence goes with --detect")
	case (c.AQL != nil) != (c.Plan != ""):
		return r, errors.New("--plan and --aql go together, such as --plan II --aql 4.0")
	}
	if c.Size != nil {
		r.Size = *c.Size
	}
	if c.Detect != nil {
		r.Detect, r.Confidence = *c.Detect, queries.Confidence
	}
	if c.Confidence != nil {
		r.Confidence = *c.Confidence
	}
	if c.AQL != nil {
		r.AQL = *c.AQL
	}
	return r, r.Check()
}

// sample is what the store keeps under this month, rule and seed, or else a new draw.
func (c *sampleCmd) sample(a *app, rule sampling.Rule) (s queries.Sample, err error) {
	st, err := a.sound(c.Store)
	if err != nil {
		return s, err
	}
	if c.Trial {
		return c.draw(a, st, rule)
	}
	txn, err := store.BeginAt(a.ctx, c.Store, a.place) // the lock is held from before the frame is read until the draw is kept
	if err != nil {
		return s, err
	}
	defer func() { err = errors.Join(err, txn.Close()) }()
	name := queries.SampleName(c.Month, rule, c.Seed)
	held, err := txn.ReadSample(name, &s)
	if err != nil {
		return s, err
	}
	if held {
		s.Frame, err = txn.ReadFrame(a.ctx, name)
		return s, err
	}
	if s, err = c.draw(a, txn.Store, rule); err != nil {
		return s, err
	}
	if err := txn.WriteSample(name, c.Month, s, s.Frame); err != nil {
		return s, err
	}
	return s, txn.Commit()
}

// draw makes the frame from all that has been received, and draws from it.
func (c *sampleCmd) draw(a *app, st *store.Store, rule sampling.Rule) (s queries.Sample, err error) {
	upTo, received, err := st.LoadAsOf(time.Time{})
	if err != nil {
		return s, fmt.Errorf("sample: %w", err)
	}
	opt, err := a.options("", "", received)
	if err != nil {
		return s, err
	}
	err = a.withBook(st, upTo, "", "", nil, opt, func(eng engine.SQL, _ *store.Store, book *queries.Book) error {
		frame, err := queries.Frame(a.ctx, eng, book, queries.SampleName(c.Month, rule, c.Seed), c.Month)
		if err != nil {
			return err
		}
		if s, err = queries.DrawSample(c.Month, book.AsOf, rule, c.Seed, frame); err != nil {
			return fmt.Errorf("%w: sample: %w", errUsage, err)
		}
		return nil
	})
	return s, err
}

// coded puts codes in the place of ids, and the frame in their order.
func coded(s *queries.Sample, by codes.Coder) {
	for i := range s.Frame {
		r := &s.Frame[i]
		r.InspectionID, r.SiteID, r.PointID = by.Code(codes.Inspection, r.InspectionID), by.Code(codes.Site, r.SiteID), by.Code(codes.Point, r.PointID)
		r.TechnicianID = by.Code(codes.Technician, r.TechnicianID)
	}
	slices.SortFunc(s.Frame, func(a, b store.FrameRow) int {
		return slices.Compare([]string{a.TechnicianID, a.InspectionID, a.PointID}, []string{b.TechnicianID, b.InspectionID, b.PointID})
	})
}

// write fills the stage with the lists, and publishes them.
func (c *sampleCmd) write(a *app, stage string, s queries.Sample) error {
	if err := dashboards.WriteSample(stage, s, a.business()); err != nil {
		return err
	}
	made := struct {
		Tool   string            `json:"tool"`
		Sample string            `json:"sample"`
		SHA256 map[string]string `json:"sha256"` // of the files beside this one
	}{version(), s.Name, map[string]string{}}
	for name, content := range map[string]func() ([]byte, error){"sample.json": s.JSON, "sample.csv": s.CSV, "frame.csv": s.FrameCSV} {
		raw, err := content()
		if err != nil {
			return fmt.Errorf("write %s: %w", name, err)
		}
		if err := writeOutput(stage, name, raw); err != nil {
			return err
		}
		made.SHA256[name] = fmt.Sprintf("%x", sha256.Sum256(raw))
	}
	mark, err := json.MarshalIndent(made, "", " ")
	if err != nil {
		return err
	}
	return publishOutput(stage, c.Out, append(mark, '\n'))
}
