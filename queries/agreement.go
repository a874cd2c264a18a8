package queries

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"scanledger/queries/agreement"
	"scanledger/queries/stats"
)

// AgreementRow is how far one technician's calls and those of others on the same points agree, or those
// of all.
type AgreementRow struct {
	TechnicianID string `json:"technician_id"`
	AgreementFigures
	Alpha     Figure `json:"alpha"`
	AlphaLow  Figure `json:"alpha_low"`
	AlphaHigh Figure `json:"alpha_high"`
	Verdict
}

// AgreementMaterialRow is the same on one material.
type AgreementMaterialRow struct {
	Material     string `json:"material"`
	TechnicianID string `json:"technician_id"`
	AgreementFigures
	Verdict
}

// AgreementFigures compare two calls of the same points.
type AgreementFigures struct {
	Pairs         int64  `json:"pairs"`
	Unsure        int64  `json:"unsure"`
	Sites         int64  `json:"sites"`
	BothActive    int64  `json:"both_active"`
	OnlyThis      int64  `json:"only_this"`
	OnlyOther     int64  `json:"only_other"`
	BothClear     int64  `json:"both_clear"`
	Agreement     Figure `json:"agreement"`
	AgreementLow  Figure `json:"agreement_low"`
	AgreementHigh Figure `json:"agreement_high"`
	Chance        Figure `json:"chance_agreement"`
	Kappa         Figure `json:"kappa"`
	KappaLow      Figure `json:"kappa_low"`
	KappaHigh     Figure `json:"kappa_high"`
	AC1           Figure `json:"ac1"`
	AC1Low        Figure `json:"ac1_low"`
	AC1High       Figure `json:"ac1_high"`
	KappaDesign   Figure `json:"kappa_design_effect"`
	DirectionP    Figure `json:"direction_p"`
	DirectionQ    Figure `json:"direction_q"`
	Direction     string `json:"direction"`
}

// Verdict tells whether a row may be read, and why not.
type Verdict struct {
	Enough bool   `json:"enough"`
	WhyNot string `json:"why_not"`
}

// AllTechnicians stands for every technician together.
const AllTechnicians = "all"

// Directions of AgreementFigures.
const (
	CallsMore  = "more"
	CallsFewer = "fewer"
	CallsSame  = "same"
)

const (
	// activePairs is how many pairs must have an active call for kappa to be read: the house's choice.
	activePairs = 10
	// agreementSites is the fewest clusters: 8 degrees of freedom (NCHS presentation standards, 2017).
	agreementSites = 9
	// callsLevel is the p, or q over technicians, at which one side is said to call more.
	callsLevel = 0.05
)

// RarelyActive reports whether so few of the calls compared are active, or so few clear, that kappa and
// AC1 part: one in ten, a yardstick of ours.
func (f AgreementFigures) RarelyActive() bool {
	share := f.ActiveShare()
	return share < 0.1 || share > 0.9
}

// ActiveShare is the share of active calls among all calls of the pairs.
func (f AgreementFigures) ActiveShare() Figure {
	return share(2*f.BothActive+f.OnlyThis+f.OnlyOther, 2*f.Pairs)
}

func (d *desk) agreement() error {
	pairs, q, err := run(d, "technician_agreement", d.months(), func(scan func(...any) error, p *agreement.Pair) error {
		return scan(&p.Site, &p.Point, &p.Visit, &p.First, &p.Second, &p.Before, &p.Afterward)
	})
	if err != nil {
		return err
	}
	rows, err := agreementRows(pairs, d.book.Floor)
	if err != nil {
		return fmt.Errorf("analysis technician_agreement: %w", err)
	}
	d.book.Agreement = rows
	d.conclude(q, rows)
	return nil
}

// agreementRows has all technicians together first; no row where no point was called twice.
func agreementRows(pairs []agreement.Pair, floor int) ([]AgreementRow, error) {
	rows := []AgreementRow{}
	names := []string{}
	if len(pairs) > 0 {
		names = append([]string{AllTechnicians}, techniciansOf(pairs)...)
	}
	figures, verdicts, err := agreements(names, pairs, floor)
	if err != nil {
		return nil, err
	}
	for i, name := range names {
		rows = append(rows, AgreementRow{TechnicianID: name, AgreementFigures: figures[i], Alpha: Unknown, AlphaLow: Unknown, AlphaHigh: Unknown, Verdict: verdicts[i]})
	}
	if ratings := agreement.Ratings(pairs); len(ratings) > 0 {
		alpha, err := agreement.Together(ratings, Confidence)
		if err != nil {
			return nil, err
		}
		rows[0].Alpha, rows[0].AlphaLow, rows[0].AlphaHigh = Figure(alpha.Value), Figure(alpha.Low), Figure(alpha.High)
	}
	setDirections(len(rows), func(i int) (string, *AgreementFigures, bool) {
		return rows[i].TechnicianID, &rows[i].AgreementFigures, rows[i].Enough
	})
	return rows, nil
}

func techniciansOf(pairs []agreement.Pair) []string {
	var out []string
	for _, p := range pairs {
		out = append(out, p.First, p.Second)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func agreements(names []string, pairs []agreement.Pair, floor int) (figures []AgreementFigures, verdicts []Verdict, err error) {
	for _, name := range names {
		own := pairs
		if name != AllTechnicians {
			own = agreement.Of(name, pairs)
		}
		m, err := agreement.Measure(own, Confidence)
		if err != nil {
			return nil, nil, fmt.Errorf("technician %s: %w", name, err)
		}
		f, err := agreementFigures(m, floor)
		if err != nil {
			return nil, nil, fmt.Errorf("technician %s: %w", name, err)
		}
		figures, verdicts = append(figures, f), append(verdicts, f.verdict(floor))
	}
	return figures, verdicts, nil
}

func agreementFigures(m agreement.Measured, floor int) (AgreementFigures, error) {
	f := AgreementFigures{Pairs: int64(m.Pairs), Unsure: int64(m.Unsure), Sites: int64(m.Sites), BothActive: int64(m.Both),
		OnlyThis: int64(m.OnlyFirst), OnlyOther: int64(m.OnlySecond), BothClear: int64(m.Neither)}
	rate, err := clusterRate(m.Agreed, floor)
	f.Agreement, f.AgreementLow, f.AgreementHigh = rate.Rate, rate.Low, rate.High
	f.Chance, f.Kappa, f.KappaLow, f.KappaHigh, f.AC1, f.AC1Low, f.AC1High = Unknown, Unknown, Unknown, Unknown, Unknown, Unknown, Unknown
	f.KappaDesign, f.DirectionP, f.DirectionQ = Unknown, Unknown, Unknown
	if m.Pairs == 0 {
		return f, err
	}
	kappa, ac1 := m.Calls.Kappa, m.Calls.AC1
	f.Chance, f.Kappa, f.KappaLow, f.KappaHigh = Figure(m.Calls.Table.Chance), Figure(kappa.Value), Figure(kappa.Low), Figure(kappa.High)
	f.AC1, f.AC1Low, f.AC1High = Figure(ac1.Value), Figure(ac1.Low), Figure(ac1.High)
	f.KappaDesign, f.DirectionP = Figure(m.Calls.KappaDesignEffect), Figure(m.DirectionP)
	return f, err
}

func (f AgreementFigures) verdict(floor int) Verdict {
	switch {
	case f.Pairs < int64(floor):
		return Verdict{WhyNot: belowFloor}
	case f.Sites < agreementSites:
		return Verdict{WhyNot: fmt.Sprintf("fewer than %d sites", agreementSites)}
	case f.Pairs-f.BothClear < activePairs:
		return Verdict{WhyNot: fmt.Sprintf("fewer than %d points with an active call", activePairs)}
	case !f.KappaLow.Known():
		return Verdict{WhyNot: "calls are all alike, so kappa has no interval"}
	}
	return Verdict{Enough: true}
}

// setDirections says which side calls more where there is enough to go by: over the rows of technicians
// together, and for all by itself.
func setDirections(n int, row func(i int) (technician string, f *AgreementFigures, enough bool)) {
	p := make([]float64, n)
	for i := range p {
		name, f, enough := row(i)
		if p[i] = float64(f.DirectionP); name == AllTechnicians || !enough {
			p[i] = math.NaN()
		}
	}
	adjusted := adjustedFDR(p)
	for i := range n {
		name, f, enough := row(i)
		f.DirectionQ = Figure(adjusted[i])
		by := f.DirectionQ
		if name == AllTechnicians && enough {
			by = f.DirectionP
		}
		f.Direction = direction(by, f.OnlyThis, f.OnlyOther)
	}
}

func direction(p Figure, this, other int64) string {
	switch {
	case !(p <= callsLevel):
		return CallsSame
	case this > other:
		return CallsMore
	}
	return CallsFewer
}

// adjustedFDR are Benjamini and Hochberg's q of p-values from 0 to 1, NaN where there is no test.
func adjustedFDR(p []float64) []float64 {
	adjusted, err := stats.AdjustPValues(p)
	if err != nil {
		return p // no tests at all: chances as they come cannot be out of range
	}
	return adjusted.BenjaminiHochberg
}

// calledTwice is a pair of calls with its material.
type calledTwice struct {
	material string
	agreement.Pair
}

func (d *desk) agreementMaterial() error {
	pairs, q, err := run(d, "agreement_material", d.months(), func(scan func(...any) error, p *calledTwice) error {
		return scan(&p.material, &p.Site, &p.Point, &p.Visit, &p.First, &p.Second, &p.Before, &p.Afterward)
	})
	if err != nil {
		return err
	}
	rows := []AgreementMaterialRow{}
	for _, part := range runsOf(pairs, func(a, b calledTwice) bool { return a.material == b.material }) {
		var own []agreement.Pair
		for _, p := range part {
			own = append(own, p.Pair)
		}
		names := append([]string{AllTechnicians}, techniciansOf(own)...)
		figures, verdicts, err := agreements(names, own, d.book.Floor)
		if err != nil {
			return fmt.Errorf("analysis agreement_material, %s: %w", part[0].material, err)
		}
		for i, name := range names {
			rows = append(rows, AgreementMaterialRow{part[0].material, name, figures[i], verdicts[i]})
		}
	}
	setDirections(len(rows), func(i int) (string, *AgreementFigures, bool) {
		return rows[i].TechnicianID, &rows[i].AgreementFigures, rows[i].Enough
	})
	d.book.AgreementMaterial = rows
	d.conclude(q, rows)
	return nil
}

// RepeatRow is how far one technician's repeated readings of the same point scatter.
type RepeatRow struct {
	TechnicianID string `json:"technician_id"`
	Sets         int64  `json:"sets"`
	Readings     int64  `json:"readings"`
	LevelSD      Figure `json:"level_sd"`
	LevelSDLow   Figure `json:"level_sd_low"`
	LevelSDHigh  Figure `json:"level_sd_high"`
	LevelLimit   Figure `json:"level_limit"`
	CallSets     int64  `json:"call_sets"`
	SameCalls    int64  `json:"same_calls"`
	SameShare    Figure `json:"same_share"`
	SameLow      Figure `json:"same_low"`
	SameHigh     Figure `json:"same_high"`
	Verdict
}

// repeatedSet is a set of repeated readings with who made them.
type repeatedSet struct {
	technician string
	agreement.Repeat
}

func (d *desk) repeatability() error {
	sets, q, err := run(d, "technician_repeats", d.clustered(d.clusters.Sites), func(scan func(...any) error, s *repeatedSet) error {
		var levels string
		if err := scan(&s.technician, &s.Site, &s.Active, &s.Clear, &levels); err != nil {
			return err
		}
		return s.read(levels)
	})
	if err != nil {
		return err
	}
	rows := []RepeatRow{}
	for _, name := range repeaters(sets) {
		row, err := repeatRow(name, sets, d.book.Floor)
		if err != nil {
			return fmt.Errorf("analysis technician_repeats, %s: %w", name, err)
		}
		rows = append(rows, row)
	}
	d.book.Repeats = rows
	d.conclude(q, rows)
	return nil
}

// read takes in the levels, which stand in one text.
func (s *repeatedSet) read(levels string) error {
	for _, text := range strings.Fields(levels) {
		var level float64
		if _, err := fmt.Sscan(text, &level); err != nil {
			return fmt.Errorf("level %q: %w", text, err)
		}
		s.Levels = append(s.Levels, level)
	}
	return nil
}

func repeaters(sets []repeatedSet) []string {
	if len(sets) == 0 {
		return nil
	}
	var names []string
	for _, s := range sets {
		names = append(names, s.technician)
	}
	slices.Sort(names)
	return append([]string{AllTechnicians}, slices.Compact(names)...)
}

func repeatRow(name string, sets []repeatedSet, floor int) (RepeatRow, error) {
	var own []agreement.Repeat
	for _, s := range sets {
		if name == AllTechnicians || s.technician == name {
			own = append(own, s.Repeat)
		}
	}
	m, err := agreement.Repeatability(own, Confidence)
	if err != nil {
		return RepeatRow{}, err
	}
	same, err := clusterRate(m.Same, floor)
	return RepeatRow{TechnicianID: name, Sets: int64(m.Sets), Readings: int64(m.Readings), LevelSD: Figure(m.SD.Value), LevelSDLow: Figure(m.SD.Low), LevelSDHigh: Figure(m.SD.High),
		LevelLimit: Figure(m.Limit), CallSets: int64(m.Same.Units), SameCalls: int64(m.Same.Events), SameShare: same.Rate, SameLow: same.Low, SameHigh: same.High,
		Verdict: Verdict{same.Enough, same.WhyNot}}, err
}
