package queries

import "fmt"

// LossRow sets the gain used on one material with one unit model beside what the material does to a wave.
type LossRow struct {
	Material    string   `json:"material"`
	Model       string   `json:"model"`
	PointVisits int64    `json:"point_visits"`
	GainQ1      int      `json:"gain_q1"`
	GainMedian  int      `json:"gain_median"`
	GainQ3      int      `json:"gain_q3"`
	ThicknessMM *float64 `json:"thickness_mm"`
	Frequency   float64  `json:"frequency_ghz"`
	TableRow    string   `json:"table_row"`
	DBPerM      Figure   `json:"db_per_m"`
	LossDB      Figure   `json:"loss_db"`
	Note        string   `json:"note"`
}

func (d *desk) gainLoss() error {
	rows, q, err := run(d, "gain_loss", d.months(), func(scan func(...any) error, r *LossRow) error {
		if err := scan(&r.Model, &r.Material, &r.PointVisits, &r.GainQ1, &r.GainMedian, &r.GainQ3, &r.ThicknessMM); err != nil {
			return err
		}
		w := waveLossOf(r.Material, d.opt.Frequency, d.opt.WaveLoss)
		r.Frequency, r.TableRow, r.DBPerM, r.LossDB, r.Note = d.opt.Frequency, w.row, w.dBPerMetre, w.through(r.ThicknessMM), w.note
		if w.dBPerMetre.Known() && r.ThicknessMM == nil {
			r.Note = "no typical thickness is given for the material"
		}
		return nil
	})
	if err != nil {
		return err
	}
	d.book.Losses = rows
	d.conclude(q, rows, lossNote(d.opt.Frequency))
	return nil
}

func lossNote(frequency float64) string {
	return fmt.Sprintf("Wave loss is worked out for %g GHz, the house's choice and no fact about any device.", frequency)
}
