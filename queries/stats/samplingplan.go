package stats

import (
	"fmt"
	"slices"
	"strings"
)

// codeLetters are the rows of the master table; I and O are left out as too like figures.
const codeLetters = "ABCDEFGHJKLMNPQR"

// rowSamples are the sample sizes of the rows of codeLetters.
var rowSamples = [...]int{2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000}

// lotLimits are the largest lots of the rows of MIL-STD-105E Table I; the last row has no limit.
var lotLimits = [...]int{8, 15, 25, 50, 90, 150, 280, 500, 1200, 3200, 10_000, 35_000, 150_000, 500_000}

// levelLetters holds, by inspection level, the letter of each row of MIL-STD-105E Table I.
var levelLetters = map[string]string{
	"S-1": "AAAABBBBCCCCDDD",
	"S-2": "AAABBBCCCDDDEEE",
	"S-3": "AABBCCDDEEFFGGH",
	"S-4": "AABCCDEEFGGHJJK",
	"I":   "AABCCDEFGHJKLMN",
	"II":  "ABCDEFGHJKLMNPQ",
	"III": "BCDEFGHJKLMNPQR",
}

// CodeLetter gives the sample size code letter of a lot of so many units at an inspection level:
// S-1 to S-4, I, II or III. Source: MIL-STD-105E (1989) Table I, the same as ISO 2859-1:1999 Table 1.
// A lot below 2 units and an unknown level are errors.
func CodeLetter(lot int, level string) (string, error) {
	letters, ok := levelLetters[level]
	if !ok {
		return "", fmt.Errorf("inspection level %q is not in the table; give S-1, S-2, S-3, S-4, I, II or III", level)
	}
	if lot < 2 {
		return "", fmt.Errorf("a lot of %d has no code letter; the table starts at 2 units", lot)
	}
	row, _ := slices.BinarySearch(lotLimits[:], lot)
	return letters[row : row+1], nil
}

// LetterSampleSize is the sample size of a code letter under normal single sampling, before an arrow
// or a small lot changes it. A letter the table does not have is an error.
func LetterSampleSize(letter string) (int, error) {
	row, err := rowOf(letter)
	if err != nil {
		return 0, err
	}
	return rowSamples[row], nil
}

func rowOf(letter string) (int, error) {
	row := strings.Index(codeLetters, letter)
	if len(letter) != 1 || row < 0 {
		return 0, fmt.Errorf("code letter %q is not in the table; give one of %s", letter, codeLetters)
	}
	return row, nil
}

// SamplingPlan is a single sampling plan by attributes.
type SamplingPlan struct {
	Letter     string // the row the plan stands in
	SampleSize int    // units to inspect; see Inspected for a small lot
	Accept     int    // Ac: the lot passes with at most so many nonconforming units
	Reject     int    // Re: it fails with so many or more
}

// preferredAQL are the columns of the master table, in nonconforming units per 100 (above 10: in
// nonconformities per 100 units only).
var preferredAQL = [...]float64{
	0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5,
	10, 15, 25, 40, 65, 100, 150, 250, 400, 650, 1000,
}

// The master table is made of diagonals: one row down the sample grows by about 1.6, one column
// right the AQL does, and a plan depends on their sum alone. The plan with Ac 0 stands on diagonal
// 14, an arrow up on 15 and down on 16, and the Ac of acceptDiagonals follow.
const zeroDiagonal = 14

var acceptDiagonals = [...]int{1, 2, 3, 5, 7, 10, 14, 21, 30, 44}

// Ac 30 and 44 are given from AQL 150 only; to the left the table ends at Ac 21.
const (
	firstLongColumn = 21
	lastShort       = 21
)

// NormalPlan gives the single sampling plan for normal inspection in the row of a code letter and
// the column of an AQL in per cent, following the arrows to the row where a plan stands. Source:
// MIL-STD-105E (1989) Table II-A, the same as ISO 2859-1:1999 Table 2-A up to its row R. A letter or
// an AQL the table does not have is an error.
func NormalPlan(letter string, aqlPercent float64) (SamplingPlan, error) {
	row, err := rowOf(letter)
	if err != nil {
		return SamplingPlan{}, err
	}
	column := slices.Index(preferredAQL[:], aqlPercent)
	if column < 0 {
		return SamplingPlan{}, fmt.Errorf("AQL %g %% is not a column of the table; give one of %v", aqlPercent, preferredAQL)
	}
	accept, step := cell(row, column)
	for step != 0 {
		row += step
		accept, step = cell(row, column)
	}
	return SamplingPlan{codeLetters[row : row+1], rowSamples[row], accept, accept + 1}, nil
}

// cell is one cell of the master table: an acceptance number, or the step of its arrow, -1 up and
// +1 down. An arrow that would leave the table points the other way.
func cell(row, column int) (accept, step int) {
	const up, down = -1, 1
	diagonal := row + column - zeroDiagonal
	switch {
	case diagonal == 0:
		return 0, 0
	case diagonal < 0, diagonal == 1 && row == 0:
		return 0, down
	case diagonal == 1:
		return 0, up
	case diagonal == 2 && row == len(rowSamples)-1:
		return 0, up
	case diagonal == 2:
		return 0, down
	case diagonal-3 >= len(acceptDiagonals):
		return 0, up
	}
	accept = acceptDiagonals[diagonal-3]
	if accept > lastShort && column < firstLongColumn {
		return 0, up
	}
	return accept, 0
}

// Inspected is how many units of a lot the plan inspects: the sample, or every unit where the lot
// is no larger (MIL-STD-105E 4.9.4: 100 per cent inspection).
func (p SamplingPlan) Inspected(lot int) int { return min(p.SampleSize, lot) }
