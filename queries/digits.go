package queries

import (
	"fmt"

	"scanledger/queries/habits"
	"scanledger/queries/stats"
)

// DigitRow is how one technician's levels end on one model of unit.
type DigitRow struct {
	TechnicianID string `json:"technician_id"`
	Model        string `json:"model"`
	Place        string `json:"place"` // tenths or ones
	Levels       int64  `json:"levels"`
	D0           int    `json:"d0"`
	D1           int    `json:"d1"`
	D2           int    `json:"d2"`
	D3           int    `json:"d3"`
	D4           int    `json:"d4"`
	D5           int    `json:"d5"`
	D6           int    `json:"d6"`
	D7           int    `json:"d7"`
	D8           int    `json:"d8"`
	D9           int    `json:"d9"`
	ChiEven      Figure `json:"chi_even"`
	PEven        Figure `json:"p_even"`
	ChiOthers    Figure `json:"chi_others"`
	POthers      Figure `json:"p_others"`
	Size         Figure `json:"size"`
	P            Figure `json:"p"`
	Q            Figure `json:"q"`
	Enough       bool   `json:"enough"`
	Standing     string `json:"standing"` // empty where not judged
}

// digitCheck is the check of the protocol that is judged here.
const digitCheck = "digit_preference"

func (r DigitRow) digits() habits.Digits {
	return habits.Digits{r.D0, r.D1, r.D2, r.D3, r.D4, r.D5, r.D6, r.D7, r.D8, r.D9}
}

func (d *desk) digits() error {
	rows, q, err := run(d, "digit_preference", d.months(), func(scan func(...any) error, r *DigitRow) error {
		err := scan(&r.TechnicianID, &r.Model, &r.Place, &r.D0, &r.D1, &r.D2, &r.D3, &r.D4, &r.D5, &r.D6, &r.D7, &r.D8, &r.D9)
		r.Levels = int64(r.digits().Count())
		return err
	})
	if err == nil {
		err = judgeDigits(rows, int(d.opt.Protocol.Value("digit_levels")))
	}
	if err != nil {
		return fmt.Errorf("analysis digit_preference: %w", err)
	}
	d.book.Digits = rows
	d.conclude(q, rows)
	return nil
}

// judgeDigits sets each technician's digits against those of all others with the same model.
func judgeDigits(rows []DigitRow, fewest int) error {
	others, p := otherDigits(rows), make([]float64, len(rows))
	for i := range rows {
		if err := rows[i].judge(others[i], fewest); err != nil {
			return fmt.Errorf("technician %s: %w", rows[i].TechnicianID, err)
		}
		p[i] = float64(rows[i].P)
	}
	q, err := falseDiscovery(p)
	for i := range q {
		rows[i].stand(Figure(q[i]))
	}
	return err
}

// falseDiscovery adjusts p values, if there are any, for how many there are. (Benjamini and Hochberg 1995.)
func falseDiscovery(p []float64) ([]float64, error) {
	if len(p) == 0 {
		return nil, nil
	}
	adjusted, err := stats.AdjustPValues(p)
	return adjusted.BenjaminiHochberg, err
}

// otherDigits are, for each row, the digits of all other technicians with the same model.
func otherDigits(rows []DigitRow) []habits.Digits {
	all, out := map[string]habits.Digits{}, make([]habits.Digits, len(rows))
	for _, r := range rows {
		all[r.Model] = all[r.Model].Plus(r.digits())
	}
	for i, r := range rows {
		out[i] = all[r.Model].Less(r.digits())
	}
	return out
}

func (r *DigitRow) judge(others habits.Digits, fewest int) error {
	r.ChiEven, r.PEven, r.ChiOthers, r.POthers, r.Size, r.P = Unknown, Unknown, Unknown, Unknown, Unknown, Unknown
	if r.Enough = r.digits().Count() >= fewest && others.Count() >= fewest; !r.Enough {
		return nil
	}
	got, err := habits.Prefer(r.digits(), others)
	r.ChiEven, r.PEven, r.ChiOthers, r.POthers = Figure(got.Even.Statistic), Figure(got.Even.P), Figure(got.Others.Statistic), Figure(got.Others.P)
	r.Size, r.P = Figure(got.Size), Figure(got.P)
	return err
}

func (r *DigitRow) stand(q Figure) {
	r.Q = q
	switch {
	case !r.Enough:
	case q >= watchQ || r.Size < digitEffect:
		r.Standing = InLine
	case q < actQ:
		r.Standing = Act
	default:
		r.Standing = Watch
	}
}

// often are the digits used too often, by one who is not in line.
func (r *DigitRow) often(others habits.Digits) []int {
	if r.Standing == Act || r.Standing == Watch {
		return habits.TooOften(r.digits(), others)
	}
	return nil
}

// digitBreaches tells the protocol of last digits: ten chances for each technician and model judged.
func (d *desk) digitBreaches() ([]protocolCounts, []BreachRow) {
	var rows []protocolCounts
	var breaches []BreachRow
	others := otherDigits(d.book.Digits)
	for i, r := range d.book.Digits {
		if !r.Enough {
			continue
		}
		n := len(rows)
		if n == 0 || rows[n-1].TechnicianID != r.TechnicianID {
			rows = append(rows, protocolCounts{ProtocolRow: ProtocolRow{Check: digitCheck, TechnicianID: r.TechnicianID}})
			n++
		}
		rows[n-1].Chances += 10
		often := r.often(others[i])
		rows[n-1].Breaches += int64(len(often))
		for _, digit := range often {
			breaches = append(breaches, BreachRow{Check: digitCheck, TechnicianID: r.TechnicianID,
				Seen: fmt.Sprintf("%d of %d levels on model %s end in %d (%s)", r.digits()[digit], r.Levels, r.Model, digit, r.Place)})
		}
	}
	return rows, breaches
}
