package engine

import (
	"testing"

	"canter.example/schemas"
)

// TestFallAgainstTheRise: nothing makes heart rate fall when a run has just
// begun, so even a small sudden fall there is doubted; the steep rise itself is
// not, however seldom it was sampled.
func TestFallAgainstTheRise(t *testing.T) {
	steep := run(80, 160, 14, 45)
	for seed := range uint64(8) {
		fall := traceOf(1300, 1, rough(seed, 0.6, func(at float64) float64 {
			if at >= 611 {
				return steep(at) - 10
			}
			return steep(at)
		}))
		if o := one(t, Score(fall, Request{Protocol: fourMinutes(), HRmax: measured(195)})); o.Quality == schemas.Good {
			t.Errorf("seed %d: a fall of 10 bpm 11 s into the run is called good", seed)
		}
		for _, interval := range []int{3, 4, 5} {
			sound := traceOf(1300, interval, rough(seed, 0.6, steep))
			if o := one(t, Score(sound, Request{Protocol: fourMinutes(), HRmax: measured(195)})); o.Quality != schemas.Good {
				t.Errorf("seed %d, a sample every %d s: %v", seed, interval, o.Reasons)
			}
		}
	}
}
