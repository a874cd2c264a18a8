package queries

import (
	"time"

	"scanledger/queries/stats"
	"scanledger/transform/engine"
)

// CutRow is how calls of one cut by month, region, material and technician held up.
type CutRow struct {
	By             string  `json:"by"`
	Month          *string `json:"month"`
	Region         *string `json:"region"`
	Material       *string `json:"material"`
	TechnicianID   *string `json:"technician_id"`
	PointVisits    int64   `json:"point_visits"`
	Active         int64   `json:"active"`
	Rate           Figure  `json:"rate"`
	Low            Figure  `json:"low"`
	High           Figure  `json:"high"`
	Enough         bool    `json:"enough"`
	ActiveVerified int64   `json:"active_verified"`
	Confirmed      int64   `json:"confirmed"`
	PPV            Figure  `json:"ppv"`
	PPVLow         Figure  `json:"ppv_low"`
	PPVHigh        Figure  `json:"ppv_high"`
	PPVEnough      bool    `json:"ppv_enough"`
	ClearVerified  int64   `json:"clear_verified"`
	Missed         int64   `json:"missed"`
}

// pairMonths is how far back cuts by month and something else go, so that pages stay light.
const pairMonths = 24

func (d *desk) cuts() error {
	from := d.book.From
	if last, err := time.Parse("2006-01", d.book.To); err == nil {
		from = last.AddDate(0, 1-pairMonths, 0).Format("2006-01")
	}
	rows, q, err := run(d, "cuts", append(d.months(), engine.Arg("pairs_from", from)), func(scan func(...any) error, r *CutRow) error {
		var tested, checked stats.ClusterSums
		err := scan(&r.By, &r.Month, &r.Region, &r.Material, &r.TechnicianID,
			&tested.Units, &tested.Events, &tested.Clusters, &tested.EventsSquared, &tested.EventsUnits, &tested.UnitsSqrd,
			&checked.Units, &checked.Events, &checked.Clusters, &checked.EventsSquared, &checked.EventsUnits, &checked.UnitsSqrd, &r.ClearVerified, &r.Missed)
		if err != nil {
			return err
		}
		return r.figures(tested, checked, d.book.Floor)
	})
	if err != nil {
		return err
	}
	d.book.Cuts = rows
	d.conclude(q, rows)
	return nil
}

func (r *CutRow) figures(tested, checked stats.ClusterSums, floor int) error {
	a, err := clusterRate(tested, floor)
	if err != nil {
		return err
	}
	b, err := clusterRate(checked, floor)
	r.PointVisits, r.Active, r.Rate, r.Low, r.High, r.Enough = int64(tested.Units), int64(tested.Events), a.Rate, a.Low, a.High, a.Enough
	r.ActiveVerified, r.Confirmed, r.PPV, r.PPVLow, r.PPVHigh, r.PPVEnough = int64(checked.Units), int64(checked.Events), b.Rate, b.Low, b.High, b.Enough
	return err
}
