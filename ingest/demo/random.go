package demo

import (
	"crypto/sha256"
	"encoding/binary"
	"math"
	"math/rand/v2"
)

// stream gives the random numbers for one purpose. Streams are independent of one another, so a
// further purpose or a further site shifts nobody else's draws.
func stream(seed uint64, purpose string, keys ...int) *rand.Rand {
	name := binary.BigEndian.AppendUint64([]byte(purpose+"\x00"), seed)
	for _, k := range keys {
		name = binary.BigEndian.AppendUint64(name, uint64(k))
	}
	sum := sha256.Sum256(name)
	return rand.New(rand.NewPCG(binary.BigEndian.Uint64(sum[:8]), binary.BigEndian.Uint64(sum[8:16])))
}

func chance(r *rand.Rand, p float64) bool { return r.Float64() < p }

func between(r *rand.Rand, low, high float64) float64 { return low + (high-low)*r.Float64() }

// effect draws a factor with mean 1 whose logarithm has the given standard deviation.
func effect(r *rand.Rand, sigma float64) float64 {
	return math.Exp(sigma*r.NormFloat64() - sigma*sigma/2)
}

// weighted draws a position with chances in proportion to the weights.
func weighted(r *rand.Rand, weights []float64) int {
	total := 0.0
	for _, w := range weights {
		total += w
	}
	x := total * r.Float64()
	for i, w := range weights {
		if x < w {
			return i
		}
		x -= w
	}
	return len(weights) - 1
}

// pick draws one of the items.
func pick[T any](r *rand.Rand, items []T) T { return items[r.IntN(len(items))] }

// tenths rounds to one decimal.
func tenths(x float64) float64 { return math.Round(10*x) / 10 }
