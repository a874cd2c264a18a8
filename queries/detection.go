package queries

import "scanledger/queries/stats"

// Cut says what a row is about: By names the columns that make it, the others are null.
type Cut struct {
	By            string  `json:"by"`
	Material      *string `json:"material"`
	Gain          *int    `json:"gain"`
	Season        *string `json:"season"`
	Region        *string `json:"region"`
	Month         *string `json:"month"`
	Model         *string `json:"model"`
	ThicknessBand *string `json:"thickness_band"`
	Purpose       *string `json:"purpose"`
}

// DetectionRow is how often movement was called in one cut.
type DetectionRow struct {
	Cut
	PointVisits  *int64 `json:"point_visits"` // null for cuts by gain
	Readings     *int64 `json:"readings"`     // only for cuts by gain
	Active       int64  `json:"active"`
	Unsure       int64  `json:"unsure"`
	Sites        int64  `json:"sites"`
	Rate         Figure `json:"rate"`
	Low          Figure `json:"low"`
	High         Figure `json:"high"`
	DesignEffect Figure `json:"design_effect"`
	NEffective   Figure `json:"n_effective"`
	Enough       bool   `json:"enough"`
	WhyNot       string `json:"why_not"`
}

// N is the count the rate is of: point-visits, or readings for cuts by gain.
func (r DetectionRow) N() int64 {
	if r.Readings != nil {
		return *r.Readings
	}
	return *r.PointVisits
}

type detectionCounts struct {
	Cut
	active, unsure int64
	sums           stats.ClusterSums
}

func (d *desk) detection() error {
	counts, q, err := run(d, "detection", d.months(), func(scan func(...any) error, r *detectionCounts) error {
		return scan(&r.By, &r.Material, &r.Gain, &r.Season, &r.Region, &r.Month, &r.Model, &r.ThicknessBand, &r.Purpose,
			&r.sums.Units, &r.active, &r.unsure, &r.sums.Clusters, &r.sums.EventsSquared, &r.sums.EventsUnits, &r.sums.UnitsSqrd)
	})
	if err != nil {
		return err
	}
	rows := make([]DetectionRow, len(counts))
	for i, c := range counts {
		if rows[i], err = c.figures(d.book.Floor); err != nil {
			return err
		}
	}
	d.book.Detection = rows
	d.conclude(q, rows)
	return nil
}

func (c detectionCounts) figures(floor int) (DetectionRow, error) {
	c.sums.Events = int(c.active)
	n := int64(c.sums.Units)
	row := DetectionRow{Cut: c.Cut, Active: c.active, Unsure: c.unsure, Sites: int64(c.sums.Clusters)}
	if c.Gain != nil {
		row.Readings = &n
	} else {
		row.PointVisits = &n
	}
	rate, err := clusterRate(c.sums, floor)
	row.Rate, row.Low, row.High = rate.Rate, rate.Low, rate.High
	row.DesignEffect, row.NEffective = rate.DesignEffect, rate.NEffective
	row.Enough, row.WhyNot = rate.Enough, rate.WhyNot
	return row, err
}
