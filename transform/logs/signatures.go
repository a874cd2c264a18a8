package logs

import (
	"database/sql/driver"
	"math"

	"scanledger/transform/engine"
)

// MostSamples is how many samples of a hold a period is looked for in; those after are left out.
const MostSamples = 2000

// Movement is one hold that moved: seconds since its first sample, which rise, the levels in percent of full scale,
// and the upper edge of its noise band.
type Movement struct {
	Seconds, Levels []float64
	Band            float64
}

// Signature is what a movement looks like, as the columns of log_signatures say; NaN where nothing can be said.
type Signature struct {
	Period, Explained, G, WhiteP, P, Steadiness float64
	Full, Early, Late                           float64
	Trace                                       string
}

// Describe tells what a movement looks like. It must give the same for the same movement.
type Describe func(Movement) (Signature, error)

// key names a hold.
type key struct {
	unit, day string
	hold      int64
}

// signatures makes log_described of the chunk's holds that moved, which lie in the last of the files.
func (m *maker) signatures(holds []string) error {
	from := "(" + SQL("log_holds") + ")"
	if len(holds) > 0 {
		from = "read_parquet(" + engine.Quote(holds[len(holds)-1]) + ")"
	}
	for _, query := range []string{
		"CREATE OR REPLACE TEMP VIEW log_chunk_holds AS SELECT * FROM " + from,
		`CREATE OR REPLACE TEMP TABLE log_described (unit_id VARCHAR, unit_day VARCHAR, hold_no BIGINT, period_s DOUBLE, explained DOUBLE, g DOUBLE, white_p DOUBLE,
			p DOUBLE, steadiness DOUBLE, full_share DOUBLE, early_share DOUBLE, late_share DOUBLE, trace VARCHAR)`,
	} {
		if err := m.e.Exec(m.ctx, query); err != nil {
			return err
		}
	}
	if m.describe == nil {
		return nil
	}
	keys, signatures, err := m.described()
	if err != nil {
		return err
	}
	return m.e.Append(m.ctx, "log_described", func(add func(...driver.Value) error) error {
		for i, k := range keys {
			s := &signatures[i]
			row := []driver.Value{k.unit, k.day, k.hold}
			for _, v := range []float64{s.Period, s.Explained, s.G, s.WhiteP, s.P, s.Steadiness, s.Full, s.Early, s.Late} {
				row = append(row, known(v))
			}
			if err := add(append(row, s.Trace)...); err != nil {
				return err
			}
		}
		return nil
	})
}

// known is the value, or null where it cannot be said.
func known(v float64) driver.Value {
	if math.IsNaN(v) {
		return nil
	}
	return v
}

// described reads the samples of the chunk's moving holds, hold by hold, and describes each.
func (m *maker) described() (keys []key, out []Signature, err error) {
	var move Movement
	end := func() error {
		if len(move.Seconds) == 0 {
			return nil
		}
		s, err := m.describe(move)
		out = append(out, s)
		move.Seconds, move.Levels = move.Seconds[:0], move.Levels[:0]
		return err
	}
	var k key
	var second, level, band float64
	err = m.e.Each(m.ctx, SQL("log_moved"), nil, func(scan func(...any) error) error {
		if err := scan(&k.unit, &k.day, &k.hold, &second, &level, &band); err != nil {
			return err
		}
		if len(keys) == 0 || keys[len(keys)-1] != k {
			if err := end(); err != nil {
				return err
			}
			keys = append(keys, k)
		}
		move.Seconds, move.Levels, move.Band = append(move.Seconds, second), append(move.Levels, level), band
		return nil
	})
	if err != nil {
		return nil, nil, err
	}
	return keys, out, end()
}
