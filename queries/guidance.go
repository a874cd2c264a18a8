package queries

import (
	"fmt"
	"slices"
	"strings"

	"scanledger/queries/stats"
)

// GuidanceRow is how readings at one gain step on one material held up, and what that would cost.
type GuidanceRow struct {
	By                 string  `json:"by"`
	Material           string  `json:"material"`
	ThicknessBand      *string `json:"thickness_band"`
	Model              *string `json:"model"`
	Gain               int     `json:"gain"`
	ReadingsActive     int64   `json:"readings_active"`
	PointsActive       int64   `json:"points_active"`
	HitRate            Figure  `json:"hit_rate"`
	HitLow             Figure  `json:"hit_low"`
	HitHigh            Figure  `json:"hit_high"`
	ReadingsNotActive  int64   `json:"readings_not_active"`
	PointsNotActive    int64   `json:"points_not_active"`
	FalseAlarmRate     Figure  `json:"false_alarm_rate"`
	FalseAlarmLow      Figure  `json:"false_alarm_low"`
	FalseAlarmHigh     Figure  `json:"false_alarm_high"`
	Prevalence         Figure  `json:"prevalence"`
	CostPer100         Figure  `json:"cost_per_100"`
	CostLow            Figure  `json:"cost_low"`
	CostHigh           Figure  `json:"cost_high"`
	ActiveStepped      int64   `json:"active_stepped"`
	OthersStepped      int64   `json:"others_stepped"`
	HitBy              Figure  `json:"hit_by"`
	HitByLow           Figure  `json:"hit_by_low"`
	HitByHigh          Figure  `json:"hit_by_high"`
	FalseAlarmBy       Figure  `json:"false_alarm_by"`
	FalseAlarmByLow    Figure  `json:"false_alarm_by_low"`
	FalseAlarmByHigh   Figure  `json:"false_alarm_by_high"`
	SteppingCost       Figure  `json:"stepping_cost_per_100"`
	SteppingCostLow    Figure  `json:"stepping_cost_low"`
	SteppingCostHigh   Figure  `json:"stepping_cost_high"`
	HitEnough          bool    `json:"hit_enough"`
	FalseAlarmEnough   bool    `json:"false_alarm_enough"`
	HitByEnough        bool    `json:"hit_by_enough"`
	FalseAlarmByEnough bool    `json:"false_alarm_by_enough"`
	Enough             bool    `json:"enough"`
	WhyNot             string  `json:"why_not"`
	Advice             string  `json:"advice"`
	HouseLow           *int    `json:"house_low"`
	HouseHigh          *int    `json:"house_high"`
	InHouseRange       *bool   `json:"in_house_range"`
	LossDB             Figure  `json:"loss_db"`
}

// What GuidanceRow.Advice begins with; the house's range may follow.
const (
	LowestCost   = "lowest expected cost"
	NextBest     = "next best"
	NotEnough    = "not enough to say"
	CostsNotSet  = "costs are not set"
	costsMore    = "costs more than gain %d"
	costsTheSame = "costs about the same as gain %d"
)

// guidanceCell counts readings of one row at one site with one call of the point-visit.
type guidanceCell struct {
	GuidanceRow
	site              int64
	call              string
	hits, falseAlarms int64
	thickness         *float64
}

func (d *desk) guidance() error {
	cells, q, err := run(d, "gain_guidance", d.clustered(d.clusters.Circumstances), func(scan func(...any) error, c *guidanceCell) error {
		return scan(&c.By, &c.Material, &c.ThicknessBand, &c.Model, &c.Gain, &c.site, &c.call, &c.ReadingsActive, &c.hits, &c.PointsActive,
			&c.ReadingsNotActive, &c.falseAlarms, &c.PointsNotActive, &c.HouseLow, &c.HouseHigh, &c.thickness)
	})
	if err != nil {
		return err
	}
	rows, err := d.guidanceRows(cells)
	if err != nil {
		return fmt.Errorf("analysis gain_guidance: %w", err)
	}
	for _, steps := range runsOf(rows, sameSteps) {
		advise(steps)
	}
	d.book.Guidance = rows
	notes := append(leftOut(d.book.Weights), "Costs are compared by their 95% intervals; where those overlap, steps cost about the same.",
		lossNote(d.opt.Frequency))
	if !d.opt.costsSet() {
		notes = append(notes, "Costs are not set in the configuration (costs.false_alarm and costs.missed), so no step can be advised.")
	}
	d.conclude(q, rows, notes...)
	return nil
}

// runsOf cuts rows into runs of neighbours that are alike.
func runsOf[R any](rows []R, alike func(a, b R) bool) [][]R {
	var out [][]R
	for start := 0; start < len(rows); {
		end := start + 1
		for end < len(rows) && alike(rows[start], rows[end]) {
			end++
		}
		out = append(out, rows[start:end])
		start = end
	}
	return out
}

// sameSteps tells whether two rows are gain steps to choose from.
func sameSteps(a, b GuidanceRow) bool {
	return a.By == b.By && a.Material == b.Material && equal(a.ThicknessBand, b.ThicknessBand) && equal(a.Model, b.Model)
}

func equal(a, b *string) bool {
	return a == nil && b == nil || a != nil && b != nil && *a == *b
}

func (d *desk) guidanceRows(cells []guidanceCell) ([]GuidanceRow, error) {
	weight, prevalence := weights(d.book.Weights), prevalences(d.book.Weights)
	rows := []GuidanceRow{}
	for _, step := range runsOf(cells, func(a, b guidanceCell) bool { return a.Gain == b.Gain && sameSteps(a.GuidanceRow, b.GuidanceRow) }) {
		row := step[0].GuidanceRow
		row.ReadingsActive, row.ReadingsNotActive, row.PointsActive, row.PointsNotActive = 0, 0, 0, 0
		var active, notActive weighted
		for _, c := range step {
			w := weight[class{c.Material, c.call}]
			active.add(c.site, c.ReadingsActive, c.hits, w)
			notActive.add(c.site, c.ReadingsNotActive, c.falseAlarms, w)
			row.PointsActive += c.PointsActive
			row.PointsNotActive += c.PointsNotActive
		}
		row.Prevalence = prevalence[row.Material]
		row.InHouseRange = inRange(row.Gain, row.HouseLow, row.HouseHigh)
		row.LossDB = Unknown
		if row.ThicknessBand == nil {
			row.LossDB = waveLossOf(row.Material, d.opt.Frequency, d.opt.WaveLoss).through(step[0].thickness)
		}
		if err := row.figures(&active, &notActive, d.opt); err != nil {
			return nil, fmt.Errorf("%s, %s, gain %d: %w", row.By, row.Material, row.Gain, err)
		}
		row.stepping(d.laddersOf(row), d.opt)
		rows = append(rows, row)
	}
	return rows, nil
}

func (r *GuidanceRow) figures(active, notActive *weighted, opt Options) error {
	hit, err := active.rate(opt.Floor)
	if err != nil {
		return err
	}
	alarm, err := notActive.rate(opt.Floor)
	if err != nil {
		return err
	}
	r.ReadingsActive, r.ReadingsNotActive = active.n, notActive.n
	r.HitRate, r.HitLow, r.HitHigh = Figure(hit.Value), Figure(hit.Low), Figure(hit.High)
	r.FalseAlarmRate, r.FalseAlarmLow, r.FalseAlarmHigh = Figure(alarm.Value), Figure(alarm.Low), Figure(alarm.High)
	r.CostPer100, r.CostLow, r.CostHigh = r.cost(hit.Estimate, alarm.Estimate, opt)
	r.HitEnough, r.FalseAlarmEnough = hit.whyNot == "", alarm.whyNot == ""
	r.Enough = r.HitEnough && r.FalseAlarmEnough
	r.WhyNot = reason(hit, alarm)
	return nil
}

// reason says which of two rates is held back and why, "" where neither is.
func reason(hit, alarm weightedRate) string {
	switch {
	case hit.whyNot != "":
		return "hit rate: " + hit.whyNot
	case alarm.whyNot != "":
		return "false-alarm rate: " + alarm.whyNot
	}
	return ""
}

// stepping fills in what stepping up to this gain shows and costs.
func (r *GuidanceRow) stepping(l ladders, opt Options) {
	hit, alarm := l.active.at(r.Gain), l.notActive.at(r.Gain)
	r.ActiveStepped, r.OthersStepped = int64(hit.N), int64(alarm.N)
	r.HitBy, r.HitByLow, r.HitByHigh = Figure(hit.Value), Figure(hit.Low), Figure(hit.High)
	r.FalseAlarmBy, r.FalseAlarmByLow, r.FalseAlarmByHigh = Figure(alarm.Value), Figure(alarm.Low), Figure(alarm.High)
	r.SteppingCost, r.SteppingCostLow, r.SteppingCostHigh = r.cost(hit.Estimate, alarm.Estimate, opt)
	r.HitByEnough, r.FalseAlarmByEnough = hit.whyNot == "", alarm.whyNot == ""
}

// laddersOf finds the ladders of the row's points.
func (d *desk) laddersOf(r GuidanceRow) ladders {
	cut := ladderCut{strings.TrimSuffix(r.By, "+gain"), &r.Material, nil, r.ThicknessBand, r.Model}
	i := slices.IndexFunc(d.ladders, func(l ladders) bool { return l.same(cut) })
	if i < 0 {
		return ladders{}
	}
	return d.ladders[i]
}

// cost is the expected cost of 100 points with its interval; unknown where costs are not set. Hits are
// of active points and false alarms of others, so the two are as good as independent.
func (r *GuidanceRow) cost(hit, alarm stats.Estimate, opt Options) (cost, low, high Figure) {
	if !opt.costsSet() {
		return Unknown, Unknown, Unknown
	}
	miss := stats.Estimate{Value: 1 - hit.Value, Low: 1 - hit.High, High: 1 - hit.Low, Conf: hit.Conf, N: hit.N}
	p := float64(r.Prevalence)
	sum := stats.SumOfEstimates(miss, 100*p*opt.MissedCost, alarm, 100*(1-p)*opt.FalseAlarmCost)
	return Figure(sum.Value), Figure(max(0, sum.Low)), Figure(sum.High)
}

// SteppingEnough tells whether there is enough to advise on stepping up to this gain.
func (r *GuidanceRow) SteppingEnough() bool { return r.HitByEnough && r.FalseAlarmByEnough }

// PointsStepped counts the points of which it is known whether they had shown by this step.
func (r *GuidanceRow) PointsStepped() int64 { return r.ActiveStepped + r.OthersStepped }

// costsSet tells whether the house said what each wrong call costs.
func (o Options) costsSet() bool { return o.FalseAlarmCost > 0 && o.MissedCost > 0 }

// inRange tells whether a gain is in the house's range, which may be open at one end; nil without one.
func inRange(gain int, low, high *int) *bool {
	if low == nil && high == nil {
		return nil
	}
	in := (low == nil || gain >= *low) && (high == nil || gain <= *high)
	return &in
}

// advise fills in the advice on steps to choose from.
func advise(steps []GuidanceRow) {
	var able []*GuidanceRow
	for i := range steps {
		s := &steps[i]
		switch {
		case !s.SteppingEnough():
			s.Advice = NotEnough
		case !s.SteppingCost.Known():
			s.Advice = CostsNotSet
		default:
			able = append(able, s)
		}
	}
	if len(able) == 1 {
		able[0].Advice = NotEnough + ": no other step to compare"
		return
	}
	slices.SortStableFunc(able, func(a, b *GuidanceRow) int {
		switch {
		case a.SteppingCost < b.SteppingCost:
			return -1
		case a.SteppingCost > b.SteppingCost:
			return 1
		}
		return a.Gain - b.Gain
	})
	for i, s := range able {
		s.Advice = standingAmong(able, i) + s.houseWords()
	}
}

// standingAmong says how the i-th step in order of cost compares with the first.
func standingAmong(byCost []*GuidanceRow, i int) string {
	first, s := byCost[0], byCost[i]
	same := s.SteppingCostLow <= first.SteppingCostHigh
	switch {
	case i == 0:
		return LowestCost
	case i == 1 && same:
		return NextBest + ", " + fmt.Sprintf(costsTheSame, first.Gain)
	case i == 1:
		return NextBest
	case same:
		return fmt.Sprintf(costsTheSame, first.Gain)
	}
	return fmt.Sprintf(costsMore, first.Gain)
}

func (r *GuidanceRow) houseWords() string {
	switch {
	case r.InHouseRange == nil:
		return ""
	case *r.InHouseRange:
		return "; inside the house's range"
	}
	return "; outside the house's range"
}
