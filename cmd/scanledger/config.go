package main

import (
	"fmt"
	"strings"

	"github.com/BurntSushi/toml"

	"scanledger/ingest/contract"
	"scanledger/queries"
	"scanledger/transform"
	"scanledger/transform/logs"
	"scanledger/transform/protocol"
)

// config is scanledger.toml. Every setting may be left out.
type config struct {
	Store struct {
		KeepOriginals bool   `toml:"keep_originals"` // record files, compressed, in the store (default true: nothing else can bring back damaged files)
		Place         string `toml:"place"`          // where stores are published for several machines: s3://BUCKET/PREFIX?endpoint=HOST, or a folder (default none: the folder of the store is all there is)
	} `toml:"store"`
	Business struct {
		Name     string `toml:"name"`     // shown on pages; default none
		Currency string `toml:"currency"` // of the costs; default none
	} `toml:"business"`
	Costs struct {
		FalseAlarm float64 `toml:"false_alarm"` // a wall opened for nothing (house's choice; no default)
		Missed     float64 `toml:"missed"`      // a point called clear that was active (house's choice; no default)
	} `toml:"costs"`
	Truth struct {
		Days int `toml:"days"` // how long a finding tells about a visit (default 60: the record contract)
	} `toml:"truth"`
	Counts struct {
		Floor int `toml:"floor"` // fewest cases for which a rate is shown (default 30: NCHS presentation standards, 2017)
	} `toml:"counts"`
	Patterns struct {
		MinVerified int     `toml:"min_verified"`   // fewest checked calls of a pattern (default: counts.floor)
		MinExcess   float64 `toml:"min_excess"`     // fewest wrong calls beyond the expected (default 5: house's choice)
		MinOdds     float64 `toml:"min_odds_ratio"` // least ratio of the odds of being wrong to the expected (default 1.75: house's choice)
		Q           float64 `toml:"q"`              // false discoveries borne among those shown (default 0.10: house's choice)
	} `toml:"patterns"`
	Sensor struct {
		Frequency float64 `toml:"frequency_ghz"` // for wave losses (default 24.125: house's choice, no fact about any device)
	} `toml:"sensor"`
	Privacy struct {
		Key string `toml:"key"` // secret, for --no-names (no default: a key that others know hides nothing)
	} `toml:"privacy"`
	Retention struct {
		Months int `toml:"months"` // age from which "forget" without a rule removes records (default 0, keep all: how long records must or may be kept is the house's to say)
	} `toml:"retention"`
	Protocol map[string]any `toml:"protocol"` // settings of the checks and those switched off; defaults with their reasons in transform/protocol
	Logs     map[string]any `toml:"logs"`     // settings of unit logs; defaults with their reasons in transform/logs
	Pages    struct {
		Inspections int `toml:"inspections"` // most inspections with a page of their own (default 60: house's choice)
	} `toml:"pages"`
	WaveLoss map[string]string `toml:"wave_loss"` // material = row of the table of wave losses, where its own name is none
	Engine   struct {
		Kind     string `toml:"kind"`     // "duckdb", embedded, or "trino", a fleet, which makes facts and answers analyses (default "duckdb": house's choice)
		DSN      string `toml:"dsn"`      // address of the fleet, as http://USER@HOST:PORT?catalog=NAME, or https with USER:PASSWORD
		Folder   string `toml:"folder"`   // that the fleet shares with this machine; the store lies in it
		Location string `toml:"location"` // how the fleet names that folder (default "local:///": the root of its local file system)
		Memory   string `toml:"memory"`   // most memory the SQL engine takes (default: for a build by its largest month, see buildMemory, for a load by the text it is given; house's choice)
		Threads  int    `toml:"threads"`  // default: every core
	} `toml:"engine"`
	Columns map[string]map[string]string `toml:"columns"` // per record set: supplier's column = contract column
}

// mostPages bounds what a build may write: some 70 kB a page.
const mostPages = 2000

func readConfig(path string) (config, error) {
	c := config{}
	c.Store.KeepOriginals, c.Engine.Kind = true, embedded
	c.Truth.Days, c.Counts.Floor, c.Sensor.Frequency = transform.DefaultTruthDays, queries.DefaultFloor, queries.DefaultFrequency
	c.Pages.Inspections = queries.DefaultInspectionPages
	c.Patterns.MinExcess, c.Patterns.MinOdds, c.Patterns.Q = queries.DefaultPatterns.MinExcess, queries.DefaultPatterns.MinOdds, queries.DefaultPatterns.Q
	if path == "" {
		return c, nil
	}
	meta, err := toml.DecodeFile(path, &c)
	if err != nil {
		return c, fmt.Errorf("%w: configuration %s: %w", errUsage, path, err)
	}
	if unknown := meta.Undecoded(); len(unknown) > 0 {
		return c, fmt.Errorf("%w: configuration %s: no setting is called %s; see the README for those there are", errUsage, path, unknown[0])
	}
	if err := c.check(); err != nil {
		return c, fmt.Errorf("%w: configuration %s: %w", errUsage, path, err)
	}
	return c, nil
}

// patterns bounds the search for patterns.
func (c config) patterns() queries.PatternOptions {
	return queries.PatternOptions{MinVerified: c.Patterns.MinVerified, MinExcess: c.Patterns.MinExcess, MinOdds: c.Patterns.MinOdds, Q: c.Patterns.Q}
}

func (c config) check() error {
	switch {
	case c.Truth.Days < 1 || c.Truth.Days > 3650:
		return fmt.Errorf("truth.days is %d; give 1 to 3650", c.Truth.Days)
	case c.Counts.Floor < 1:
		return fmt.Errorf("counts.floor is %d; give at least 1", c.Counts.Floor)
	case c.Costs.FalseAlarm < 0 || c.Costs.Missed < 0:
		return fmt.Errorf("costs are %g and %g; give amounts of 0 or more", c.Costs.FalseAlarm, c.Costs.Missed)
	case c.Pages.Inspections < 1 || c.Pages.Inspections > mostPages:
		return fmt.Errorf("pages.inspections is %d; give 1 to %d", c.Pages.Inspections, mostPages)
	case c.Patterns.MinVerified < 0 || c.Patterns.MinExcess < 0 || c.Patterns.MinOdds < 1:
		return fmt.Errorf("patterns.min_verified, min_excess and min_odds_ratio are %d, %g and %g; give at least 0, 0 and 1", c.Patterns.MinVerified, c.Patterns.MinExcess, c.Patterns.MinOdds)
	case c.Patterns.Q <= 0 || c.Patterns.Q >= 1:
		return fmt.Errorf("patterns.q is %g; give a share between 0 and 1, as 0.1", c.Patterns.Q)
	case c.Retention.Months < 0:
		return fmt.Errorf("retention.months is %d; give 1 or more, or leave it out to keep all", c.Retention.Months)
	}
	if err := c.checkEngine(); err != nil {
		return err
	}
	if _, err := protocol.Read(c.Protocol); err != nil {
		return err
	}
	if _, err := logs.Read(c.Logs); err != nil {
		return err
	}
	if err := queries.CheckWaveLoss(c.Sensor.Frequency, c.WaveLoss); err != nil {
		return err
	}
	for name, renames := range c.Columns {
		set, err := contract.Lookup(name)
		if err != nil {
			return fmt.Errorf("columns.%s: %w", name, err)
		}
		for from, to := range renames {
			if set.Field(strings.ToLower(to)) < 0 {
				return fmt.Errorf("columns.%s: %s = %q, but %s has no column %q", name, from, to, name, to)
			}
		}
	}
	return nil
}
