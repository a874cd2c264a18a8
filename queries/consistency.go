package queries

import (
	"fmt"
	"strconv"

	"scanledger/queries/people"
)

// Standings of a technician. Rows with too few cases are not judged.
const (
	InLine = people.InLine
	Watch  = people.Edge
	Act    = people.Act
)

// ConsistencyRow compares one technician with the average one under the same conditions, on one measure.
type ConsistencyRow struct {
	TechnicianID     string `json:"technician_id"`
	Measure          string `json:"measure"`
	Opportunities    int64  `json:"opportunities"`
	Observed         int64  `json:"observed"`
	Expected         Figure `json:"expected"`
	Rate             Figure `json:"rate"`
	Ratio            Figure `json:"ratio"`
	Low              Figure `json:"low"`
	High             Figure `json:"high"`
	DesignEffect     Figure `json:"design_effect"`
	Spread           Figure `json:"spread"`
	LimitLow998      Figure `json:"limit_low_998"`
	LimitLow95       Figure `json:"limit_low_95"`
	LimitHigh95      Figure `json:"limit_high_95"`
	LimitHigh998     Figure `json:"limit_high_998"`
	Z                Figure `json:"z"`
	P                Figure `json:"p"`
	Q                Figure `json:"q"`
	ShrunkRatio      Figure `json:"shrunk_ratio"`
	ShrunkRate       Figure `json:"shrunk_rate"`
	ExpectedWithGain Figure `json:"expected_with_gain"`
	RatioWithGain    Figure `json:"ratio_with_gain"`
	ExplainedByGain  Figure `json:"explained_by_gain"`
	Enough           bool   `json:"enough"`
	WhyNot           string `json:"why_not"`
	Standing         string `json:"standing"`
}

// staff is everyone's point-visits as counts, with the names behind the numbers.
type staff struct {
	panel       people.Panel
	technicians []string
	first       int // month of number 0, counted from year 0
}

// codes numbers names in the order in which they come.
type codes struct {
	number map[string]int
	names  []string
}

func (c *codes) of(name string) int {
	n, known := c.number[name]
	if !known {
		if c.number == nil {
			c.number = map[string]int{}
		}
		n = len(c.names)
		c.number[name], c.names = n, append(c.names, name)
	}
	return n
}

// monthNumber counts months from year 0.
func monthNumber(month string) (int, error) {
	if len(month) == len("2006-01") {
		year, errYear := strconv.Atoi(month[:4])
		m, errMonth := strconv.Atoi(month[5:])
		if errYear == nil && errMonth == nil {
			return 12*year + m - 1, nil
		}
	}
	return 0, fmt.Errorf("month %q: want YYYY-MM", month)
}

func monthOf(number int) string { return fmt.Sprintf("%04d-%02d", number/12, number%12+1) }

func (d *desk) consistency() error {
	q, err := Lookup("technician_consistency")
	if err != nil {
		return err
	}
	if d.staff, err = d.readStaff(q); err != nil {
		return fmt.Errorf("analysis technician_consistency: %w", err)
	}
	verdicts, err := people.Compare(d.staff.panel, d.book.Floor)
	if err != nil {
		return fmt.Errorf("analysis technician_consistency: %w", err)
	}
	rows := []ConsistencyRow{}
	for _, v := range verdicts {
		rows = append(rows, consistencyRow(d.staff.technicians[v.Technician], v))
	}
	d.book.Consistency = rows
	d.conclude(q, rows)
	return nil
}

// readStaff reads the counts by technician, site, month and conditions.
func (d *desk) readStaff(q Query) (staff, error) {
	var s staff
	var err error
	var technicians codes
	sites := map[int64]int{}
	var factors [people.Factors]codes
	if s.first, err = d.firstMonth(); err != nil {
		return s, err
	}
	var cases pile[people.Case]
	var c people.Case // one row after another, as all variables here: there are very many
	var technician, month string
	var site int64
	var at [people.CalledElsewhere]string
	var elsewhere bool
	var gain, firstGain int
	row := []any{&technician, &site, &month, &at[people.Material], &at[people.Thickness], &at[people.Season], &at[people.Region], &at[people.Purpose], &elsewhere, &gain,
		&firstGain, &c.Points, &c.Active, &c.ActiveVerified, &c.FalseAlarms, &c.Clear, &c.ClearVerified, &c.Missed}
	err = d.eng.Each(d.ctx, q.SQL, d.months(), func(scan func(...any) error) error {
		if err := scan(row...); err != nil {
			return err
		}
		number, err := monthNumber(month)
		if err != nil {
			return err
		}
		if _, known := sites[site]; !known {
			sites[site] = len(sites)
		}
		c.Technician, c.Site, c.Month = technicians.of(technician), sites[site], number-s.first
		c.Found = c.ActiveVerified - c.FalseAlarms + c.Missed
		for f, level := range at {
			c.At[f] = factors[f].of(level)
		}
		c.At[people.CalledElsewhere] = 0
		if elsewhere {
			c.At[people.CalledElsewhere] = 1
		}
		c.At[people.Gain], c.At[people.FirstGain] = factors[people.Gain].of(strconv.Itoa(gain)), factors[people.FirstGain].of(strconv.Itoa(firstGain))
		*cases.add() = c
		return nil
	})
	if err != nil {
		return s, err
	}
	s.technicians = technicians.names
	s.panel, err = people.NewPanel(cases.all())
	return s, err
}

// firstMonth is the number of the first month of the period; 0 where there is none.
func (d *desk) firstMonth() (int, error) {
	if d.book.From == "" {
		return 0, nil
	}
	return monthNumber(d.book.From)
}

func consistencyRow(technician string, v people.Verdict) ConsistencyRow {
	return ConsistencyRow{TechnicianID: technician, Measure: v.Measure, Opportunities: int64(v.Trials), Observed: int64(v.Observed),
		Expected: Figure(v.Expected), Rate: Figure(v.Rate), Ratio: Figure(v.Ratio), Low: Figure(v.Low), High: Figure(v.High),
		DesignEffect: Figure(v.DesignEffect), Spread: Figure(v.Spread),
		LimitLow998: Figure(v.Limits.Low998), LimitLow95: Figure(v.Limits.Low95), LimitHigh95: Figure(v.Limits.High95), LimitHigh998: Figure(v.Limits.High998),
		Z: Figure(v.Z), P: Figure(v.P), Q: Figure(v.Q), ShrunkRatio: Figure(v.ShrunkRatio), ShrunkRate: Figure(v.ShrunkRate),
		ExpectedWithGain: Figure(v.ExpectedWithGain), RatioWithGain: Figure(v.RatioWithGain), ExplainedByGain: Figure(v.ExplainedByGain),
		Enough: v.Enough, WhyNot: v.WhyNot, Standing: v.Standing}
}
