package stats

import (
	"math/rand/v2"
	"testing"
)

// separatedRows draws n rows of a constant and p-1 continuous columns, no two rows alike, whose
// first column tells the outcomes apart without error.
func separatedRows(n, p int) GLMInput {
	r := rand.New(rand.NewPCG(1, uint64(n)))
	in := GLMInput{Y: make([]float64, n), Family: Binomial}
	for i := range n {
		row := []float64{1}
		for range p - 1 {
			row = append(row, r.NormFloat64())
		}
		if row[1] > 0 {
			in.Y[i] = 1
		}
		in.X = append(in.X, row)
	}
	return in
}

func BenchmarkFirthSeparated(b *testing.B) {
	in := separatedRows(2000, 5)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := FitFirth(in, 0.95); err != nil {
			b.Fatal(err)
		}
	}
}
