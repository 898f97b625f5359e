package season

import (
	"hash/fnv"
	"math/rand/v2"
)

// chance returns the random numbers of one purpose. Each purpose has its own,
// so that a new one, or one more athlete, does not move the others.
func chance(seed uint64, purpose ...string) *rand.Rand {
	h := fnv.New64a()
	for _, p := range purpose {
		_, _ = h.Write([]byte(p)) // a hash never fails
		_, _ = h.Write([]byte{0})
	}
	return rand.New(rand.NewPCG(seed, h.Sum64())) //nolint:gosec // a reproducible season, no secret
}

// normal draws from N(mean, sd) and keeps the value between low and high.
func normal(r *rand.Rand, mean, sd, low, high float64) float64 {
	return min(max(mean+sd*r.NormFloat64(), low), high)
}

// uniform draws a whole number from low to high, both included.
func uniform(r *rand.Rand, low, high int) int { return low + r.IntN(high-low+1) }
