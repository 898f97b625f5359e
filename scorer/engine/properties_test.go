package engine

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"

	"canter.example/schemas"
)

// session draws a recorded run and the request for it.
func session(t *rapid.T) (*schemas.Trace, Request) {
	rest := rapid.Float64Range(85, 110).Draw(t, "rest")
	level := rest + rapid.Float64Range(45, 80).Draw(t, "rise")
	on := rapid.Float64Range(18, 60).Draw(t, "tau on")
	off := rapid.Float64Range(30, 80).Draw(t, "tau off")
	seed := rapid.Uint64().Draw(t, "seed")
	interval := rapid.SampledFrom([]int{1, 1, 2, 4}).Draw(t, "interval")
	tr := traceOf(1300, interval, rough(seed, 1, run(rest, level, on, off)))
	return tr, Request{Protocol: fourMinutes(), HRmax: measured(205)}
}

func tests(tr *schemas.Trace, req Request) []schemas.Outcome {
	var out []schemas.Outcome
	for _, f := range Score(tr, req).Tests {
		out = append(out, f.Outcome)
	}
	return out
}

// sameBut compares outcomes; shift is how much later b's times are.
func sameBut(t *rapid.T, a, b []schemas.Outcome, shift time.Duration, bpm float64) {
	t.Helper()
	if len(a) != len(b) {
		t.Fatalf("%d tests and %d", len(a), len(b))
	}
	for i := range a {
		if d := b[i].Start.Sub(a[i].Start) - shift; d != 0 {
			t.Fatalf("start moved by %v", d)
		}
		va, oka := a[i].HRexBPM.Get()
		vb, okb := b[i].HRexBPM.Get()
		if oka != okb || math.Abs(va-vb) > bpm || a[i].Quality != b[i].Quality {
			t.Fatalf("HRex %v (%s) and %v (%s)", va, a[i].Quality, vb, b[i].Quality)
		}
		ra, oka := a[i].HRR(60)
		rb, okb := b[i].HRR(60)
		if oka != okb || math.Abs(ra.BPM.Or(0)-rb.BPM.Or(0)) > bpm {
			t.Fatalf("HRR60 %v and %v", ra.BPM, rb.BPM)
		}
	}
}

func TestShiftInTimeShiftsTheStartOnly(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tr, req := session(t)
		before := tests(tr, req)
		shift := time.Duration(rapid.Int64Range(-1e6, 1e6).Draw(t, "ms")) * time.Millisecond
		// The clock may be off, and the trace's own zero be elsewhere.
		zero := time.Duration(rapid.IntRange(-5000, 5000).Draw(t, "zero")) * time.Second
		moved := *tr
		moved.Start = tr.Start.Add(shift - zero)
		moved.Samples = nil
		for _, m := range tr.Samples {
			m.At += zero
			moved.Samples = append(moved.Samples, m)
		}
		sameBut(t, before, tests(&moved, req), shift, 1e-6)
	})
}

func TestOrderOfSamplesDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tr, req := session(t)
		// Some instants come twice.
		for range rapid.IntRange(0, 20).Draw(t, "twice") {
			m := tr.Samples[rapid.IntRange(0, len(tr.Samples)-1).Draw(t, "which")]
			m.HR += float32(rapid.IntRange(-3, 3).Draw(t, "by"))
			tr.Samples = append(tr.Samples, m)
		}
		before := tests(tr, req)
		mixed := *tr
		mixed.Samples = append([]schemas.Sample(nil), tr.Samples...)
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "order"), 0))
		r.Shuffle(len(mixed.Samples), func(i, j int) {
			mixed.Samples[i], mixed.Samples[j] = mixed.Samples[j], mixed.Samples[i]
		})
		sameBut(t, before, tests(&mixed, req), 0, 1e-9)
	})
}

func TestThinnerSamplingChangesLittle(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rest := rapid.Float64Range(85, 110).Draw(t, "rest")
		level := rest + rapid.Float64Range(45, 80).Draw(t, "rise")
		hr := rough(rapid.Uint64().Draw(t, "seed"), 0.8, run(rest, level, rapid.Float64Range(20, 60).Draw(t, "on"), rapid.Float64Range(30, 70).Draw(t, "off")))
		full := traceOf(1300, 1, hr)
		thin := *full
		thin.Samples = nil
		every := rapid.IntRange(2, 5).Draw(t, "every")
		for i := 0; i < len(full.Samples); i += every {
			thin.Samples = append(thin.Samples, full.Samples[i])
		}
		req := Request{Protocol: fourMinutes(), HRmax: measured(205)}
		a, b := tests(full, req), tests(&thin, req)
		if len(a) != 1 || len(b) != 1 {
			t.Fatalf("%d and %d tests", len(a), len(b))
		}
		if d := a[0].Start.Sub(b[0].Start).Abs(); d > 6*time.Second {
			t.Fatalf("starts %v apart", d)
		}
		if d := math.Abs(a[0].HRexBPM.Or(0) - b[0].HRexBPM.Or(1e3)); d > 1.5 {
			t.Fatalf("HRex %v bpm apart", d)
		}
	})
}

// TestScaling: with a start given by hand, HRex, end HR and HRR are linear in
// heart rate, and %HRmax does not change when HRmax is scaled along. Whether a
// recovery is sound is decided by limits in bpm, so a scaled HRR may be withheld:
// seldom.
func TestScaling(t *testing.T) {
	drawn, withheld := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		tr, req := session(t)
		req.Start = day.Add(600 * time.Second)
		factor := rapid.Float64Range(0.85, 1.1).Draw(t, "factor")
		scaled := *tr
		scaled.Samples = nil
		for _, m := range tr.Samples {
			m.HR *= float32(factor)
			scaled.Samples = append(scaled.Samples, m)
		}
		a := tests(tr, req)
		top, _ := req.HRmax.BPM.Get()
		req.HRmax = measured(top * factor)
		b := tests(&scaled, req)
		if len(a) != 1 || len(b) != 1 {
			t.Fatalf("%d and %d tests", len(a), len(b))
		}
		ra, _ := a[0].HRR(60)
		rb, _ := b[0].HRR(60)
		for _, v := range []struct {
			name string
			a, b schemas.Number
			by   float64
		}{{"HRex", a[0].HRexBPM, b[0].HRexBPM, factor}, {"end HR", a[0].EndHR, b[0].EndHR, factor},
			{"HRR60", ra.BPM, rb.BPM, factor}, {"%HRmax", a[0].HRexPct, b[0].HRexPct, 1}} {
			if v.name == "HRR60" {
				drawn++
				if !v.a.Present() || !v.b.Present() {
					withheld++
					continue
				}
			}
			if math.Abs(v.a.Or(0)*v.by-v.b.Or(-1)) > 1e-3 {
				t.Fatalf("%s: %v times %v is not %v", v.name, v.a.Or(0), v.by, v.b.Or(0))
			}
		}
	})
	if withheld*10 > drawn {
		t.Errorf("HRR60 withheld in %d of %d traces", withheld, drawn)
	}
}

func TestSameArgumentsSameResult(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tr, req := session(t)
		a := tests(tr, req)
		// Another trace in between must leave nothing behind.
		other, otherReq := session(t)
		otherReq.Protocol.Stages[0].Duration = 3 * time.Minute
		Score(other, otherReq)
		sameBut(t, a, tests(tr, req), 0, 0)
	})
}
