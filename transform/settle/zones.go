package settle

import (
	"context"
	"time"

	"scanledger/ingest"
	"scanledger/transform/engine"
)

// zones finds the time zone that a row's local times are in: the region's, directly for an
// inspection, through the inspection for a reading. The tables are read from what is held when the
// first local time turns up.
type zones struct {
	eng      *engine.Engine
	byRegion map[string]*time.Location
	regionOf map[string]string // by inspection
}

// place is the row through which a time zone is found.
type place struct {
	column string // the field that names it
	id     string
	zone   *time.Location // nil: not held yet
}

// of finds the zone of row i of b, an inspection or a reading.
func (z *zones) of(ctx context.Context, b *ingest.Batch, i int) (p place, err error) {
	p.column = "region"
	if b.Set.Name == "readings" {
		p.column = "inspection_id"
	}
	p.id = b.Cols[b.Set.Field(p.column)].Text.At(i)
	region := p.id
	if p.column == "inspection_id" {
		if err := z.readInspections(ctx); err != nil {
			return p, err
		}
		region = z.regionOf[p.id]
	}
	if err := z.readRegions(ctx); err != nil {
		return p, err
	}
	p.zone = z.byRegion[region]
	return p, nil
}

func (z *zones) readRegions(ctx context.Context) error {
	if z.byRegion != nil {
		return nil
	}
	z.byRegion = map[string]*time.Location{}
	return z.eng.Each(ctx, "SELECT region, time_zone FROM held_regions", nil, func(scan func(...any) error) error {
		var name, zone string
		if err := scan(&name, &zone); err != nil {
			return err
		}
		loc, err := time.LoadLocation(zone)
		z.byRegion[name] = loc
		return err
	})
}

func (z *zones) readInspections(ctx context.Context) error {
	if z.regionOf != nil {
		return nil
	}
	z.regionOf = map[string]string{}
	return z.eng.Each(ctx, "SELECT inspection_id, region FROM held_inspections", nil, func(scan func(...any) error) error {
		var inspection, region string
		if err := scan(&inspection, &region); err != nil {
			return err
		}
		z.regionOf[inspection] = region
		return nil
	})
}

// instant turns a wall clock (microseconds as if UTC) into the instant it names in loc. Where clocks
// went back and it names two, the first is meant; where clocks went forward over it, ok is false.
func instant(wall int64, loc *time.Location) (micros int64, ok bool) {
	for _, around := range []time.Duration{-24 * time.Hour, 24 * time.Hour} {
		_, offset := time.UnixMicro(wall).Add(around).In(loc).Zone()
		guess := wall - int64(offset)*1e6
		if _, there := time.UnixMicro(guess).In(loc).Zone(); there == offset {
			if !ok || guess < micros {
				micros, ok = guess, true
			}
		}
	}
	return micros, ok
}

// hasLocal reports whether row i of b holds a time without an offset.
func hasLocal(b *ingest.Batch, i int) bool {
	for c := range b.Cols {
		if l := b.Cols[c].Local; l != nil && l[i] && b.Cols[c].Valid[i] {
			return true
		}
	}
	return false
}
