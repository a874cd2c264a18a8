package demo

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"scanledger/ingest"
	"scanledger/ingest/contract"
)

// cell is one value as read back.
type cell struct {
	text string // of any kind of value; empty: missing
	num  int64
	wall bool // a timestamp without offset
}

// book takes the files in as a loader would, in their order, and keeps count.
type book struct {
	held                                 map[string]map[string]map[string]cell // by set and key
	dirty, duplicate, corrected, waiting int
	rules                                map[string]int // how often each rule of a single row was broken
	extra                                []string
}

func (b *book) load(t *testing.T, path string) {
	t.Helper()
	src, err := ingest.Identify(path, "")
	if err != nil {
		t.Fatal(err)
	}
	sum, err := ingest.Read(context.Background(), src, func(c ingest.Chunk) error {
		lines := map[int64]bool{}
		for _, r := range c.Rejects {
			lines[r.Line] = true
			b.rules[r.Rule]++
		}
		b.dirty += len(lines)
		for i := range c.Batch.Lines {
			b.take(src.Set, rowOf(c.Batch, i))
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	b.extra = append(b.extra, sum.ExtraColumns...)
}

func rowOf(batch *ingest.Batch, i int) map[string]cell {
	out := map[string]cell{}
	for c, field := range batch.Set.Fields {
		col := batch.Cols[c]
		if !col.Valid[i] {
			continue
		}
		switch field.Kind() {
		case contract.Text:
			out[field.Name] = cell{text: col.Text.At(i)}
		case contract.Number:
			out[field.Name] = cell{text: fmt.Sprint(col.Num[i])}
		case contract.Boolean:
			out[field.Name] = cell{text: fmt.Sprint(col.Bool[i])}
		default:
			wall := field.Kind() == contract.Timestamp && col.Local[i]
			out[field.Name] = cell{text: fmt.Sprint(col.Int[i]), num: col.Int[i], wall: wall}
		}
	}
	return out
}

// take gives a row its one fate.
func (b *book) take(set *contract.Set, row map[string]cell) {
	var keys []string
	for _, name := range set.PrimaryKey {
		keys = append(keys, row[name].text)
	}
	key := strings.Join(keys, " ")
	before, known := b.held[set.Name][key]
	switch {
	case b.awaits(set, row):
		b.waiting++
		return
	case b.broken(set.Name, row):
		b.dirty++
		return
	case known && fmt.Sprint(before) == fmt.Sprint(row):
		b.duplicate++
	case known:
		b.corrected++
	}
	if b.held[set.Name] == nil {
		b.held[set.Name] = map[string]map[string]cell{}
	}
	b.held[set.Name][key] = row
}

func (b *book) awaits(set *contract.Set, row map[string]cell) bool {
	return slices.ContainsFunc(set.ForeignKeys, func(key contract.ForeignKey) bool {
		name := row[key.Fields[0]].text
		_, known := b.held[key.Reference.Resource][name]
		return name != "" && !known
	})
}

// broken holds a row to the rules over more than one row, as the contract words them.
func (b *book) broken(set string, row map[string]cell) bool {
	switch set {
	case "inspections":
		original, repeats := b.held["inspections"][row["recheck_of"].text]
		return repeats && original["site_id"].text != row["site_id"].text
	case "readings":
		visit := b.held["inspections"][row["inspection_id"].text]
		unit := b.held["units"][row["unit_id"].text]
		zone := b.held["regions"][visit["region"].text]["time_zone"].text
		taken := instant(row["taken_at"], zone)
		const slack = 15 * time.Minute
		return taken.Before(instant(visit["started_at"], zone).Add(-slack)) || taken.After(instant(visit["ended_at"], zone).Add(slack)) ||
			row["gain"].num < unit["gain_min"].num || row["gain"].num > unit["gain_max"].num
	}
	return false
}

func instant(c cell, zone string) time.Time {
	at := time.UnixMicro(c.num).UTC()
	if !c.wall {
		return at
	}
	loc, err := time.LoadLocation(zone)
	if err != nil {
		panic(err)
	}
	return time.Date(at.Year(), at.Month(), at.Day(), at.Hour(), at.Minute(), at.Second(), 0, loc)
}

// TestFilesObeyTheContract takes everything in and finds what the summary says was planted, and
// nothing else amiss.
func TestFilesObeyTheContract(t *testing.T) {
	for _, opt := range []Options{{}, small, {Seed: 3, Months: 1, Inspections: 12}} {
		t.Run(fmt.Sprintf("%d months, %d inspections", opt.Months, opt.Inspections), func(t *testing.T) {
			dir, summary := write(t, opt)
			b := &book{held: map[string]map[string]map[string]cell{}, rules: map[string]int{}}
			for _, name := range summary.Files {
				b.load(t, filepath.Join(dir, name))
			}
			if b.dirty != summary.Dirty || b.duplicate != summary.Duplicate || b.corrected != summary.Corrected || b.waiting != summary.Waiting {
				t.Errorf("found %d dirty, %d duplicate, %d corrected, %d waiting; planted %d, %d, %d, %d", b.dirty, b.duplicate,
					b.corrected, b.waiting, summary.Dirty, summary.Duplicate, summary.Corrected, summary.Waiting)
			}
			for set, rows := range b.held {
				if want := *summary.Rows.of(set); len(rows) != want {
					t.Errorf("%s: %d rows held, summary says %d", set, len(rows), want)
				}
				for key := range rows {
					if strings.HasPrefix(key, "X") || strings.HasPrefix(key, "W") {
						t.Errorf("%s: planted row %s was taken", set, key)
					}
				}
			}
			t.Log(summary.Rows, b.rules, b.extra)
		})
	}
}

// TestDefaultSize holds the default demo to the size it is described with.
func TestDefaultSize(t *testing.T) {
	_, summary := write(t, Options{})
	for _, c := range []struct {
		name             string
		got, low, atMost int
	}{
		{"regions", summary.Rows.Regions, 5, 5},
		{"technicians", summary.Rows.Technicians, 12, 12},
		{"units", summary.Rows.Units, 10, 10},
		{"materials", summary.Rows.Materials, 8, 8},
		{"inspections", summary.Rows.Inspections, 5800, 6200},
		{"readings", summary.Rows.Readings, 150_000, 190_000},
		{"findings", summary.Rows.Findings, 4000, 6000},
		{"unit_log", summary.Rows.UnitLog, 180_000, 300_000},
		{"total", summary.Rows.Total(), 350_000, 500_000},
		{"dirty", summary.Dirty, 55, 75},
		{"duplicate", summary.Duplicate, 50, 60},
		{"corrected", summary.Corrected, 8, 12},
		{"waiting", summary.Waiting, 3, 5},
	} {
		if c.got < c.low || c.got > c.atMost {
			t.Errorf("%s: %d, want %d to %d", c.name, c.got, c.low, c.atMost)
		}
	}
}
