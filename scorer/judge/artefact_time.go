package judge

import (
	"math/rand/v2"
	"slices"
	"time"
)

// clockFault spoils the times of stored samples. Samples from the first of the
// test on are given as index a.
type clockFault struct {
	name  string
	spoil func(samples []Sample, a, severity int, r *rand.Rand) []Sample
}

var clockFaults = []clockFault{
	{"irregular sampling", func(in []Sample, _, severity int, r *rand.Rand) []Sample {
		var out []Sample
		for i := 0; i < len(in); i += secs(r, 1, 1+2*severity) {
			out = append(out, in[i])
		}
		return out
	}},
	{"duplicate times", func(in []Sample, _, severity int, r *rand.Rand) []Sample {
		var out []Sample
		for _, s := range in {
			out = append(out, s)
			if r.Float64() < 0.04*float64(severity) {
				again := s
				if again.HR > 0 {
					again.HR += secs(r, -2, 2)
				}
				out = append(out, again)
			}
		}
		return out
	}},
	// The clock jumps back by some seconds for a short while, and is right again.
	{"backward times", func(in []Sample, a, severity int, r *rand.Rand) []Sample {
		out := slices.Clone(in)
		for range severity {
			from, n := secs(r, a-30, a+240), secs(r, 1, 4*severity)
			back := -time.Duration(secs(r, 2, 8*severity)) * time.Second
			for i := max(from, 0); i < min(from+n, len(out)); i++ {
				out[i].At = out[i].At.Add(back)
			}
		}
		return out
	}},
}
