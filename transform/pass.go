package transform

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"scanledger/transform/engine"
)

// stage makes the tables of some passes, those that pick chooses, for every month.
func (m *maker) stage(passes []pass, pick func(pass) []string) error {
	for _, p := range passes {
		for _, table := range pick(p) {
			if err := m.folder(table); err != nil {
				return err
			}
		}
		if err := m.digest(p); err != nil {
			return err
		}
	}
	stale, err := m.stale(passes, pick)
	if err != nil {
		return err
	}
	if passes[0].name == "alone" && m.coded == "" {
		m.fresh = len(stale)
	}
	return m.eachBatch(batches(stale), func(w *maker, batch []staleMonth) error {
		if err := w.batch(passes, pick, batch); err != nil {
			return fmt.Errorf("%s: %w", span(batch), err)
		}
		return nil
	})
}

// batch makes the tables of passes for some months.
func (m *maker) batch(passes []pass, pick func(pass) []string, batch []staleMonth) error {
	var loaded string
	for _, p := range passes {
		var months []*month
		for _, s := range batch {
			if slices.Contains(s.passes, p.name) {
				months = append(months, s.month)
			}
		}
		if len(months) == 0 {
			continue
		}
		if p.loads != "" && p.loads != loaded {
			if err := m.load(p.loads, batch); err != nil {
				return err
			}
			loaded = p.loads
		}
		if err := m.look(p, months); err != nil {
			return err
		}
		for _, table := range pick(p) {
			m.step(span(batch) + " " + table)
			if err := m.make(table, months); err != nil {
				return err
			}
		}
	}
	return nil
}

// make makes a table of some months, and a view of it.
func (m *maker) make(table string, months []*month) error {
	query, err := m.query(table, months)
	if err != nil {
		return err
	}
	if len(months) == 1 {
		err = m.e.Save(m.ctx, query, m.path(table, months[0]))
	} else {
		err = m.saveEach(query, table, months)
	}
	if err != nil {
		return fmt.Errorf("make table %s: %w", table, err)
	}
	return m.e.View(m.ctx, table, m.paths(table, months), "")
}

// saveEach writes the rows of each month to a file of its own: the same, in the same order, as if the month were alone.
func (m *maker) saveEach(query, table string, months []*month) error {
	if err := m.e.Keep(m.ctx, "made", query); err != nil {
		return err
	}
	for _, at := range months {
		if err := m.e.Save(m.ctx, "SELECT * FROM made WHERE month = "+engine.Quote(at.name), m.path(table, at)); err != nil {
			return err
		}
	}
	return nil
}

// query is that of a table; of visits, for some months only.
func (m *maker) query(table string, months []*month) (string, error) {
	if table != visited.tables[0] {
		return SQL(table)
	}
	from, to := months[0].startedFrom, months[0].startedTo
	names := make([]string, len(months))
	for i, at := range months {
		from, to, names[i] = min(from, at.startedFrom), max(to, at.startedTo), engine.Quote(at.name)
	}
	return fmt.Sprintf("SELECT * FROM placed_visits WHERE started_at BETWEEN make_timestamptz(%d) AND make_timestamptz(%d) AND month IN (%s) ORDER BY inspection_id",
		from, to, strings.Join(names, ", ")), nil
}

// look puts the views of a pass over some months and the months around them.
func (m *maker) look(p pass, months []*month) error {
	rows := make([]string, len(months))
	for i, at := range months {
		rows[i] = "(" + engine.Quote(at.name) + ", " + engine.Quote(m.year(at)[0].name) + ")"
	}
	if err := m.e.Define(m.ctx, "these_months", "SELECT CAST(month AS VARCHAR) AS month, CAST(year_from AS VARCHAR) AS year_from FROM (VALUES "+strings.Join(rows, ", ")+") AS t (month, year_from)"); err != nil {
		return err
	}
	for _, table := range m.wanted(p.reads) {
		if err := m.view(table, table, months); err != nil {
			return err
		}
	}
	for _, scope := range []struct {
		prefix string
		tables []string
		around func(*month) []*month
	}{{"near_", p.near, m.near}, {"year_", p.year, m.year}} {
		for _, table := range m.wanted(scope.tables) {
			if err := m.view(scope.prefix+table, table, m.around(months, scope.around)); err != nil {
				return err
			}
		}
	}
	return m.lookAtFindings(months)
}

// load puts what is asked of the readings of some months into memory, as these_readings: those of the whole batch, of which a
// later pass may make other months than this one.
func (m *maker) load(table string, batch []staleMonth) error {
	months := make([]*month, len(batch))
	for i, s := range batch {
		months[i] = s.month
	}
	if m.coded != "" {
		return errors.Join(m.view("readings", "readings", months), m.e.Define(m.ctx, "these_readings", "SELECT * FROM readings"))
	}
	if err := m.view("visits", "visits", months); err != nil {
		return err
	}
	query, err := SQL(table)
	if err != nil {
		return err
	}
	from, to := taken(months)
	if err := m.e.Define(m.ctx, "near_readings", fmt.Sprintf("SELECT * FROM held_readings WHERE taken_at BETWEEN make_timestamptz(%d) AND make_timestamptz(%d)", from, to)); err != nil {
		return err
	}
	if err := m.e.Keep(m.ctx, table, query); err != nil {
		return err
	}
	if table != "month_readings" {
		return m.e.Define(m.ctx, "these_readings", "SELECT * FROM "+table)
	}
	return m.theseReadings("SELECT * FROM " + table)
}

// taken bounds when readings of some months were taken, microseconds since 1970.
func taken(months []*month) (from, to int64) {
	from, to = math.MaxInt64, 0
	for _, at := range months {
		if at.count > 0 {
			from, to = min(from, at.takenFrom), max(to, at.takenTo)
		}
	}
	return min(from, to), to
}

// theseReadings says of which readings the view of that name, and readings over it, are.
func (m *maker) theseReadings(query string) error {
	readings, err := SQL("readings")
	if err != nil {
		return err
	}
	return errors.Join(m.e.Define(m.ctx, "these_readings", query), m.e.Define(m.ctx, "readings", readings))
}

// lookAtFindings narrows these_findings to those that may tell about visits of some months.
func (m *maker) lookAtFindings(months []*month) error {
	first, last := months[0].firstDay, months[0].lastDay
	for _, at := range months {
		first, last = min(first, at.firstDay), max(last, at.lastDay)
	}
	day := func(n int64) string { return time.Unix(n*24*60*60, 0).UTC().Format(time.DateOnly) }
	return m.e.Define(m.ctx, "these_findings", fmt.Sprintf("SELECT * FROM held_findings WHERE found_on BETWEEN DATE '%s' AND DATE '%s'",
		day(first), day(last+int64(m.opt.TruthDays))))
}

// around are the months that some months have around them, in order.
func (m *maker) around(months []*month, of func(*month) []*month) (out []*month) {
	seen := map[*month]bool{}
	for _, at := range months {
		for _, o := range of(at) {
			seen[o] = true
		}
	}
	for _, at := range m.months {
		if seen[at] {
			out = append(out, at)
		}
	}
	return out
}

// near are the months with a day within truth_days of one of a month.
func (m *maker) near(at *month) (out []*month) {
	reach := int64(m.opt.TruthDays)
	for _, o := range m.months {
		if o.firstDay-at.lastDay <= reach && at.firstDay-o.lastDay <= reach {
			out = append(out, o)
		}
	}
	return out
}

// year are the months of the year that ends with a month.
func (m *maker) year(at *month) (out []*month) {
	for _, o := range m.months {
		if ago := monthsBetween(o.name, at.name); ago >= 0 && ago < 12 {
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
