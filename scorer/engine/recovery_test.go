package engine

import (
	"math"
	"testing"
	"time"

	"canter.example/schemas"
)

// spoilt adds what fault gives, from the end of the test at 840 s on, to a
// sound noisy recording.
func spoilt(seed uint64, interval int, fault func(since float64) float64) *schemas.Trace {
	sound := run(85, 165, 25, 45)
	return traceOf(1100, interval, rough(seed, 0.8, func(t float64) float64 { return sound(t) + fault(t-840) }))
}

// hump is a smooth rise of so many bpm for so long.
func hump(from, long, by float64) func(float64) float64 {
	return func(s float64) float64 {
		if s < from || s > from+long {
			return 0
		}
		return by * math.Pow(math.Sin(math.Pi*(s-from)/long), 2)
	}
}

func TestUnsoundRecoveryGivesNoHRR(t *testing.T) {
	after := func(from, by float64) func(float64) float64 {
		return func(s float64) float64 {
			if s < from {
				return 0
			}
			return by
		}
	}
	for _, c := range []struct {
		name  string
		fault func(float64) float64
	}{
		{"a hump around the minute", hump(45, 30, 18)},
		{"a hollow before the minute", hump(25, 30, -18)},
		{"held up smoothly until after the minute", hump(5, 80, 25)},
		{"the strap slips down", after(30, -14)},
		{"the strap slips up", after(40, 14)},
		{"far below all that was before", after(3, -45)},
	} {
		for _, interval := range []int{1, 3} {
			for seed := range uint64(5) {
				o := one(t, Score(spoilt(seed, interval, c.fault), Request{Protocol: fourMinutes(), HRmax: measured(195), Start: day.Add(600 * time.Second)}))
				if r, ok := o.HRR(60); ok || o.Quality == schemas.Good {
					t.Errorf("%s, every %d s, seed %d: HRR60 %s, %s, %v", c.name, interval, seed, r.BPM.Text(1), o.Quality, o.Reasons)
				}
				if !o.HRexBPM.Present() {
					t.Errorf("%s: HRex is gone as well", c.name)
				}
			}
		}
	}
}

func TestSoundRecoveriesKeepTheirHRR(t *testing.T) {
	for _, interval := range []int{1, 2, 5} {
		for seed := range uint64(20) {
			tau := 25 + 4*float64(seed)
			o := one(t, Score(traceOf(1100, interval, rough(seed, 1, run(80, 170, 30, tau))), Request{Protocol: fourMinutes(), HRmax: measured(195), Start: day.Add(600 * time.Second)}))
			if _, ok := o.HRR(60); !ok {
				t.Errorf("every %d s, time constant %.0f s: %v", interval, tau, o.Reasons)
			}
		}
	}
}

// TestLongRecoveriesKeepTheirHRR: the longer a sound recovery, the closer its fit
// must be; one that a movement bends is still refused.
func TestLongRecoveriesKeepTheirHRR(t *testing.T) {
	for _, delay := range []int{120, 180, 300} {
		p := fourMinutes()
		p.Recovery = []time.Duration{time.Duration(delay) * time.Second}
		for seed := range uint64(20) {
			other := float64(7 * seed % 20)
			sound := run(80+other, 165, 20+other, 30+2*float64(seed))
			moved := func(at float64) float64 { return sound(at) + hump(45, 30, 18)(at-840) }
			for name, hr := range map[string]func(float64) float64{"sound": sound, "moved": moved} {
				o := one(t, Score(traceOf(1300, 1, rough(seed, 1, hr)), Request{Protocol: p, HRmax: measured(200), Start: day.Add(600 * time.Second)}))
				if _, ok := o.HRR(delay); ok != (name == "sound") {
					t.Errorf("%s, seed %d, HRR%d: %v, %v", name, seed, delay, ok, o.Reasons)
				}
			}
		}
	}
}

// Who jogged and walked before the test and then stands still goes lower than
// at any time before.
func TestStandingStillAfterWalkingIsNoDoubt(t *testing.T) {
	sound := run(104, 160, 25, 30)
	tr := traceOf(1100, 1, rough(4, 0.8, func(t float64) float64 {
		if t >= 840 {
			return 84 + (sound(840)-84)*math.Exp(-(t-840)/28)
		}
		return sound(t)
	}))
	o := one(t, Score(tr, Request{Protocol: fourMinutes(), HRmax: measured(195)}))
	if o.Quality != schemas.Good {
		t.Errorf("%s: %v", o.Quality, o.Reasons)
	}
}

func TestLeapIsFoundAndABendIsNot(t *testing.T) {
	for _, interval := range []int{1, 2, 4} {
		for seed := range uint64(10) {
			bend := rough(seed, 0.7, run(90, 160, 20, 40))
			var s series
			clean(&s, traceOf(1100, interval, bend), measured(195))
			if l := s.largestLeap(500, 1000, 1e9, leastLeap, nil); l.sudden() {
				t.Errorf("every %d s, seed %d: leap of %.1f bpm at %.0f s (t %.1f) in a sound trace", interval, seed, l.size, l.at, l.t)
			}
			at := 720.0
			slip := rough(seed, 0.7, func(t float64) float64 {
				if t >= at {
					return run(90, 160, 20, 40)(t) - 9
				}
				return run(90, 160, 20, 40)(t)
			})
			clean(&s, traceOf(1100, interval, slip), measured(195))
			if l := s.largestLeap(612, 836, 1e9, leastLeap, nil); !l.sudden() || math.Abs(l.at-at) > 2*float64(interval) || math.Abs(l.size+9) > 3 {
				t.Errorf("every %d s, seed %d: found %+v, want -9 bpm at %.0f s", interval, seed, l, at)
			}
		}
	}
}

func TestDamagedFileIsDoubtedWhereItMatters(t *testing.T) {
	for _, c := range []struct {
		name    string
		seconds int
		kind    schemas.DamageKind
		want    schemas.Quality
	}{
		{"ends early, after all that is needed", 1000, schemas.EndsEarly, schemas.Good},
		{"ends early, in the recovery", 880, schemas.EndsEarly, schemas.Check},
		{"altered", 1000, schemas.Altered, schemas.Check},
	} {
		tr := traceOf(c.seconds, 1, rough(1, 0.8, run(85, 160, 25, 45)))
		tr.Damage = schemas.Damage{Kind: c.kind, What: "the file, at byte 4711"}
		o := one(t, Score(tr, Request{Protocol: fourMinutes(), HRmax: measured(195)}))
		if o.Quality != c.want || !has(o, schemas.ReasonFileDamaged) {
			t.Errorf("%s: %s, %v", c.name, o.Quality, o.Reasons)
		}
	}
}

func TestJogAsLongAsTheTestIsNotTaken(t *testing.T) {
	jog, test := run(85, 135, 25, 45), run(85, 162, 25, 45)
	tr := traceOf(2200, 1, rough(2, 0.8, func(t float64) float64 {
		if t < 1100 {
			return jog(t)
		}
		return test(t - 700)
	}))
	o := one(t, Score(tr, Request{Protocol: fourMinutes(), HRmax: measured(195)}))
	if off := o.Start.Sub(day.Add(1300 * time.Second)).Abs(); off > 5*time.Second {
		t.Errorf("start at %s, want the second run's", o.Start)
	}
}
