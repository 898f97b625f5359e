package engine

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"canter.example/schemas"
)

// spoiled is a recorded run with one artefact, and what cleaning must call it.
type spoiled struct {
	name     string
	from, to int // seconds that are spoiled
	spoil    func(m *schemas.Sample)
	why      []drop
	// share of the spoiled seconds that must be dropped, and of the others that
	// may be.
	most float64
}

func TestEachArtefactIsDroppedAndNamed(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, c := range []spoiled{
		{"zeros", 700, 720, func(m *schemas.Sample) { m.HR = 0 }, []drop{noReading}, 1},
		{"out of range", 700, 705, func(m *schemas.Sample) { m.HR = 240 }, []drop{outOfRange}, 1},
		{"a low value", 700, 705, func(m *schemas.Sample) { m.HR = 12 }, []drop{outOfRange}, 1},
		{"far above HRmax", 700, 706, func(m *schemas.Sample) { m.HR = 222 }, []drop{aboveMax}, 1},
		{"a spike up", 700, 701, func(m *schemas.Sample) { m.HR += 35 }, []drop{spike}, 1},
		{"a spike down", 700, 703, func(m *schemas.Sample) { m.HR -= 40 }, []drop{spike}, 1},
		{"strap slip and return", 700, 760, func(m *schemas.Sample) { m.HR -= 28 }, []drop{slipped}, 0.95},
		{"halving", 700, 740, func(m *schemas.Sample) { m.HR = float32(math.Round(float64(m.HR) / 2)) }, []drop{halved}, 0.95},
		{"doubling", 100, 140, func(m *schemas.Sample) { m.HR *= 2 }, []drop{doubled, aboveMax}, 0.95},
		{"a stuck value", 820, 880, func(m *schemas.Sample) { m.HR = 163 }, []drop{stuck}, 0.9},
		{"lock on the step rate", 650, 830, func(m *schemas.Sample) { m.HR = m.Cadence + float32(r.IntN(2)) }, []drop{onCadence}, 0.9},
		{"noise", 700, 730, func(m *schemas.Sample) { m.HR += float32(math.Round(30 * r.NormFloat64())) }, []drop{spike, noisy, slipped, halved, doubled, outOfRange, aboveMax}, 0.8},
		{"NaN", 700, 702, func(m *schemas.Sample) { m.HR = float32(math.NaN()) }, []drop{outOfRange}, 1},
	} {
		tr := traceOf(1200, 1, rough(9, 1.2, run(88, 165, 30, 50)))
		for i := range tr.Samples {
			m := &tr.Samples[i]
			m.Have, m.Cadence = schemas.HasCadence, 0
			if i >= 600 && i < 840 {
				m.Cadence = float32(math.Round(178 + 1.5*r.NormFloat64()))
			}
			if i >= c.from && i < c.to {
				c.spoil(m)
			}
		}
		var s series
		clean(&s, tr, measured(195))
		dropped, elsewhere, wrong := 0, 0, 0
		for i, why := range s.why {
			switch {
			case i >= c.from && i < c.to && why != kept:
				dropped++
				ok := false
				for _, w := range c.why {
					ok = ok || w == why
				}
				if !ok {
					wrong++
				}
			case why != kept:
				elsewhere++
			}
		}
		n := c.to - c.from
		if float64(dropped) < c.most*float64(n) || wrong*5 > n || elsewhere > 6 {
			t.Errorf("%s: %d of %d dropped, %d under another name, %d dropped elsewhere", c.name, dropped, n, wrong, elsewhere)
		}
	}
}

func TestCleanTraceIsLeftAlone(t *testing.T) {
	for _, interval := range []int{1, 2, 5} {
		for seed := range uint64(20) {
			tr := traceOf(1500, interval, rough(seed, 1.5, run(88, 170, 18, 35)))
			var s series
			clean(&s, tr, measured(195))
			if n := len(s.at) - s.valid(); n > 0 || len(s.steps) > 0 {
				t.Errorf("interval %d, seed %d: %d dropped, steps %v", interval, seed, n, s.steps)
			}
		}
	}
}

func TestStillHeartRateIsNotStuck(t *testing.T) {
	// Without noise a plateau stands still for minutes: nothing is stuck.
	tr := traceOf(1300, 1, func(t float64) float64 { return math.Round(run(90, 160, 30, 50)(t)) })
	var s series
	clean(&s, tr, measured(195))
	if n := len(s.at) - s.valid(); n > 0 {
		t.Errorf("%d samples dropped", n)
	}
}

func TestNaturalHeartRateNearTheStepRateIsKept(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	tr := traceOf(1200, 1, rough(10, 1.2, run(88, 165, 35, 50)))
	for i := range tr.Samples {
		if i >= 600 && i < 840 {
			tr.Samples[i].Have, tr.Samples[i].Cadence = schemas.HasCadence, float32(math.Round(165+1.5*r.NormFloat64()))
		}
	}
	var s series
	clean(&s, tr, measured(195))
	if n := len(s.at) - s.valid(); n > 0 {
		t.Errorf("%d samples dropped", n)
	}
}

// TestLockWithoutAJumpIsDropped: a sensor that locks on to the step rate when
// heart rate has come near it does not jump, and most of the time near it was heart
// rate's own; that it repeats the step rate's changes gives it away.
func TestLockWithoutAJumpIsDropped(t *testing.T) {
	for _, interval := range []int{1, 3} {
		r := rand.New(rand.NewPCG(8, 8))
		tr := traceOf(1200, interval, rough(10, 0.8, run(88, 165, 25, 50)))
		for i := range tr.Samples {
			m := &tr.Samples[i]
			if at := m.At.Seconds(); at >= 600 && at < 840 {
				m.Have, m.Cadence = schemas.HasCadence, float32(math.Round(166+1.5*r.NormFloat64()))
				if at >= 790 {
					m.HR = m.Cadence + float32(r.IntN(2))
				}
			}
		}
		var s series
		clean(&s, tr, measured(195))
		locked, dropped, elsewhere := 0, 0, 0
		for i, why := range s.why {
			switch in := s.at[i] >= 790 && s.at[i] < 840; {
			case in:
				locked++
				if why == onCadence {
					dropped++
				}
			case why != kept:
				elsewhere++
			}
		}
		if dropped*10 < locked*9 || elsewhere > 8 {
			t.Errorf("every %d s: %d of %d dropped, and %d elsewhere", interval, dropped, locked, elsewhere)
		}
	}
}

func TestStepThatStaysIsRecorded(t *testing.T) {
	tr := traceOf(1200, 1, rough(11, 1, run(88, 165, 35, 50)))
	for i := 750; i < len(tr.Samples); i++ {
		tr.Samples[i].HR -= 18
	}
	o := one(t, Score(tr, Request{Protocol: fourMinutes(), HRmax: measured(195), Start: day.Add(600 * time.Second)}))
	if o.Quality == schemas.Good || !has(o, schemas.ReasonStrapSlip) {
		t.Errorf("quality %s, reasons %v", o.Quality, o.Reasons)
	}
}

func TestHoldFollowsTheSampling(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	smart := &schemas.Trace{Start: day}
	for k := 0; k < 1200; k += 1 + r.IntN(7) {
		smart.Samples = append(smart.Samples, schemas.Sample{At: time.Duration(k) * time.Second, HR: 120})
	}
	// A watch that stores a reading every 2 to 6 s: median 4 s, none too long.
	saving := &schemas.Trace{Start: day}
	for k := 0; k < 1200; k += 2 + r.IntN(5) {
		saving.Samples = append(saving.Samples, schemas.Sample{At: time.Duration(k) * time.Second, HR: 120})
	}
	missing := traceOf(1200, 1, func(float64) float64 { return 120 })
	var some []schemas.Sample
	for i, m := range missing.Samples {
		if i%20 != 0 {
			some = append(some, m)
		}
	}
	missing.Samples = some
	for _, c := range []struct {
		name  string
		tr    *schemas.Trace
		limit float64
	}{
		{"every second", traceOf(600, 1, func(float64) float64 { return 120 }), 1},
		{"every 5 s", traceOf(600, 5, func(float64) float64 { return 120 }), 5},
		{"every 60 s is too seldom to hold", traceOf(6000, 60, func(float64) float64 { return 120 }), 1},
		{"smart recording of 1 to 7 s", smart, 7},
		{"every 2 to 6 s", saving, 6},
		{"every second with 5 % of records missing", missing, 1},
	} {
		var s series
		clean(&s, c.tr, schemas.HRmax{})
		if s.limit != c.limit {
			t.Errorf("%s: a sample stands for at most %v s, want %v", c.name, s.limit, c.limit)
		}
	}
}

func TestSamplesOfOneInstant(t *testing.T) {
	tr := traceOf(100, 1, func(float64) float64 { return 120 })
	tr.Samples = append(tr.Samples,
		schemas.Sample{At: 50 * time.Second, HR: 124}, // agrees: the mean
		schemas.Sample{At: 60 * time.Second, HR: 170}, // does not: neither
		schemas.Sample{At: 70 * time.Second, HR: 0})   // no reading: the other
	var s series
	clean(&s, tr, schemas.HRmax{})
	if len(s.at) != 100 {
		t.Fatalf("%d samples", len(s.at))
	}
	if s.hr[50] != 122 || s.why[60] != disagrees || s.hr[70] != 120 || s.why[70] != kept {
		t.Errorf("%v; %v; %v %v", s.hr[50], s.why[60], s.hr[70], s.why[70])
	}
}

// TestBeatsFarFromTheLocalMeanAreLeftOut: the 20 % rule of FACTS 4.3 on beats at 60/min
// with an early beat and its pause now and then.
func TestBeatsFarFromTheLocalMeanAreLeftOut(t *testing.T) {
	tr := &schemas.Trace{Start: day}
	at := 0.0
	beat := func(v float64) {
		at += v
		tr.RR = append(tr.RR, schemas.RR{At: seconds(at), Interval: seconds(v)})
	}
	for i := range 300 {
		if i%10 == 5 {
			beat(0.65)
			beat(1.35)
		} else {
			beat(1)
		}
	}
	s := &series{}
	clean(s, tr, schemas.HRmax{})
	if !s.fromRR || s.valid() < 200 {
		t.Fatalf("from RR %v, %d valid", s.fromRR, s.valid())
	}
	for i, v := range s.hr {
		if s.why[i] == kept && math.Abs(v-60) > 1 {
			t.Fatalf("second %v: %v bpm", s.at[i], v)
		}
	}
	// With heart rates of its own a trace keeps them.
	tr.Samples = []schemas.Sample{{At: 0, HR: 70}, {At: time.Second, HR: 71}}
	if clean(s, tr, schemas.HRmax{}); s.fromRR {
		t.Error("RR taken although the samples have heart rates")
	}
}

// TestBeatsBesideFastSpeed: receivers record speed several times a second beside
// the beats; that takes nothing from what the beats cover.
func TestBeatsBesideFastSpeed(t *testing.T) {
	hr := run(80, 165, 30, 50)
	for _, rate := range []int{1, 2, 10} {
		tr := &schemas.Trace{Start: day}
		for at := 0.0; at < 1300; {
			rr := 60 / hr(at)
			at += rr
			tr.RR = append(tr.RR, schemas.RR{At: time.Duration(at * 1e9), Interval: time.Duration(rr * 1e9)})
		}
		for k := range 1300 * rate {
			tr.Samples = append(tr.Samples, schemas.Sample{At: time.Duration(k) * time.Second / time.Duration(rate), Speed: 3, Have: schemas.HasSpeed})
		}
		o := one(t, Score(tr, Request{Protocol: fourMinutes(), HRmax: measured(200), Start: day.Add(600 * time.Second)}))
		if v, ok := o.HRexBPM.Get(); !ok || math.Abs(v-164.9) > 0.2 || o.Coverage < 0.99 {
			t.Errorf("%d samples a second: HRex %v, coverage %.2f", rate, o.HRexBPM, o.Coverage)
		}
	}
}

// TestInstantsThatComeTwiceHaveOneSpeed: whichever of the two comes first.
func TestInstantsThatComeTwiceHaveOneSpeed(t *testing.T) {
	var s, mixed series
	tr := traceOf(100, 1, func(float64) float64 { return 120 })
	for i := range tr.Samples {
		tr.Samples[i].Speed, tr.Samples[i].Cadence, tr.Samples[i].Have = 3, 160, schemas.HasSpeed|schemas.HasCadence
	}
	tr.Samples = append(tr.Samples,
		schemas.Sample{At: 50 * time.Second, HR: 119, Speed: 2, Cadence: 170, Have: schemas.HasSpeed | schemas.HasCadence},
		schemas.Sample{At: 60 * time.Second, HR: 119})
	clean(&s, tr, schemas.HRmax{})
	slices.Reverse(tr.Samples)
	clean(&mixed, tr, schemas.HRmax{})
	for _, got := range []*series{&s, &mixed} {
		if got.speed[50] != 2.5 || got.cad[50] != 165 || got.speed[60] != 3 || got.have[60]&schemas.HasSpeed == 0 || got.speeds != 100 || got.cadences != 100 {
			t.Errorf("speeds %v and %v, step rate %v, %d and %d of them", got.speed[50], got.speed[60], got.cad[50], got.speeds, got.cadences)
		}
	}
}
