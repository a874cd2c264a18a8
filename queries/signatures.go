package queries

import (
	"fmt"
	"slices"

	"scanledger/queries/signature"
	"scanledger/queries/stats"
	"scanledger/transform/logs"
)

// DescribeLogs makes what describes movement while facts are made, by the settings of unit logs.
func DescribeLogs(set logs.Settings) logs.Describe {
	s := signature.Settings{Samples: int(set.Value("period_samples")), Cycles: int(set.Value("period_cycles")), Onset: set.Value("onset_s"),
		Full: set.Value("full_pct"), Most: logs.MostSamples}
	return func(m logs.Movement) (logs.Signature, error) {
		out, err := signature.Describe(m.Seconds, m.Levels, m.Band, s)
		return logs.Signature(out), err
	}
}

// SignatureRow is one hold that moved, and what its movement looks like.
type SignatureRow struct {
	UnitID       string `json:"unit_id"`
	TechnicianID string `json:"technician_id"`
	SiteID       string `json:"site_id"`
	InspectionID string `json:"inspection_id"`
	PointID      string `json:"point_id"`
	ReadingID    string `json:"reading_id"`
	Date         string `json:"date"`
	HoldNo       int64  `json:"hold_no"`
	Call         string `json:"call"`
	Truth        string `json:"truth"`
	HoldS        Figure `json:"hold_s"`
	AboveShare   Figure `json:"above_share"`
	Periodic     bool   `json:"periodic"`
	PeriodS      Figure `json:"period_s"`
	Explained    Figure `json:"explained"`
	G            Figure `json:"g"`
	WhiteP       Figure `json:"white_p"`
	P            Figure `json:"p"`
	Q            Figure `json:"q"`
	Steadiness   Figure `json:"steadiness"`
	Onset        string `json:"onset"`
	Full         bool   `json:"full"`
	FullShare    Figure `json:"full_share"`
	Together     bool   `json:"together"`
	PointsNear   int64  `json:"points_near"`
	PointsMoved  int64  `json:"points_moved"`
}

// Looks lists the looks of interference; LookAny is any of them.
var Looks = []string{LookPeriodic, LookHandling, LookGainChange, LookFull, LookTogether, LookAny}

// Looks of interference.
const (
	LookPeriodic   = "periodic"
	LookHandling   = "handling"
	LookGainChange = "gain_change"
	LookFull       = "full"
	LookTogether   = "together"
	LookAny        = "any"
)

// Looks lists the looks that the hold has, LookAny among them where it has one.
func (r SignatureRow) Looks() (out []string) {
	for _, l := range []struct {
		name string
		has  bool
	}{{LookPeriodic, r.Periodic}, {LookHandling, r.Onset == LookHandling}, {LookGainChange, r.Onset == LookGainChange}, {LookFull, r.Full}, {LookTogether, r.Together}} {
		if l.has {
			out = append(out, l.name)
		}
	}
	if len(out) > 0 {
		out = append(out, LookAny)
	}
	return out
}

// Signatures are the holds that moved.
type Signatures struct {
	Moved    []SignatureRow // every one
	Searched int64          // of these, holds in which a period was looked for
}

func (d *desk) logSignatures() error {
	rows, q, err := run(d, "log_signatures", d.months(), func(scan func(...any) error, r *SignatureRow) error {
		var period [6]*float64
		err := scan(&r.UnitID, &r.TechnicianID, &r.SiteID, &r.InspectionID, &r.PointID, &r.ReadingID, &r.Date, &r.HoldNo, &r.Call, &r.Truth, &r.HoldS, &r.AboveShare,
			&period[0], &period[1], &period[2], &period[3], &period[4], &period[5], &r.Onset, &r.FullShare, &r.Full, &r.Together, &r.PointsNear, &r.PointsMoved)
		for i, f := range []*Figure{&r.PeriodS, &r.Explained, &r.G, &r.WhiteP, &r.P, &r.Steadiness} {
			*f = figureOf(period[i])
		}
		return err
	})
	if err != nil {
		return err
	}
	searched, err := judgePeriods(rows, d.opt.Logs)
	if err != nil {
		return fmt.Errorf("analysis log_signatures: %w", err)
	}
	d.book.Signatures = Signatures{rows, searched}
	d.wantPeriodic()
	said := slices.DeleteFunc(slices.Clone(rows), func(r SignatureRow) bool { return len(r.Looks()) == 0 })
	d.conclude(q, said, fmt.Sprintf("%d holds moved; a period was looked for in %d of them.", len(rows), searched))
	return nil
}

// wantPeriodic gives the inspections of some periodic calls a page, those that were false alarms first.
func (d *desk) wantPeriodic() {
	left := examples
	for _, wrong := range []bool{true, false} {
		for _, r := range d.book.Signatures.Moved {
			if r.Periodic && r.Call == "active" && (r.Truth == "not_active") == wrong && left > 0 && !slices.Contains(d.wanted, r.InspectionID) {
				d.want(r.InspectionID)
				left--
			}
		}
	}
}

// judgePeriods says which holds move periodically, false discoveries among all holds searched being bounded, and
// counts those.
func judgePeriods(rows []SignatureRow, set logs.Settings) (searched int64, err error) {
	var p []float64
	var at []int
	for i := range rows {
		rows[i].Q = Unknown
		if rows[i].P.Known() {
			p, at = append(p, float64(rows[i].P)), append(at, i)
		}
	}
	q, err := falseDiscovery(p)
	for i, v := range q {
		r := &rows[at[i]]
		r.Q = Figure(v)
		r.Periodic = v <= set.Value("period_q") && float64(r.Steadiness) >= set.Value("period_steady")
	}
	return int64(len(p)), err
}

// SignatureCheckRow is how often active calls with a look and without it were false alarms.
type SignatureCheckRow struct {
	Look           string `json:"look"`
	Calls          int    `json:"calls"`
	With           int    `json:"with"`
	WithFalse      int    `json:"with_false"`
	WithRate       Figure `json:"with_rate"`
	WithLow        Figure `json:"with_low"`
	WithHigh       Figure `json:"with_high"`
	WithEnough     bool   `json:"with_enough"`
	Without        int    `json:"without"`
	WithoutFalse   int    `json:"without_false"`
	WithoutRate    Figure `json:"without_rate"`
	WithoutLow     Figure `json:"without_low"`
	WithoutHigh    Figure `json:"without_high"`
	WithoutEnough  bool   `json:"without_enough"`
	Difference     Figure `json:"difference"`
	DifferenceLow  Figure `json:"difference_low"`
	DifferenceHigh Figure `json:"difference_high"`
	Says           string `json:"says"`
}

// What a check of a look says.
const (
	LookMore     = "more"
	LookFewer    = "fewer"
	LookNotShown = "not_shown"
	LookTooFew   = "too_few"
)

// loggedCall is a checked active call and one hold of its active readings.
type loggedCall struct {
	site, inspection, point string
	falseAlarm              bool
	unit, day               string
	hold                    int64
}

func (d *desk) signatureCheck() error {
	calls, q, err := run(d, "signature_check", d.months(), func(scan func(...any) error, c *loggedCall) error {
		return scan(&c.site, &c.inspection, &c.point, &c.falseAlarm, &c.unit, &c.day, &c.hold)
	})
	if err != nil {
		return err
	}
	rows, err := checkLooks(calls, d.book.Signatures.Moved, d.opt.Floor)
	if err != nil {
		return fmt.Errorf("analysis signature_check: %w", err)
	}
	d.book.SignatureCheck = rows
	d.conclude(q, rows)
	return nil
}

// checkLooks sets the false alarms among calls with each look against those among calls without it. Calls come in
// order, all holds of one together.
func checkLooks(calls []loggedCall, moved []SignatureRow, floor int) ([]SignatureCheckRow, error) {
	type hold struct {
		unit, day string
		no        int64
	}
	looks := map[hold][]string{}
	for _, r := range moved {
		looks[hold{r.UnitID, r.Date, r.HoldNo}] = r.Looks()
	}
	tally := map[string]*[2]siteTally{}
	for _, look := range Looks {
		tally[look] = &[2]siteTally{}
	}
	for from, to := 0, 0; from < len(calls); from = to {
		var has []string
		for to < len(calls) && calls[to].inspection == calls[from].inspection && calls[to].point == calls[from].point {
			has = append(has, looks[hold{calls[to].unit, calls[to].day, calls[to].hold}]...)
			to++
		}
		for _, look := range Looks {
			side := 1
			if slices.Contains(has, look) {
				side = 0
			}
			tally[look][side].add(calls[from].site, calls[from].falseAlarm)
		}
	}
	out := make([]SignatureCheckRow, 0, len(Looks))
	for _, look := range Looks {
		row, err := checkLook(look, tally[look], floor)
		if err != nil {
			return nil, err
		}
		out = append(out, row)
	}
	return out, nil
}

// siteTally counts calls and false alarms by site; sites come in order.
type siteTally struct {
	last         string
	calls, wrong []int
}

func (s *siteTally) add(site string, wrong bool) {
	if len(s.calls) == 0 || s.last != site {
		s.last, s.calls, s.wrong = site, append(s.calls, 0), append(s.wrong, 0)
	}
	s.calls[len(s.calls)-1]++
	if wrong {
		s.wrong[len(s.wrong)-1]++
	}
}

func (s siteTally) rate(floor int) (stats.ClusterSums, ClusterRate, error) {
	sums, err := stats.SumClusters(s.calls, s.wrong)
	if err != nil {
		return sums, ClusterRate{}, err
	}
	rate, err := clusterRate(sums, floor)
	return sums, rate, err
}

func checkLook(look string, sides *[2]siteTally, floor int) (SignatureCheckRow, error) {
	with, a, err := sides[0].rate(floor)
	if err != nil {
		return SignatureCheckRow{}, err
	}
	without, b, err := sides[1].rate(floor)
	if err != nil {
		return SignatureCheckRow{}, err
	}
	r := SignatureCheckRow{Look: look, Calls: with.Units + without.Units,
		With: with.Units, WithFalse: with.Events, WithRate: a.Rate, WithLow: a.Low, WithHigh: a.High, WithEnough: a.Enough,
		Without: without.Units, WithoutFalse: without.Events, WithoutRate: b.Rate, WithoutLow: b.Low, WithoutHigh: b.High, WithoutEnough: b.Enough,
		Difference: Unknown, DifferenceLow: Unknown, DifferenceHigh: Unknown, Says: LookTooFew}
	if r.With == 0 || r.Without == 0 {
		return r, nil
	}
	apart := stats.SquareAndAdd(float64(a.Rate), a.interval(), float64(b.Rate), b.interval())
	r.Difference, r.DifferenceLow, r.DifferenceHigh = a.Rate-b.Rate, Figure(apart.Low), Figure(apart.High)
	switch {
	case !a.Enough || !b.Enough:
	case apart.Low > 0:
		r.Says = LookMore
	case apart.High < 0:
		r.Says = LookFewer
	default:
		r.Says = LookNotShown
	}
	return r, nil
}
