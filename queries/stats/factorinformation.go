package stats

import (
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// factorInformation is the information in blocks: of the rest, the diagonal of the largest factor, and what they share, a row
// for each level.
type factorInformation struct {
	rest     *mat.SymDense
	diagonal []float64
	shared   *mat.Dense
}

// reduce takes the largest factor out of the information: what is left of the rest (its Schur complement), factorized, and
// the shared block over the diagonal.
func (i factorInformation) reduce() (factor mat.Cholesky, over *mat.Dense, err error) {
	left := mat.NewSymDense(i.rest.SymmetricDim(), nil)
	left.CopySym(i.rest)
	if i.shared != nil {
		over = mat.DenseCopyOf(i.shared)
		for level, d := range i.diagonal {
			floats.Scale(1/d, over.RawRowView(level))
		}
		var taken mat.Dense
		taken.Mul(i.shared.T(), over)
		for a := range left.SymmetricDim() {
			for b := a; b < left.SymmetricDim(); b++ {
				left.SetSym(a, b, left.At(a, b)-taken.At(a, b))
			}
		}
	}
	if !factor.Factorize(left) {
		return factor, nil, errNoInformation
	}
	return factor, over, nil
}

// solve is the inverse of the information times the score.
func (s *factorSearch) solve(at factorPoint) ([]float64, error) {
	factor, over, err := at.information.reduce()
	if err != nil {
		return nil, err
	}
	ofRest := mat.NewVecDense(len(s.rest), nil)
	for i, j := range s.rest {
		ofRest.SetVec(i, at.score[j])
	}
	var by, moved mat.VecDense
	if over != nil {
		moved.MulVec(over.T(), mat.NewVecDense(len(at.information.diagonal), s.ofLargest(at.score)))
		ofRest.SubVec(ofRest, &moved)
	}
	if err := factor.SolveVecTo(&by, ofRest); err != nil {
		return nil, err
	}
	out := make([]float64, len(at.score))
	for i, j := range s.rest {
		out[j] = by.AtVec(i)
	}
	if over != nil {
		moved.Reset()
		moved.MulVec(over, &by)
		own, score := s.ofLargest(out), s.ofLargest(at.score)
		for level, d := range at.information.diagonal {
			own[level] = score[level]/d - moved.AtVec(level)
		}
	}
	return out, nil
}

// ofLargest is the part of a vector that belongs to the levels of the largest factor.
func (s *factorSearch) ofLargest(v []float64) []float64 {
	return v[s.first[s.largest]:][:s.m.Levels[s.largest]]
}

// inverse is that of the information, by blocks.
func (s *factorSearch) inverse(i factorInformation) (*mat.SymDense, error) {
	factor, over, err := i.reduce()
	if err != nil {
		return nil, err
	}
	var ofRest mat.SymDense
	if err := factor.InverseTo(&ofRest); err != nil {
		return nil, err
	}
	out := mat.NewSymDense(len(s.centre), nil)
	for a, j := range s.rest {
		for b, k := range s.rest[:a+1] {
			out.SetSym(j, k, ofRest.At(a, b))
		}
	}
	if over == nil {
		return out, nil
	}
	var crossed, ofLargest mat.Dense
	crossed.Mul(over, &ofRest)
	ofLargest.Mul(&crossed, over.T())
	first := s.first[s.largest]
	for level, d := range i.diagonal {
		for b, k := range s.rest {
			out.SetSym(first+level, k, -crossed.At(level, b))
		}
		for other := range level {
			out.SetSym(first+level, first+other, ofLargest.At(level, other))
		}
		out.SetSym(first+level, first+level, 1/d+ofLargest.At(level, level))
	}
	return out, nil
}
