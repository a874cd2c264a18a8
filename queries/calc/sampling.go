package calc

import (
	"errors"
	"fmt"
	"math"

	"scanledger/queries/stats"
)

var samplingMethods = []Method{
	method("oc-curve", "Chance of acceptance, outgoing quality and inspection of a single sampling plan",
		"Dodge & Romig 1959", ocCurve),
	method("code-letters", "Sample size code letters of lots by inspection level",
		"MIL-STD-105E 1989, Table I", codeLetterRows),
	method("single-sampling-normal", "Single sampling plans for normal inspection by code letter and AQL",
		"MIL-STD-105E 1989, Table II-A", samplingPlans),
	method("detection-sample-size", "Units to inspect to find at least one nonconforming",
		"Cannon & Roe 1982", detectionSampleSize),
	method("freedom-imperfect-test", "Chance of few positives from a test that errs, in an affected and a free population",
		"Cameron & Baldock 1998", freedomImperfectTest),
}

type ocIn struct {
	SampleSize count  `json:"sample_size" calc:"required"`
	Acceptance count  `json:"acceptance_number" calc:"required"`
	Proportion []real `json:"proportion_defective" calc:"required"`
	LotSize    *count `json:"lot_size"`
}

type ocOut struct {
	Binomial       []Num `json:"p_accept_binomial"`
	Poisson        []Num `json:"p_accept_poisson"`
	Hypergeometric []Num `json:"p_accept_hypergeometric,omitempty"`
	Defectives     []int `json:"defectives_in_lot,omitempty"`
	AOQ            []Num `json:"aoq_exact,omitempty"`
	AOQApprox      []Num `json:"aoq_approx_pa_times_p,omitempty"`
	ATI            []Num `json:"ati,omitempty"`
}

func ocCurve(in ocIn) (ocOut, error) {
	if len(in.Proportion) == 0 {
		return ocOut{}, errors.New(`field "proportion_defective" is empty; give at least one share`)
	}
	lot := 0
	if in.LotSize != nil {
		if lot = int(*in.LotSize); lot < 1 {
			return ocOut{}, fmt.Errorf("lot size is %d; give 1 or more, or leave it out", lot)
		}
	}
	curve, err := stats.OCCurve(int(in.SampleSize), int(in.Acceptance), lot, reals(in.Proportion))
	var out ocOut
	for _, p := range curve {
		out.Binomial = append(out.Binomial, Num(p.Binomial))
		out.Poisson = append(out.Poisson, Num(p.Poisson))
		if lot > 0 {
			out.Hypergeometric = append(out.Hypergeometric, Num(p.Hypergeometric))
			out.Defectives = append(out.Defectives, p.Defectives)
			out.AOQ = append(out.AOQ, Num(p.AOQ))
			out.AOQApprox = append(out.AOQApprox, Num(p.AOQApprox))
			out.ATI = append(out.ATI, Num(p.ATI))
		}
	}
	return out, err
}

type codeLettersIn struct {
	Low   []count  `json:"lot_size_low" calc:"required"`
	High  []*count `json:"lot_size_high"` // null for a last range without end
	Level string   `json:"inspection_level" calc:"required"`
}

type codeLettersOut struct {
	Letter     []*string `json:"code_letter"` // null where a range spans several letters
	SampleSize []Num     `json:"sample_size_normal_single"`
}

func codeLetterRows(in codeLettersIn) (codeLettersOut, error) {
	if in.High == nil { // single lots
		for i := range in.Low {
			in.High = append(in.High, &in.Low[i])
		}
	}
	if err := sameLengths("lot_size_low", len(in.Low), "lot_size_high", len(in.High)); err != nil {
		return codeLettersOut{}, err
	}
	var out codeLettersOut
	for i, low := range in.Low {
		letter, err := rangeLetter(int(low), in.High[i], in.Level)
		if err != nil {
			return codeLettersOut{}, fmt.Errorf("range %d: %w", i+1, err)
		}
		size := math.NaN()
		if letter != nil {
			n, err := stats.LetterSampleSize(*letter)
			if err != nil {
				return codeLettersOut{}, err
			}
			size = float64(n)
		}
		out.Letter, out.SampleSize = append(out.Letter, letter), append(out.SampleSize, Num(size))
	}
	return out, nil
}

// rangeLetter is the one letter of all lots from low to high, nil when there are several.
func rangeLetter(low int, high *count, level string) (*string, error) {
	end := math.MaxInt
	if high != nil {
		end = int(*high)
	}
	if end < low {
		return nil, fmt.Errorf("from %d to %d units; give the smaller lot first", low, end)
	}
	first, err := stats.CodeLetter(low, level)
	if err != nil {
		return nil, err
	}
	last, err := stats.CodeLetter(end, level)
	if err != nil || last != first {
		return nil, err
	}
	return &first, nil
}

type planQuery struct {
	Letter  string   `json:"code_letter"`
	AQL     *float64 `json:"aql_percent"`
	LotSize *count   `json:"lot_size"`
}

type plansIn struct {
	Query []*planQuery `json:"query" calc:"required"`
}

type planOut struct {
	Letter     string  `json:"code_letter"`
	AQL        float64 `json:"aql_percent"`
	Use        string  `json:"use_code_letter"`
	SampleSize int     `json:"sample_size"`
	Accept     int     `json:"ac"`
	Reject     int     `json:"re"`
	Inspected  *int    `json:"units_inspected,omitempty"` // of a lot of lot_size, where given
}

type plansOut struct {
	Plans []planOut `json:"plans"`
}

func samplingPlans(in plansIn) (plansOut, error) {
	if len(in.Query) == 0 {
		return plansOut{}, errors.New(`field "query" is empty; give at least one code letter and AQL`)
	}
	var out plansOut
	for i, q := range in.Query {
		if q == nil {
			return plansOut{}, fmt.Errorf("query %d is null; give a code letter and an AQL", i+1)
		}
		plan, err := q.plan()
		if err != nil {
			return plansOut{}, fmt.Errorf("query %d: %w", i+1, err)
		}
		out.Plans = append(out.Plans, plan)
	}
	return out, nil
}

func (q planQuery) plan() (planOut, error) {
	if q.AQL == nil {
		return planOut{}, errors.New(`field "aql_percent" is missing`)
	}
	p, err := stats.NormalPlan(q.Letter, *q.AQL)
	if err != nil {
		return planOut{}, err
	}
	out := planOut{q.Letter, *q.AQL, p.Letter, p.SampleSize, p.Accept, p.Reject, nil}
	if q.LotSize != nil {
		if *q.LotSize < 1 {
			return planOut{}, fmt.Errorf("lot size is %d; give 1 or more, or leave it out", *q.LotSize)
		}
		units := p.Inspected(int(*q.LotSize))
		out.Inspected = &units
	}
	return out, nil
}

type sampleSizeIn struct {
	LotSize       []count `json:"lot_size" calc:"required"`
	Nonconforming []count `json:"nonconforming" calc:"required"`
	Confidence    float64 `json:"confidence" calc:"required"`
}

type sampleSizeOut struct {
	Exact     []int `json:"n_exact_hypergeometric"`
	Achieved  []Num `json:"achieved"`
	Formula   []Num `json:"n_cannon_roe_formula"`
	RoundedUp []int `json:"n_cannon_roe_rounded_up"`
	Binomial  []int `json:"n_binomial_infinite_lot"`
}

// maxLots keeps the searches within seconds.
const maxLots = 10_000

func detectionSampleSize(in sampleSizeIn) (sampleSizeOut, error) {
	if err := sameLengths("lot_size", len(in.LotSize), "nonconforming", len(in.Nonconforming)); err != nil {
		return sampleSizeOut{}, err
	}
	if n := len(in.LotSize); n > maxLots {
		return sampleSizeOut{}, fmt.Errorf("%d lots; give at most %d", n, maxLots)
	}
	var out sampleSizeOut
	for i, lot := range in.LotSize {
		d, err := stats.DetectionSampleSize(int(lot), int(in.Nonconforming[i]), in.Confidence)
		if err != nil {
			return sampleSizeOut{}, fmt.Errorf("lot %d: %w", i+1, err)
		}
		out.Exact = append(out.Exact, d.SampleSize)
		out.Achieved = append(out.Achieved, Num(d.Achieved))
		out.Formula = append(out.Formula, Num(d.CannonRoe))
		out.RoundedUp = append(out.RoundedUp, d.CannonRoeNeeded)
		out.Binomial = append(out.Binomial, d.InfiniteLot)
	}
	return out, nil
}

type freedomIn struct {
	Population  count   `json:"population" calc:"required"`
	Diseased    count   `json:"diseased_design" calc:"required"`
	Sample      count   `json:"sample" calc:"required"`
	Positives   count   `json:"positives_at_most" calc:"required"`
	Sensitivity float64 `json:"sensitivity" calc:"required"`
	Specificity float64 `json:"specificity" calc:"required"`
}

type freedomOut struct {
	AtDesign        Num `json:"p_at_most_x_given_design_prevalence"`
	HerdSensitivity Num `json:"herd_sensitivity"`
	IfFree          Num `json:"p_at_most_x_given_free"`
}

func freedomImperfectTest(in freedomIn) (freedomOut, error) {
	f, err := stats.FreedomFromImperfectTest(stats.FreedomInput{
		Population: int(in.Population), Marked: int(in.Diseased), Sample: int(in.Sample), Positives: int(in.Positives),
		Sensitivity: in.Sensitivity, Specificity: in.Specificity,
	})
	return freedomOut{Num(f.AtDesign), Num(f.HerdSensitivity), Num(f.IfFree)}, err
}

// sameLengths refuses arrays that belong together and differ in length, or are empty.
func sameLengths(nameA string, a int, nameB string, b int) error {
	if a != b || a == 0 {
		return fmt.Errorf("%d values of %q and %d of %q; give one of each", a, nameA, b, nameB)
	}
	return nil
}
