package engine

import (
	"testing"

	"canter.example/schemas"
)

// TestHeartRateThatRisesAsTheRunStops: readings that wander off in the run and
// are right again as soon as it stops show nothing sudden before; that they rise
// then does.
func TestHeartRateThatRisesAsTheRunStops(t *testing.T) {
	steady := run(90, 160, 22, 40)
	sound := func(at float64) float64 { // heart rate holds for some seconds
		if at >= 840 {
			return steady(max(at-5, 839.9))
		}
		return steady(at)
	}
	for _, interval := range []int{1, 4} {
		for _, c := range []struct {
			low     float64 // bpm at the end of the run
			doubted bool
		}{{0, false}, {-6, true}} {
			doubted := 0
			const seeds = 10
			for seed := range uint64(seeds) {
				tr := traceOf(1300, interval, rough(seed, 0.8, func(at float64) float64 {
					if at >= 680 && at < 840 {
						return sound(at) + c.low*(at-680)/160
					}
					return sound(at)
				}))
				o := one(t, Score(tr, Request{Protocol: fourMinutes(), HRmax: measured(195)}))
				if has(o, schemas.ReasonArtefacts) {
					doubted++
				}
			}
			if c.doubted && doubted < seeds-3 || !c.doubted && doubted > 0 {
				t.Errorf("%+.0f bpm at the end, a sample every %d s: %d of %d doubted", c.low, interval, doubted, seeds)
			}
		}
	}
}

// TestUndone: a rise at the stop counts by itself when it is surely wrong, and less
// of it does where a fall in the run says the same.
func TestUndone(t *testing.T) {
	for _, c := range []struct {
		name   string
		change change
		rise   estimate
		undone bool
	}{
		{"a large rise", change{}, estimate{6, 1}, true},
		{"a large rise, hardly known", change{}, estimate{6, 3}, false},
		{"a rise that does no harm", change{}, estimate{2.5, 0.2}, false},
		{"a fall and a rise alike", change{size: -4, gain: 8}, estimate{4.2, 1.2}, true},
		{"the same, both too small", change{size: -2.5, gain: 8}, estimate{2.6, 1.2}, false},
		{"the same, neither sure", change{size: -4, gain: 2}, estimate{4, 3}, false},
		{"a rise in the run and at the stop", change{size: 4, gain: 8}, estimate{4.2, 1.2}, false},
		{"a fall in the run and at the stop", change{size: -4, gain: 8}, estimate{-4.2, 1.2}, false},
	} {
		if got := c.change.undone(c.rise); got != c.undone {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}
