package stats

import (
	"errors"
	"fmt"
	"math"
)

// CrossedGauge is the analysis of a crossed gauge study. Sums of squares, degrees of freedom and
// mean squares are those of part, operator, interaction and error, in that order; F and P those of
// the first three. Variances are in the squared unit of the values.
type CrossedGauge struct {
	SumOfSquares, MeanSquare [4]float64
	DF                       [4]int
	F, P                     [3]float64
	Interaction              GaugeComponents // from the model with interaction
	Pooled                   GaugeComponents // interaction merged into the error
	PooledF                  [2]float64      // part and operator over the pooled error
	Range                    AverageAndRange
}

// GaugeComponents are variance components, a negative one set to 0. NaN where the study has too
// few parts, operators or trials to say.
type GaugeComponents struct {
	Repeatability float64 // within: the instrument
	Interaction   float64 // operators who differ by part; 0 in the pooled model
	Operator      float64
	Part          float64
}

// Reproducibility is operator plus interaction.
func (c GaugeComponents) Reproducibility() float64 { return c.Operator + c.Interaction }

// Gauge is repeatability plus reproducibility.
func (c GaugeComponents) Gauge() float64 { return c.Repeatability + c.Reproducibility() }

// Total is gauge plus part.
func (c GaugeComponents) Total() float64 { return c.Gauge() + c.Part }

// Contribution is the gauge's share of the total variance in per cent.
func (c GaugeComponents) Contribution() float64 { return 100 * c.Gauge() / c.Total() }

// StudyVariation is the gauge's standard deviation in per cent of the total one.
func (c GaugeComponents) StudyVariation() float64 { return 100 * math.Sqrt(c.Gauge()/c.Total()) }

// DistinctCategories is 1.41 times part over gauge standard deviation, not truncated: how many
// groups of parts the gauge can tell apart.
func (c GaugeComponents) DistinctCategories() float64 { return 1.41 * math.Sqrt(c.Part/c.Gauge()) }

// GaugeStudy analyses values[part][operator][trial], every operator measuring every part equally
// often. Two-way random analysis of variance: part and operator are tested against the interaction,
// the interaction against the error; with p parts, o operators, r trials the components are error
// MSE, interaction (MSPO-MSE)/r, operator (MSO-MSPO)/pr and part (MSP-MSPO)/or, and in the pooled model
// the same with the pooled error for MSPO. Assumes random normal effects. Source: AIAG Measurement
// Systems Analysis, 4th ed. (2010); Burdick, Borror and Montgomery (2003). A study that is not crossed
// and balanced is an error; figures that need more parts, operators or trials, or a spread above 0, are NaN.
func GaugeStudy(values [][][]float64) (CrossedGauge, error) {
	s, err := newGaugeTable(values)
	if err != nil {
		return CrossedGauge{}, err
	}
	out := CrossedGauge{Range: s.averageAndRange()}
	p, o, r := s.parts, s.operators, s.trials
	out.DF = [4]int{p - 1, o - 1, (p - 1) * (o - 1), p * o * (r - 1)}
	out.SumOfSquares = s.sumsOfSquares()
	for i, ss := range out.SumOfSquares {
		out.MeanSquare[i] = ss / float64(out.DF[i]) // 0/0 without degrees of freedom
	}
	ms := out.MeanSquare
	for i, below := range [3]int{2, 2, 3} {
		out.F[i] = ms[i] / ms[below]
		out.P[i] = fUpperTail(out.F[i], float64(out.DF[i]), float64(out.DF[below]))
	}
	out.Interaction = s.components(ms, ms[2])
	out.Interaction.Repeatability = ms[3]
	out.Interaction.Interaction = max(0, (ms[2]-ms[3])/float64(r))
	pooled := (out.SumOfSquares[2] + out.SumOfSquares[3]) / float64(out.DF[2]+out.DF[3])
	out.Pooled = s.components(ms, pooled)
	out.Pooled.Repeatability = pooled
	out.PooledF = [2]float64{ms[0] / pooled, ms[1] / pooled}
	return out, nil
}

// gaugeTable is a study with its means.
type gaugeTable struct {
	parts, operators, trials int
	values                   [][][]float64
	cell                     [][]float64
	part, operator           []float64
	grand                    float64
}

func newGaugeTable(values [][][]float64) (gaugeTable, error) {
	if len(values) == 0 || len(values[0]) == 0 || len(values[0][0]) == 0 {
		return gaugeTable{}, errors.New("values: give at least one part, operator and trial")
	}
	s := gaugeTable{
		parts: len(values), operators: len(values[0]), trials: len(values[0][0]), values: values,
		operator: make([]float64, len(values[0])),
	}
	byOperator := make([][]float64, s.operators)
	for i, part := range values {
		if len(part) != s.operators {
			return s, fmt.Errorf("values: part %d has %d operators of %d: every operator must measure every part", i+1, len(part), s.operators)
		}
		row := make([]float64, s.operators)
		for j, trials := range part {
			name := fmt.Sprintf("values: part %d, operator %d", i+1, j+1)
			if len(trials) != s.trials {
				return s, fmt.Errorf("%s has %d trials of %d: give every cell the same", name, len(trials), s.trials)
			}
			if err := checkFinite(name, trials...); err != nil {
				return s, err
			}
			row[j] = meanOf(trials)
			byOperator[j] = append(byOperator[j], row[j])
		}
		s.cell = append(s.cell, row)
		s.part = append(s.part, meanOf(row))
	}
	for j, column := range byOperator {
		s.operator[j] = meanOf(column)
	}
	s.grand = meanOf(s.part)
	return s, nil
}

// sumsOfSquares are those of part, operator, interaction and error.
func (s gaugeTable) sumsOfSquares() (ss [4]float64) {
	for i := range s.parts {
		ss[0] += square(s.part[i]-s.grand) * float64(s.operators*s.trials)
		for j := range s.operators {
			ss[2] += square(s.cell[i][j]-s.part[i]-s.operator[j]+s.grand) * float64(s.trials)
			ss[3] += sumOfSquaredDeviations(s.values[i][j])
		}
	}
	for _, m := range s.operator {
		ss[1] += square(m-s.grand) * float64(s.parts*s.trials)
	}
	return ss
}

// components gives part and operator against the mean square below them.
func (s gaugeTable) components(ms [4]float64, below float64) GaugeComponents {
	return GaugeComponents{
		Operator: max(0, (ms[1]-below)/float64(s.parts*s.trials)),
		Part:     max(0, (ms[0]-below)/float64(s.operators*s.trials)),
	}
}
