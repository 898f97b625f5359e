package engine

import (
	"math"
	"testing"

	"canter.example/schemas"
)

// TestSlipsWhileHeartRateRises: a change of level that stays hides in the rise
// where samples are few, whichever way it goes; fast rises alone are good.
func TestSlipsWhileHeartRateRises(t *testing.T) {
	const seeds = 10
	good := func(interval int, hr func(at float64) float64) (n int) {
		for seed := range uint64(seeds) {
			tr := traceOf(1300, interval, rough(seed, 1, hr))
			if one(t, Score(tr, Request{Protocol: fourMinutes(), HRmax: measured(195)})).Quality == schemas.Good {
				n++
			}
		}
		return n
	}
	for _, tau := range []float64{14, 22, 40} {
		sound := run(90, 155, tau, 40)
		for _, interval := range []int{2, 4, 5} {
			if n := good(interval, sound); n < seeds-1 {
				t.Errorf("sound, tau %.0f s, a sample every %d s: %d of %d good", tau, interval, n, seeds)
			}
		}
	}
	sound := run(90, 155, 28, 40)
	for _, c := range []struct {
		after, by float64 // s from the start, bpm
		interval  int
	}{{6, 14, 5}, {10, 14, 4}, {14, 10, 3}, {6, -14, 4}, {14, -10, 5}} {
		if n := good(c.interval, raised(sound, 600+c.after, c.by)); n > 2 {
			t.Errorf("%+.0f bpm %.0f s into the run, a sample every %d s: %d of %d called good", c.by, c.after, c.interval, n, seeds)
		}
	}
}

// TestEarlyChangeIsMeasured: its size and place, beside an onset and time
// constants that are not those of the response that fits best alone.
func TestEarlyChangeIsMeasured(t *testing.T) {
	sound := run(90, 155, 28, 40)
	for _, by := range []float64{-14, 14} {
		w, c := placed(t, traceOf(1300, 4, rough(2, 0.7, raised(sound, 610, by))))
		sh, _ := w.finder.shapeOf(c)
		ch, readings := w.finder.earlyChange(&sh)
		if at := w.finder.grid.time(ch.at); math.Abs(at-610) > 5 || math.Abs(ch.size-by) > 4 {
			t.Errorf("%+.0f bpm at 610 s: found %+.1f at %.0f s", by, ch.size, at)
		}
		if !ch.sureEarly(readings) {
			t.Errorf("%+.0f bpm at 610 s: %+v of %d readings is not sure", by, ch, readings)
		}
	}
}
