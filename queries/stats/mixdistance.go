package stats

import (
	"errors"
	"fmt"
	"math"
)

// MixDistance tells how far apart two mixes of the same ordered categories are.
type MixDistance struct {
	TotalVariation float64    // ½Σ|p-q|, 0 to 1: the share that would have to move
	Hellinger      float64    // sqrt(½Σ(√p-√q)²), 0 to 1
	EarthMover     float64    // Σ|P-Q| of the cumulated shares: mean steps a unit must move
	KullbackNats   [2]float64 // Σ p ln(p/q) and Σ q ln(q/p); +Inf where the second lacks a category of the first
	JensenShannon  float64    // in nats, equal weights, 0 to ln 2
}

// JensenShannonDistance is the square root of the divergence in bits, 0 to 1, a metric (Endres and
// Schindelin 2003).
func JensenShannonDistance(nats float64) float64 { return math.Sqrt(nats / math.Ln2) }

// DistanceOfMixes compares two mixes given as shares of the same length that sum to 1. Sources:
// Hellinger 1909; Kullback and Leibler 1951; Lin 1991; Rubner, Tomasi and Guibas 2000 for the earth mover's
// distance, here with unit steps between neighbours. A mix with NaN shares gives NaN throughout.
func DistanceOfMixes(p, q []float64) (MixDistance, error) {
	if len(p) == 0 || len(p) != len(q) {
		return MixDistance{}, fmt.Errorf("mixes of %d and %d categories: give two of the same", len(p), len(q))
	}
	for i := range p {
		if p[i] < 0 || q[i] < 0 {
			return MixDistance{}, errors.New("mixes: give shares of 0 or more")
		}
	}
	var out MixDistance
	gap, squares := 0.0, 0.0
	for i := range p {
		out.TotalVariation += math.Abs(p[i]-q[i]) / 2
		squares += square(math.Sqrt(p[i])-math.Sqrt(q[i])) / 2
		gap += p[i] - q[i]
		out.EarthMover += math.Abs(gap)
	}
	out.Hellinger = min(1, math.Sqrt(squares))
	out.TotalVariation = min(1, out.TotalVariation)
	out.KullbackNats = [2]float64{kullback(p, q), kullback(q, p)}
	out.JensenShannon = jensenShannon([][]float64{p, q}, []float64{0.5, 0.5})
	return out, nil
}

// Shares turns counts into shares of their sum; NaN when it is 0.
func Shares(counts []int) []float64 {
	total := 0.0
	for _, c := range counts {
		total += float64(c)
	}
	out := make([]float64, len(counts))
	for i, c := range counts {
		out[i] = float64(c) / total
	}
	return out
}

// entropy is -Σ p ln p in nats.
func entropy(p []float64) float64 {
	sum := 0.0
	for _, v := range p {
		if v != 0 {
			sum -= v * math.Log(v)
		}
	}
	return sum
}

func giniSimpson(p []float64) float64 {
	sum := 1.0
	for _, v := range p {
		sum -= v * v
	}
	return sum
}

// kullback is Σ p ln(p/q), +Inf where q lacks a category of p.
func kullback(p, q []float64) float64 {
	sum := 0.0
	for i, v := range p {
		sum += xLogRatio(v, q[i])
	}
	return max(0, sum)
}

// jensenShannon is Σ w KL(p || Σ w p) over the mixes, which loses fewer digits than the difference
// of entropies when the mixes are close.
func jensenShannon(mixes [][]float64, weights []float64) float64 {
	centre := make([]float64, len(mixes[0]))
	for i, p := range mixes {
		for j, v := range p {
			centre[j] += weights[i] * v
		}
	}
	sum := 0.0
	for i, p := range mixes {
		sum += weights[i] * kullback(p, centre)
	}
	return sum
}
