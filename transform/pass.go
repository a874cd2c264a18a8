package transform

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync/atomic"
	"time"

	"scanledger/transform/engine"
)

// pass makes some tables of a pass for every month.
func (m *maker) pass(p pass, tables []string) error {
	if len(tables) == 0 {
		return nil
	}
	for _, table := range tables {
		if err := m.folder(table); err != nil {
			return err
		}
	}
	if err := m.digest(p); err != nil {
		return err
	}
	return m.eachStale(p.name, tables, func(w *maker, i int) error {
		if err := w.make(p, i, tables); err != nil {
			return fmt.Errorf("month %s: %w", w.months[i].name, err)
		}
		return nil
	})
}

// eachStale takes over the given tables of the months that need not be made again, and has the others made again,
// spread over the engine: a month is too little for one statement to keep more than one busy.
func (m *maker) eachStale(pass string, tables []string, again func(w *maker, i int) error) error {
	var stale []int
	for i, at := range m.months {
		taken, err := m.takeOver(at, pass, tables)
		if err != nil {
			return err
		}
		if !taken {
			stale = append(stale, i)
		}
	}
	if pass == passes[0].name && m.coded == "" {
		m.fresh = len(stale)
	}
	var next atomic.Int64
	return m.e.Spread(m.ctx, len(stale), func(ctx context.Context, fork engine.SQL) error {
		w := *m
		w.ctx, w.e = ctx, fork
		for {
			n := int(next.Add(1)) - 1
			if n >= len(stale) {
				return nil
			}
			if err := ctx.Err(); err != nil {
				return err
			}
			if err := again(&w, stale[n]); err != nil {
				return err
			}
		}
	})
}

// make makes some tables of a month.
func (m *maker) make(p pass, i int, tables []string) error {
	at := m.months[i]
	if err := m.look(p, i); err != nil {
		return err
	}
	for _, table := range tables {
		m.step(at.name + " " + table)
		path := m.path(table, at)
		if err := m.save(table, path); err != nil {
			return err
		}
		if err := m.e.View(m.ctx, table, []string{path}, ""); err != nil {
			return err
		}
	}
	return nil
}

// look puts the views of a pass over a month and the months around it.
func (m *maker) look(p pass, i int) error {
	at := m.months[i]
	if err := m.e.Define(m.ctx, "this_month", "SELECT CAST("+engine.Quote(at.name)+" AS VARCHAR) AS month"); err != nil {
		return err
	}
	for _, table := range p.reads {
		if err := m.view(table, table, []*month{at}); err != nil {
			return err
		}
	}
	for _, scope := range []struct {
		prefix string
		tables []string
		months []*month
	}{{"near_", p.near, m.near(i)}, {"year_", p.year, m.year(i)}, {"before_", p.before, m.months[:i]}} {
		for _, table := range scope.tables {
			if err := m.view(scope.prefix+table, table, scope.months); err != nil {
				return err
			}
		}
	}
	return errors.Join(m.lookAtReadings(p, at), m.lookAtFindings(at))
}

// lookAtReadings narrows readings to those of a month.
func (m *maker) lookAtReadings(p pass, at *month) error {
	if m.coded != "" {
		return m.view("readings", "readings", []*month{at})
	}
	if at.takenFrom > at.takenTo { // none
		return m.theseReadings("SELECT * FROM held_readings WHERE false")
	}
	within := fmt.Sprintf("SELECT * FROM held_readings r WHERE r.taken_at BETWEEN make_timestamptz(%d) AND make_timestamptz(%d)", at.takenFrom, at.takenTo)
	if !p.loaded {
		return m.theseReadings(within)
	}
	within += " AND EXISTS (SELECT 1 FROM visits v WHERE v.inspection_id = r.inspection_id)"
	if err := m.e.Keep(m.ctx, "month_readings", within); err != nil {
		return err
	}
	return m.theseReadings("SELECT * FROM month_readings")
}

// theseReadings says of which readings the view of that name, and readings over it, are.
func (m *maker) theseReadings(query string) error {
	readings, err := SQL("readings")
	if err != nil {
		return err
	}
	return errors.Join(m.e.Define(m.ctx, "these_readings", query), m.e.Define(m.ctx, "readings", readings))
}

// lookAtFindings narrows these_findings to those that may tell about visits of the month.
func (m *maker) lookAtFindings(at *month) error {
	day := func(n int64) string { return time.Unix(n*24*60*60, 0).UTC().Format(time.DateOnly) }
	return m.e.Define(m.ctx, "these_findings", fmt.Sprintf("SELECT * FROM held_findings WHERE found_on BETWEEN DATE '%s' AND DATE '%s'",
		day(at.firstDay), day(at.lastDay+int64(m.opt.TruthDays))))
}

// near are the months with a day within truth_days of one of month i.
func (m *maker) near(i int) (out []*month) {
	at, reach := m.months[i], int64(m.opt.TruthDays)
	for _, o := range m.months {
		if o.firstDay-at.lastDay <= reach && at.firstDay-o.lastDay <= reach {
			out = append(out, o)
		}
	}
	return out
}

// year are the months of the year that ends with month i.
func (m *maker) year(i int) (out []*month) {
	for _, o := range m.months[:i+1] {
		if monthsBetween(o.name, m.months[i].name) < 12 {
			out = append(out, o)
		}
	}
	return out
}

// monthsBetween counts from one month, YYYY-MM, to another.
func monthsBetween(from, to string) int {
	number := func(s string) int {
		var year, month int
		if _, err := fmt.Sscanf(s, "%d-%d", &year, &month); err != nil {
			panic(err) // made by visits.sql
		}
		return 12*year + month
	}
	return number(to) - number(from)
}

// takeOver reports whether the given tables of a month, as the earlier run left them, are what they would be
// now, and takes them over if so.
func (m *maker) takeOver(at *month, pass string, tables []string) (bool, error) {
	if at.earlier[pass] == "" || at.earlier[pass] != at.digests[pass] {
		return false, nil
	}
	for _, table := range tables {
		from := filepath.Join(m.opt.Earlier, table, at.name+".parquet")
		err := share(from, m.path(table, at))
		if errors.Is(err, fs.ErrNotExist) { // half an output is none
			return false, nil
		}
		if err != nil {
			return false, fmt.Errorf("take over %s: %w", from, err)
		}
	}
	return true, nil
}

// share gives a file a second name, or copies it where that cannot be: no output changes a file once it is written.
func share(from, to string) (err error) {
	if err := os.Remove(to); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := os.Link(from, to); err == nil || errors.Is(err, fs.ErrNotExist) {
		return err
	}
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, in.Close()) }()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}
