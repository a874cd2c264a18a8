package queries

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"scanledger/queries/instrument"
	"scanledger/queries/stats"
)

// UnitRow is how one unit stands.
type UnitRow struct {
	UnitID              string  `json:"unit_id"`
	Model               string  `json:"model"`
	ServiceDueOn        *string `json:"service_due_on"`
	ServiceOverdue      *bool   `json:"service_overdue"`
	Readings            int64   `json:"readings"`
	ReadingsOverdue     int64   `json:"readings_overdue"`
	JudgedOn            string  `json:"judged_on"`
	Points              int64   `json:"points"`
	Observed            int64   `json:"observed"`
	Expected            Figure  `json:"expected"`
	Ratio               Figure  `json:"ratio"`
	Low                 Figure  `json:"low"`
	High                Figure  `json:"high"`
	Z                   Figure  `json:"z"`
	P                   Figure  `json:"p"`
	Q                   Figure  `json:"q"`
	ObservedInService   int64   `json:"observed_in_service"`
	ExpectedInService   Figure  `json:"expected_in_service"`
	RatioInService      Figure  `json:"ratio_in_service"`
	ObservedOverdue     int64   `json:"observed_overdue"`
	ExpectedOverdue     Figure  `json:"expected_overdue"`
	RatioOverdue        Figure  `json:"ratio_overdue"`
	VerifiedShare       Figure  `json:"active_verified_share"`
	OthersVerifiedShare Figure  `json:"others_verified_share"`
	Alarms              string  `json:"alarms"`
	Technicians         int     `json:"technicians"`
	TechniciansAbove    int     `json:"technicians_above"`
	NotCompared         int64   `json:"not_compared"`
	ControlMonths       int     `json:"control_months"`
	LevelSlope          Figure  `json:"level_slope"`
	LevelLow            Figure  `json:"level_low"`
	LevelHigh           Figure  `json:"level_high"`
	LevelQ              Figure  `json:"level_q"`
	Level               string  `json:"level"`
	Clock               string  `json:"clock"`
	LogDaysKnown        int64   `json:"log_days_known"`
	LogDaysOff          int64   `json:"log_days_off"`
	Enough              bool    `json:"enough"`
	Standing            string  `json:"standing"`
	Why                 string  `json:"why"`
}

// What a unit is judged on.
const (
	JudgedOverdue   = "overdue"
	JudgedInService = "in_service"
)

// What false alarms say of a unit.
const (
	AlarmsMore     = "more"
	AlarmsFewer    = "fewer"
	AlarmsExpected = "as_expected"
	AlarmsTooFew   = "too_few"
)

// unitCount is one row of the query: a unit, or what was tested with it at one site.
type unitCount struct {
	part, unit, model                     string
	overdue                               *bool
	due                                   *string // of a unit: the day its service is due
	site                                  string
	material, season, technician, half    string // half: first month of the half-year
	points, active, verified, falseAlarms int
}

func (d *desk) unitHealth() error {
	q, err := Lookup("unit_health")
	if err != nil {
		return err
	}
	var b unitBook
	var c unitCount
	row := []any{&c.part, &c.unit, &c.model, &c.overdue, &c.due, &c.site, &c.material, &c.season, &c.technician, &c.half, &c.points, &c.active, &c.verified, &c.falseAlarms}
	err = d.eng.Each(d.ctx, q.SQL, d.months(), func(scan func(...any) error) error {
		if err := scan(row...); err != nil {
			return err
		}
		b.add(c)
		return nil
	})
	if err != nil {
		return fmt.Errorf("analysis unit_health: %w", err)
	}
	rows, err := b.judge(d.drifts, d.book.UnitUse, d.book.Floor)
	if err != nil {
		return fmt.Errorf("analysis unit_health: %w", err)
	}
	for i := range rows {
		rows[i].log(d.book.LogMatch)
	}
	d.book.Units = rows
	d.conclude(q, rows)
	return nil
}

// unitBook takes in the rows of the query one by one: there are many.
type unitBook struct {
	rows    []UnitRow
	visited pile[instrument.Visited]
	checked checkedCalls
}

func (b *unitBook) add(c unitCount) {
	if c.part == "unit" {
		b.rows = append(b.rows, UnitRow{UnitID: c.unit, Model: c.model, ServiceDueOn: c.due, ServiceOverdue: c.overdue, Readings: int64(c.points), ReadingsOverdue: int64(c.falseAlarms)})
		return
	}
	if b.checked == nil {
		b.checked = checkedCalls{}
	}
	b.checked.add(c)
	*b.visited.add() = instrument.Visited{Unit: c.unit, Overdue: *c.overdue, Site: c.site, Material: c.material, Season: c.season, Technician: c.technician, Half: c.half,
		Points: c.points, FalseAlarms: c.falseAlarms}
}

// judge compares the false alarms of units and puts what else is known of each beside them.
func (b *unitBook) judge(drifts []instrument.Drift, uses []UnitUseRow, floor int) ([]UnitRow, error) {
	alarms, err := instrument.FalseAlarms(b.visited.all(), floor, Confidence)
	if err != nil {
		return nil, err
	}
	rows := append([]UnitRow{}, b.rows...)
	for i := range rows {
		r := &rows[i]
		beyond := r.alarms(alarmsOf(alarms, r.UnitID, false), alarmsOf(alarms, r.UnitID, true))
		r.VerifiedShare, r.OthersVerifiedShare = b.checked.shares(r.UnitID)
		r.level(drifts)
		r.clock(uses)
		r.stand(beyond)
	}
	return rows, nil
}

// checkedCalls counts active calls and those verified, by unit; the empty name holds all.
type checkedCalls map[string][2]int64

func (c checkedCalls) add(row unitCount) {
	for _, name := range []string{row.unit, ""} {
		n := c[name]
		c[name] = [2]int64{n[0] + int64(row.active), n[1] + int64(row.verified)}
	}
}

func (c checkedCalls) shares(unit string) (own, others Figure) {
	return share(c[unit][1], c[unit][0]), share(c[""][1]-c[unit][1], c[""][0]-c[unit][0])
}

// alarmsOf is the unit in service or overdue; nothing where nothing was tested.
func alarmsOf(alarms []instrument.Alarms, unit string, overdue bool) instrument.Alarms {
	i := slices.IndexFunc(alarms, func(a instrument.Alarms) bool { return a.Unit == unit && a.Overdue == overdue })
	if i < 0 {
		unknown := math.NaN()
		return instrument.Alarms{Expected: unknown, Z: unknown, P: unknown, Q: unknown, Ratio: stats.Estimate{Value: unknown, Low: unknown, High: unknown}}
	}
	return alarms[i]
}

// alarms fills in what false alarms say: past the service date where that is enough, else in service. It
// returns how many limits the unit is outside of, in either part.
func (r *UnitRow) alarms(inService, overdue instrument.Alarms) (beyond int) {
	r.ObservedInService, r.ExpectedInService, r.RatioInService = int64(inService.Observed), Figure(inService.Expected), Figure(inService.Ratio.Value)
	r.ObservedOverdue, r.ExpectedOverdue, r.RatioOverdue = int64(overdue.Observed), Figure(overdue.Expected), Figure(overdue.Ratio.Value)
	r.NotCompared = int64(inService.Alone + overdue.Alone)
	judged := inService
	r.JudgedOn = JudgedInService
	if overdue.Enough {
		judged, r.JudgedOn = overdue, JudgedOverdue
	}
	r.Points, r.Observed, r.Expected = int64(judged.Points), int64(judged.Observed), Figure(judged.Expected)
	r.Ratio, r.Low, r.High = Figure(judged.Ratio.Value), Figure(judged.Ratio.Low), Figure(judged.Ratio.High)
	r.Z, r.P, r.Q, r.Enough = Figure(judged.Z), Figure(judged.P), Figure(judged.Q), judged.Enough
	r.Technicians, r.TechniciansAbove = judged.Technicians, judged.TechniciansAbove
	worst := judged
	if inService.Beyond > judged.Beyond {
		worst = inService
	}
	r.Alarms = alarmsWord(worst)
	return worst.Beyond
}

func alarmsWord(a instrument.Alarms) string {
	switch {
	case !a.Enough:
		return AlarmsTooFew
	case a.Beyond == 0:
		return AlarmsExpected
	case a.Z > 0:
		return AlarmsMore
	}
	return AlarmsFewer
}

func (r *UnitRow) level(drifts []instrument.Drift) {
	r.LevelSlope, r.LevelLow, r.LevelHigh, r.LevelQ, r.Level = Unknown, Unknown, Unknown, Unknown, LevelTooFew
	for _, d := range drifts {
		if d.Unit != r.UnitID {
			continue
		}
		r.ControlMonths = d.Months
		r.LevelSlope, r.LevelLow, r.LevelHigh, r.LevelQ = Figure(d.Slope.Value), Figure(d.Slope.Low), Figure(d.Slope.High), Figure(d.Q)
		if d.Enough {
			r.Level = map[int]string{1: LevelRises, -1: LevelFalls, 0: LevelSteady}[d.RisesOrFalls]
		}
	}
}

func (r *UnitRow) clock(uses []UnitUseRow) {
	r.Clock = ClockTooFew
	for _, u := range uses {
		if u.UnitID == r.UnitID {
			r.Clock = u.Clock
		}
	}
}

// stand says what asks for a look. Only false alarms ask for more than that.
func (r *UnitRow) stand(beyond int) {
	r.Standing = InLine
	var why []string
	if beyond > 0 {
		why = append(why, map[string]string{AlarmsMore: "more false alarms than expected", AlarmsFewer: "fewer false alarms than expected"}[r.Alarms])
	}
	if r.ServiceOverdue != nil && *r.ServiceOverdue {
		why = append(why, "service overdue")
	}
	if r.Level == LevelRises || r.Level == LevelFalls {
		why = append(why, "level on clear places "+r.Level)
	}
	if r.Clock == ClockLate || r.Clock == ClockEarly {
		why = append(why, "clock seems "+r.Clock)
	}
	if len(why) > 0 {
		r.Standing = Watch
	}
	if beyond > 1 {
		r.Standing = Act
	}
	r.Why = strings.Join(why, "; ")
}

// leastLogDays is how many unit-days with a known offset say something of a clock. (House's choice.)
const leastLogDays = 5

// log adds what the unit's own log says of its clock: off on more days than not is a reason to look at it.
func (r *UnitRow) log(months []LogMatchRow) {
	for _, m := range months {
		if m.UnitID == r.UnitID {
			r.LogDaysKnown, r.LogDaysOff = r.LogDaysKnown+m.DaysKnown, r.LogDaysOff+m.DaysOff
		}
	}
	if r.LogDaysKnown < leastLogDays || 2*r.LogDaysOff <= r.LogDaysKnown {
		return
	}
	if r.Standing == InLine {
		r.Standing = Watch
	}
	if r.Why != "" {
		r.Why += "; "
	}
	r.Why += fmt.Sprintf("clock off by its own log on %d of %d days", r.LogDaysOff, r.LogDaysKnown)
}

// unitsOutOfLine tells of units with more false alarms than the outer limits allow.
func unitsOutOfLine(b *Book) []Finding {
	var out []Finding
	for _, r := range b.Units {
		if r.Standing != Act || r.Alarms != AlarmsMore {
			continue
		}
		when := map[string]string{JudgedOverdue: " past its service date", JudgedInService: " in service"}[r.JudgedOn]
		out = append(out, Finding{
			Text: fmt.Sprintf("Unit %s raised %d false alarms at %s points%s, %.1f times what other units would give there (expected %.1f, 95%% interval %.1f to %.1f times).",
				r.UnitID, r.Observed, Count(r.Points), when, float64(r.Ratio), float64(r.Expected), float64(r.Low), float64(r.High)),
			Analysis: "unit_health", Page: "units.html", Weight: 100 + math.Abs(float64(r.Z)),
			Do: fmt.Sprintf("Have unit %s serviced or checked against another before it goes out again.", r.UnitID), Excess: Figure(r.Observed) - r.Expected,
		})
	}
	return out
}
