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

// TestSlipsThatFewSamplesShow: every 3 to 5 s is often enough to see that heart
// rate falls when the run has just begun, or leaps while the athlete waits for it.
func TestSlipsThatFewSamplesShow(t *testing.T) {
	sound := run(90, 160, 22, 40)
	for _, c := range []struct {
		name     string
		from, by float64
		interval int
	}{
		{"falls at the start", 599, -11, 3}, {"falls at the start", 599, -12, 5}, {"falls in the rise", 616, -10, 3},
		{"leaps before the run", 560, 8, 4}, {"falls before the run", 555, -8, 4},
	} {
		good := 0
		const seeds = 10
		for seed := range uint64(seeds) {
			tr := traceOf(1300, c.interval, rough(seed, 1, func(at float64) float64 {
				if at >= c.from {
					return sound(at) + c.by
				}
				return sound(at)
			}))
			if o := one(t, Score(tr, Request{Protocol: fourMinutes(), HRmax: measured(195)})); o.Quality == schemas.Good {
				good++
			}
		}
		if good > 2 {
			t.Errorf("%s by %.0f bpm at %+.0f s, a sample every %d s: %d of %d called good", c.name, c.by, c.from-600, c.interval, good, seeds)
		}
	}
}
