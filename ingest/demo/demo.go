// Package demo writes the record files of a survey business that does not exist.
//
// In: a folder, a seed and a size. Out: record files in every form the contract allows, a
// scanledger.toml beside them, and a count of what was planted. The same seed gives the same bytes:
// every draw comes from a stream named after its purpose, and neither the clock nor the order of a
// map is used. It never reads a record, and nothing outside it depends on how the records came about.
//
// # The model
//
// Everything here is INVENTED: the business, people, places, sites, and every number. It is made
// to be plausible in size and to hold faults that an analysis should find. No figure in this
// package is a fact of the trade, and none may be quoted as one.
//
//   - Truth. A site holds termite activity at one to three neighbouring points with a chance that
//     grows with the region's hazard step, the warm or wet season and a site effect of its own. The
//     activity stays at a point until a finding shows it, and the point is then treated.
//   - Sensitivity. A point-visit draws how hard its activity is to see; a reading shows it where the
//     gain suffices: 0.95 on thin light boards, falling to 0.5 on thick dense walls.
//   - False movement. 2 % to 12 % of still points seem to move, rising with gain on light boards and
//     hardly on dense walls, with a site effect of its own. Some half show it again on a re-test.
//   - Calls. A level well below the technician's threshold is called clear, one well above active,
//     one at the threshold (about 7 %) unsure. After clear the gain goes up, after active it is held
//     once more one step lower.
//   - Findings. Some three in four active calls are opened, drilled or looked at by borescope within
//     six weeks, and a few in a hundred clear calls, more of them where the visit showed activity
//     elsewhere. Occupants report some of what was missed; call-backs find some more.
//   - Logs. Two units hand in what they logged in the last month but two: samples behind every reading, with the level
//     reaching what was written down. What is alive moves in bursts; fans, pumps and people keep time.
//   - Rechecks. A few visits are repeated blind by another technician two to six days later, before
//     anything is opened.
//
// Planted tells what is wrong on purpose. All else is alike: everyone not named there has the same
// chances, so that they should come out in line.
package demo

import (
	"context"
	"fmt"
)

// The smallest and largest demo: the staff cannot make more visits than MaxPerMonth a month.
const (
	DefaultSeed        = 1
	DefaultInspections = 6000
	DefaultMonths      = 24 // September 2024 to August 2026
	MaxMonths          = 60
	MaxPerMonth        = 450
)

// Options says which demo to write. A zero field stands for its default.
type Options struct {
	Seed        uint64
	Inspections int // about how many visits in all, rechecks and call-backs among them
	Months      int // how many months from September 2024 on
}

// Summary says what was written.
type Summary struct {
	Files  []string // names of the record files, in the order they came about; the late ones last
	Config string   // name of the configuration file
	Rows   Counts   // sound rows, each key once: what a store should hold in the end

	// What was planted on top of Rows. The rows in all files together are the sum of all five.
	Dirty     int // rows that break a rule; each has a key of its own
	Duplicate int // rows given a second time, unchanged
	Corrected int // rows given a second time, in a later file, with new content
	Waiting   int // sound rows that name an inspection which never arrives
}

// Counts holds a number of rows for each record set.
type Counts struct {
	Regions, Technicians, Units, Materials, Inspections, Readings, Findings, UnitLog int
}

// Total is the number of rows of all sets.
func (c Counts) Total() int {
	return c.Regions + c.Technicians + c.Units + c.Materials + c.Inspections + c.Readings + c.Findings + c.UnitLog
}

// Write makes the demo's files in dir, creating it if need be. It replaces no file: where one of
// its names is taken, it fails and says so. A cancelled ctx ends it between two files.
func Write(ctx context.Context, dir string, opt Options) (Summary, error) {
	opt, err := opt.withDefaults()
	if err != nil {
		return Summary{}, err
	}
	s, err := generate(opt)
	if err != nil {
		return Summary{}, err
	}
	files, summary := layOut(s)
	soil(opt.Seed, files, &summary)
	return summary, writeAll(ctx, dir, files, summary.Config)
}

func (opt Options) withDefaults() (Options, error) {
	if opt.Seed == 0 {
		opt.Seed = DefaultSeed
	}
	if opt.Months == 0 {
		opt.Months = DefaultMonths
	}
	if opt.Months < 1 || opt.Months > MaxMonths {
		return opt, fmt.Errorf("demo: %d months: give 1 to %d", opt.Months, MaxMonths)
	}
	if opt.Inspections == 0 {
		opt.Inspections = DefaultInspections * opt.Months / DefaultMonths
	}
	if limit := MaxPerMonth * opt.Months; opt.Inspections < opt.Months || opt.Inspections > limit {
		return opt, fmt.Errorf("demo: %d inspections: give %d to %d for %d months", opt.Inspections, opt.Months, limit, opt.Months)
	}
	return opt, nil
}
