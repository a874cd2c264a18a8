package queries

import (
	"fmt"
	"math"
	"slices"

	"scanledger/queries/instrument"
	"scanledger/queries/stats"
)

// GainUseRow is how one technician uses gain, beside the others.
type GainUseRow struct {
	TechnicianID     string `json:"technician_id"`
	Readings         int64  `json:"readings"`
	Visits           int64  `json:"visits"`
	NotCompared      int64  `json:"not_compared"`
	MeanStep         Figure `json:"mean_step"`
	PeersMeanStep    Figure `json:"peers_mean_step"`
	Distance         Figure `json:"distance"`
	ByChance         Figure `json:"distance_by_chance"`
	Moved            Figure `json:"moved"`
	P                Figure `json:"p"`
	Q                Figure `json:"q"`
	RelativeDistance Figure `json:"relative_distance"`
	RelativeP        Figure `json:"relative_p"`
	RelativeQ        Figure `json:"relative_q"`
	Permutations     int    `json:"permutations"`
	Differs          bool   `json:"differs"`
	Starts           int64  `json:"starts"`
	StartedElsewhere int64  `json:"started_elsewhere"`
	ElsewhereRate    Figure `json:"elsewhere_rate"`
	ElsewhereLow     Figure `json:"elsewhere_low"`
	ElsewhereHigh    Figure `json:"elsewhere_high"`
	PeersElsewhere   Figure `json:"peers_elsewhere_rate"`
	StartsEnough     bool   `json:"starts_enough"`
	DenseClear       int64  `json:"dense_clear"`
	SteppedUp        int64  `json:"stepped_up"`
	SteppedRate      Figure `json:"stepped_rate"`
	SteppedLow       Figure `json:"stepped_low"`
	SteppedHigh      Figure `json:"stepped_high"`
	PeersStepped     Figure `json:"peers_stepped_rate"`
	SteppedEnough    bool   `json:"stepped_enough"`
	Enough           bool   `json:"enough"`
}

// What a mix of gain steps must come to before it is said to differ: the house's choice but for the rate
// of false discoveries.
const (
	gainFDR       = 0.05
	gainMoved     = 0.1
	gainMinVisits = 10
)

// gainCount is one row of the query: a part of a mix, or a count by site.
type gainCount struct {
	part, technician, place, stratum string // place: a visit of a mix, or the site
	gain                             int
	relative                         float64
	n, events                        int
}

func (d *desk) gainUse() error {
	counts, q, err := run(d, "technician_gain", d.months(), func(scan func(...any) error, c *gainCount) error {
		return scan(&c.part, &c.technician, &c.place, &c.stratum, &c.gain, &c.relative, &c.n, &c.events)
	})
	if err != nil {
		return err
	}
	rows, err := gainUseRows(counts, d.book.Floor)
	if err != nil {
		return fmt.Errorf("analysis technician_gain: %w", err)
	}
	d.book.GainUse = rows
	d.conclude(q, rows)
	return nil
}

func gainUseRows(counts []gainCount, floor int) ([]GainUseRow, error) {
	var readings []instrument.MixReadings
	visits := map[string]int{}
	starts, steps := map[string]stats.ClusterSums{}, map[string]stats.ClusterSums{}
	for _, c := range counts {
		switch c.part {
		case "mix":
			readings = append(readings, instrument.MixReadings{Technician: c.technician, Stratum: c.stratum, Visit: c.place, Gain: c.gain, Relative: c.relative, N: c.n})
		case "visits":
			visits[c.technician] = c.n
		case "start":
			starts[c.technician] = withSite(starts[c.technician], c.n, c.events)
		default:
			steps[c.technician] = withSite(steps[c.technician], c.n, c.events)
		}
	}
	mixes, err := instrument.GainMix(readings)
	if err != nil {
		return nil, err
	}
	rows := []GainUseRow{}
	for _, m := range mixes {
		if n, grouped := visits[m.Technician]; grouped {
			m.Visits = n // not the groups of sites
		}
		row := gainUseRow(m, floor)
		if err := row.start(starts[m.Technician], floor); err != nil {
			return nil, err
		}
		if err := row.step(steps[m.Technician], floor); err != nil {
			return nil, err
		}
		rows = append(rows, row)
	}
	besidePeers(rows)
	judgeGain(rows)
	return rows, nil
}

// withSite adds one site's cases.
func withSite(s stats.ClusterSums, n, events int) stats.ClusterSums {
	return stats.ClusterSums{Clusters: s.Clusters + 1, Units: s.Units + n, Events: s.Events + events,
		EventsSquared: s.EventsSquared + events*events, EventsUnits: s.EventsUnits + events*n, UnitsSqrd: s.UnitsSqrd + n*n}
}

func gainUseRow(m instrument.Mix, floor int) GainUseRow {
	return GainUseRow{TechnicianID: m.Technician, Readings: int64(m.Readings), Visits: int64(m.Visits), NotCompared: int64(m.Alone),
		MeanStep: Figure(m.Mean), PeersMeanStep: Figure(m.PeersMean), Distance: Figure(m.Distance), ByChance: Figure(m.ByChance), Moved: Figure(m.Moved), P: Figure(m.P),
		RelativeDistance: Figure(m.Relative), RelativeP: Figure(m.RelativeP), Permutations: m.Permutations,
		Enough: m.Readings >= floor && m.Visits >= gainMinVisits}
}

func (r *GainUseRow) start(s stats.ClusterSums, floor int) error {
	rate, err := clusterRate(s, floor)
	r.Starts, r.StartedElsewhere = int64(s.Units), int64(s.Events)
	r.ElsewhereRate, r.ElsewhereLow, r.ElsewhereHigh, r.StartsEnough = rate.Rate, rate.Low, rate.High, rate.Enough
	return err
}

func (r *GainUseRow) step(s stats.ClusterSums, floor int) error {
	rate, err := clusterRate(s, floor)
	r.DenseClear, r.SteppedUp = int64(s.Units), int64(s.Events)
	r.SteppedRate, r.SteppedLow, r.SteppedHigh, r.SteppedEnough = rate.Rate, rate.Low, rate.High, rate.Enough
	return err
}

// besidePeers fills in the shares of all others.
func besidePeers(rows []GainUseRow) {
	var starts, elsewhere, clear, stepped int64
	for _, r := range rows {
		starts, elsewhere = starts+r.Starts, elsewhere+r.StartedElsewhere
		clear, stepped = clear+r.DenseClear, stepped+r.SteppedUp
	}
	for i := range rows {
		r := &rows[i]
		r.PeersElsewhere = share(elsewhere-r.StartedElsewhere, starts-r.Starts)
		r.PeersStepped = share(stepped-r.SteppedUp, clear-r.DenseClear)
	}
}

// judgeGain controls the false discovery rate over those who have enough to compare.
func judgeGain(rows []GainUseRow) {
	p, relative := make([]float64, len(rows)), make([]float64, len(rows))
	for i, r := range rows {
		p[i], relative[i] = math.NaN(), math.NaN()
		if r.Enough {
			p[i], relative[i] = float64(r.P), float64(r.RelativeP)
		}
	}
	q, relativeQ := adjustedFDR(p), adjustedFDR(relative)
	for i := range rows {
		r := &rows[i]
		r.Q, r.RelativeQ = Figure(q[i]), Figure(relativeQ[i])
		r.Differs = r.Enough && r.Moved >= gainMoved && slices.ContainsFunc([]Figure{r.Q, r.RelativeQ}, func(q Figure) bool { return q <= gainFDR })
	}
}
