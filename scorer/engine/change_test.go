package engine

import (
	"math"
	"testing"

	"canter.example/schemas"
)

// TestChangeOfLevelIsSeenWhereverItIs: one that stays makes a wrong HRex, whether
// it comes before the run, in the rise, where the response can swallow much of
// it, or on the level; and the same traces without it are good.
func TestChangeOfLevelIsSeenWhereverItIs(t *testing.T) {
	sound := run(90, 160, 22, 40)
	for _, interval := range []int{1, 3} {
		for seed := range uint64(6) {
			judge := func(hr func(at float64) float64) *schemas.Outcome {
				return one(t, Score(traceOf(1300, interval, rough(seed, 0.7, hr)), Request{Protocol: fourMinutes(), HRmax: measured(195)}))
			}
			if o := judge(sound); o.Quality != schemas.Good {
				t.Errorf("every %d s, seed %d, sound: %v", interval, seed, o.Reasons)
			}
			for _, from := range []float64{560, 630, 700, 760} {
				for _, by := range []float64{-8, 8} {
					o := judge(raised(sound, from, by))
					if o.Quality == schemas.Good || !has(o, schemas.ReasonStrapSlip) {
						t.Errorf("every %d s, seed %d, %+.0f bpm from %+.0f s of the start on: %s, %v", interval, seed, by, from-600, o.Quality, o.Reasons)
					}
				}
			}
		}
	}
}

// TestSlowNoiseIsNoChange: noise that wanders by as much as a change of level,
// but slowly, is no reason to doubt a strap.
func TestSlowNoiseIsNoChange(t *testing.T) {
	sound, doubted := run(90, 160, 22, 40), 0
	const seeds = 40
	for seed := range uint64(seeds) {
		wave := float64(seed) / 3
		o := one(t, Score(traceOf(1300, 1, rough(seed, 0.5, func(at float64) float64 {
			return sound(at) + 1.8*math.Sin(at/14+wave)
		})), Request{Protocol: fourMinutes(), HRmax: measured(195)}))
		if has(o, schemas.ReasonStrapSlip) {
			doubted++
		}
	}
	if doubted > seeds/10 {
		t.Errorf("%d of %d traces with slow waves are said to slip", doubted, seeds)
	}
}

// raised is a heart rate whose level changes at once.
func raised(hr func(at float64) float64, from, by float64) func(at float64) float64 {
	return func(at float64) float64 {
		if at >= from {
			return hr(at) + by
		}
		return hr(at)
	}
}

// placed cleans a trace and puts a test at 600 s of it, to look at parts of the
// judgement by themselves.
func placed(t *testing.T, tr *schemas.Trace) (*work, *candidate) {
	t.Helper()
	w := new(work)
	req := &Request{Protocol: fourMinutes(), HRmax: measured(195)}
	req.Protocol, _ = withDefaults(req.Protocol)
	clean(&w.series, tr, req.HRmax)
	h, ok := w.ready(tr, req)
	if !ok {
		t.Fatal("no heart rate")
	}
	c := w.finder.given(600, &h)
	return w, &c
}

// TestChangeIsMeasured: where it is and how large, beside a response that is
// fitted anew, and that its gain grows with its square.
func TestChangeIsMeasured(t *testing.T) {
	sound, gains := run(90, 160, 30, 40), map[float64]float64{}
	for _, by := range []float64{4, 8} {
		w, c := placed(t, traceOf(1300, 2, rough(3, 0.7, raised(sound, 720, by))))
		_, ch := w.finder.shapeOf(c)
		if at := w.finder.grid.time(ch.at); math.Abs(at-720) > 4 || math.Abs(ch.size-by) > 1.5 || ch.sharp < leastSharp {
			t.Errorf("found %+v at %.0f s, want %+.0f bpm at 720 s", ch, at, by)
		}
		gains[by] = ch.gain
	}
	if gains[8] < 2*gains[4] {
		t.Errorf("gains %v: a larger change must be much surer", gains)
	}
}

// TestLateDeviceMakesHRRUncertain: a recovery that begins many seconds after the
// run's end was shown late by nobody knows how much, and its HRR says so.
func TestLateDeviceMakesHRRUncertain(t *testing.T) {
	sound := run(90, 160, 22, 40)
	se := func(late float64) float64 {
		o := one(t, Score(traceOf(1300, 1, rough(2, 0.7, func(at float64) float64 {
			if at >= 840 {
				return sound(max(839.9, at-late))
			}
			return sound(at)
		})), Request{Protocol: fourMinutes(), HRmax: measured(195)}))
		v, _ := o.HRR(60)
		s, ok := v.SE.Get()
		if !ok {
			t.Fatalf("late by %.0f s: no HRR (%v)", late, o.Reasons)
		}
		return s
	}
	if usual, late := se(4), se(15); late < 1.5*usual {
		t.Errorf("standard error %.1f bpm of an HRR that is shown 15 s late, %.1f bpm of one that is shown 4 s late", late, usual)
	}
}
