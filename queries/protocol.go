package queries

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"scanledger/queries/habits"
	"scanledger/queries/stats"
	"scanledger/transform/engine"
	"scanledger/transform/protocol"
)

// ProtocolRow is how often one technician breached one check.
type ProtocolRow struct {
	Check        string `json:"check"`
	TechnicianID string `json:"technician_id"`
	Chances      int64  `json:"chances"`
	Breaches     int64  `json:"breaches"`
	Rate         Figure `json:"rate"`
	Low          Figure `json:"low"`
	High         Figure `json:"high"`
	Sites        int64  `json:"sites"`
	DesignEffect Figure `json:"design_effect"`
	Others       Figure `json:"others"`
	P            Figure `json:"p"`
	Q            Figure `json:"q"`
	Enough       bool   `json:"enough"`
	WhyNot       string `json:"why_not"`
	Standing     string `json:"standing"` // empty where not judged
}

// protocolCounts is a row with what its rate is made of.
type protocolCounts struct {
	ProtocolRow
	sums stats.ClusterSums
}

// BreachRow is one breach, with what was seen and what is asked.
type BreachRow struct {
	Check        string `json:"check"`
	TechnicianID string `json:"technician_id"`
	SiteID       string `json:"site_id"`
	InspectionID string `json:"inspection_id"`
	PointID      string `json:"point_id"`
	ReadingID    string `json:"reading_id"`
	Date         string `json:"date"`
	Seen         string `json:"seen"`
	Asked        string `json:"asked"`
}

// How far apart a technician must be from the others. (House's choice, so that a habit is told of only
// where it is both sure and large.)
const (
	watchQ      = 0.05
	actQ        = 0.01
	actTimes    = 2.0
	digitEffect = 0.1 // Cohen (1988): small
)

func (d *desk) protocol() error {
	if err := d.digits(); err != nil {
		return err
	}
	counts, q, err := run(d, "protocol", append(d.months(), d.off()), func(scan func(...any) error, r *protocolCounts) error {
		err := scan(&r.Check, &r.TechnicianID, &r.Chances, &r.Breaches, &r.Sites, &r.sums.EventsSquared, &r.sums.EventsUnits, &r.sums.UnitsSqrd)
		r.sums.Clusters, r.sums.Units, r.sums.Events = int(r.Sites), int(r.Chances), int(r.Breaches)
		return err
	})
	if err != nil {
		return err
	}
	breaches, qb, err := run(d, "protocol_breaches", append(d.months(), d.off(), engine.Arg("most", mostListed)), func(scan func(...any) error, r *BreachRow) error {
		return scan(&r.Check, &r.TechnicianID, &r.SiteID, &r.InspectionID, &r.PointID, &r.ReadingID, &r.Date, &r.Seen)
	})
	if err != nil {
		return err
	}
	if !slices.Contains(d.opt.Protocol.Off, digitCheck) {
		more, found := d.digitBreaches()
		counts, breaches = append(counts, more...), append(breaches, found...)
	}
	rows, err := judgeProtocol(counts, d.opt.Protocol, d.book.Floor)
	if err != nil {
		return fmt.Errorf("analysis protocol: %w", err)
	}
	for i := range breaches {
		check, _ := protocol.Lookup(breaches[i].Check)
		breaches[i].Asked = check.With(d.opt.Protocol).Asks
	}
	slices.SortStableFunc(breaches, func(a, b BreachRow) int { return protocol.Order(a.Check) - protocol.Order(b.Check) })
	d.book.Protocol, d.book.Breaches = rows, breaches
	d.wantExamples()
	d.conclude(q, rows)
	d.conclude(qb, breaches, cutShort(len(breaches), "breaches", "the newest, and the newest 50 of each technician and check,")...)
	return nil
}

// wantExamples asks for pages of the newest breaches of everyone who stands out.
func (d *desk) wantExamples() {
	for _, r := range d.book.Protocol {
		if r.Standing != Act {
			continue
		}
		found := d.book.breaches(r)
		for i := range min(examples, len(found)) {
			d.want(found[len(found)-1-i].InspectionID)
		}
	}
}

// breaches are those of a row, the oldest first.
func (b *Book) breaches(row ProtocolRow) []BreachRow {
	var out []BreachRow
	for _, r := range b.Breaches {
		if r.Check == row.Check && r.TechnicianID == row.TechnicianID {
			out = append(out, r)
		}
	}
	return out
}

// off binds the checks that are switched off.
func (d *desk) off() any { return engine.Arg("off", strings.Join(d.opt.Protocol.Off, ",")) }

// judgeProtocol makes the rows, in order of check and technician, with their figures.
func judgeProtocol(counts []protocolCounts, s protocol.Settings, floor int) ([]ProtocolRow, error) {
	slices.SortStableFunc(counts, func(a, b protocolCounts) int {
		return cmp.Or(protocol.Order(a.Check)-protocol.Order(b.Check), strings.Compare(a.TechnicianID, b.TechnicianID))
	})
	for start, end := 0, 0; start < len(counts); start = end {
		for end < len(counts) && counts[end].Check == counts[start].Check {
			end++
		}
		byChance := 0.0
		if counts[start].Check == "copied_levels" {
			byChance = s.Value("copy_chance")
		}
		if err := compareHabits(counts[start:end], byChance, floor); err != nil {
			return nil, fmt.Errorf("check %s: %w", counts[start].Check, err)
		}
	}
	rows, p := make([]ProtocolRow, len(counts)), make([]float64, len(counts))
	for i, c := range counts {
		rows[i], p[i] = c.ProtocolRow, math.NaN() // not judged, so not counted among the tests
		if c.Enough {
			p[i] = float64(c.P)
		}
	}
	q, err := falseDiscovery(p)
	for i := range q {
		rows[i].Q = Figure(q[i])
		rows[i].Standing = rows[i].standing()
	}
	return rows, err
}

// compareHabits fills the rates of one check and sets each technician against all others.
func compareHabits(rows []protocolCounts, byChance float64, floor int) error {
	var all stats.ClusterSums
	for _, r := range rows {
		all = plus(all, r.sums, 1)
	}
	for i := range rows {
		if err := rows[i].compare(plus(all, rows[i].sums, -1), byChance, floor); err != nil {
			return fmt.Errorf("technician %s: %w", rows[i].TechnicianID, err)
		}
	}
	return nil
}

func (r *protocolCounts) compare(others stats.ClusterSums, byChance float64, floor int) error {
	if r.Check == digitCheck {
		return r.ofDigits()
	}
	own, err := clusterRate(r.sums, floor)
	if err != nil {
		return err
	}
	theirs, err := clusterRate(others, floor)
	if err != nil {
		return err
	}
	r.Rate, r.Low, r.High, r.DesignEffect, r.Others = own.Rate, own.Low, own.High, own.DesignEffect, theirs.Rate
	if r.Enough = r.Chances >= int64(floor); !r.Enough {
		r.WhyNot = belowFloor
	}
	effect := max(alikeness(own, r.sums), alikeness(theirs, others))
	if check, _ := protocol.Lookup(r.Check); check.Handed {
		r.P, r.WhyNot = Unknown, "the house hands out units: nobody is judged by them"
		return nil
	}
	p, err := habits.Excess(habits.Cases{Chances: r.sums.Units, Breaches: r.sums.Events}, habits.Cases{Chances: others.Units, Breaches: others.Events}, effect, byChance)
	r.P = Figure(p)
	return err
}

// alikeness is the design effect less what it takes for a small number of sites, m/(m-1), which an exact test
// has no need of; at least 1.
func alikeness(rate ClusterRate, sums stats.ClusterSums) float64 {
	if !rate.DesignEffect.Known() {
		return 1
	}
	return max(1, float64(rate.DesignEffect)*float64(sums.Clusters-1)/float64(sums.Clusters))
}

// ofDigits fills a row of last digits, which are judged in digit_preference: ten of them are no rate to compare.
func (r *protocolCounts) ofDigits() error {
	exact, err := stats.ClopperPearson(int(r.Breaches), int(r.Chances), Confidence)
	r.Rate, r.Low, r.High, r.WhyNot = share(r.Breaches, r.Chances), Figure(exact.Low), Figure(exact.High), "judged in digit_preference"
	r.DesignEffect, r.Others, r.P = Unknown, Unknown, Unknown
	return err
}

// plus adds the sums of other clusters, times 1 or -1.
func plus(a, b stats.ClusterSums, times int) stats.ClusterSums {
	return stats.ClusterSums{Clusters: a.Clusters + times*b.Clusters, Units: a.Units + times*b.Units, Events: a.Events + times*b.Events,
		EventsSquared: a.EventsSquared + times*b.EventsSquared, EventsUnits: a.EventsUnits + times*b.EventsUnits, UnitsSqrd: a.UnitsSqrd + times*b.UnitsSqrd}
}

func (r *ProtocolRow) standing() string {
	switch {
	case !r.Enough || !r.Q.Known():
		return ""
	case r.Q < actQ && r.Rate >= actTimes*r.Others:
		return Act
	case r.Q < watchQ:
		return Watch
	}
	return InLine
}
