package engine

import (
	"testing"
	"time"

	"canter.example/schemas"
)

// squad records athletes whose runs start at the given seconds.
func squad(starts ...float64) (traces []*schemas.Trace, requests []Request) {
	for i, at := range starts {
		hr := rough(uint64(i+1), 1.2, run(85+float64(i%5)*4, 150+float64(i%4)*7, 25+float64(i%6)*5, 40+float64(i%3)*10))
		tr := traceOf(1600, 1, func(t float64) float64 { return hr(t - at + 600) })
		// Each device was started at its own time.
		tr.Start = day.Add(time.Duration(i*37) * time.Second)
		for k := range tr.Samples {
			tr.Samples[k].At -= time.Duration(i*37) * time.Second
		}
		traces = append(traces, tr)
		requests = append(requests, Request{Protocol: fourMinutes(), HRmax: measured(195)})
	}
	return traces, requests
}

func TestOneStartIsSharedByAll(t *testing.T) {
	traces, requests := squad(600, 600, 600, 600, 600, 600)
	a := SessionStarts(traces, requests)
	if a.Placement != OneStart || len(a.Waves) != 1 {
		t.Fatalf("%s, waves %v", a.Placement, a.Waves)
	}
	if d := a.Waves[0].Start.Sub(day) - 600*time.Second; d.Abs() > 3*time.Second {
		t.Errorf("start off by %v", d)
	}
	for i, h := range a.Hints {
		if h == nil || h.Traces != len(traces)-1 {
			t.Errorf("trace %d: hint %+v", i, h)
		}
	}
}

func TestPoorTraceBorrowsItsTeamMatesStart(t *testing.T) {
	traces, requests := squad(600, 600, 600, 600, 600)
	// The strap of the last lost contact from before the start on, and the
	// recovery too: neither edge can be seen.
	poor := traces[4]
	for k := range poor.Samples {
		if s := int((poor.Samples[k].At + poor.Start.Sub(day)) / time.Second); s > 540 && s < 720 || s > 836 {
			poor.Samples[k].HR = 0
		}
	}
	alone := Score(poor, requests[4])
	for _, f := range alone.Tests {
		if f.Outcome.Quality == schemas.Good {
			t.Errorf("alone it was good: %+v", f.Outcome)
		}
	}
	a := SessionStarts(traces, requests)
	if a.Hints[4] == nil {
		t.Fatal("no hint for the poor trace")
	}
	requests[4].Session = a.Hints[4]
	o := one(t, Score(poor, requests[4]))
	if d := o.Start.Sub(day) - 600*time.Second; d.Abs() > 4*time.Second || o.StartSource != schemas.StartBySession {
		t.Errorf("start off by %v, %s", d, o.StartSource)
	}
	if !o.HRexBPM.Present() || o.Quality != schemas.Check {
		t.Errorf("HRex %v, quality %s: %v", o.HRexBPM, o.Quality, o.Reasons)
	}
}

func TestWavesAreKeptApart(t *testing.T) {
	traces, requests := squad(600, 600, 600, 600, 900, 900, 900)
	a := SessionStarts(traces, requests)
	if a.Placement != Waves && a.Placement != OneStart || len(a.Waves) == 0 {
		t.Fatalf("%s, waves %v", a.Placement, a.Waves)
	}
	for i, want := range []float64{600, 600, 600, 600, 900, 900, 900} {
		h := a.Hints[i]
		if h == nil {
			t.Errorf("trace %d: no hint", i)
			continue
		}
		// These hearts and straps answer at once, which few do: all are found early.
		if d := h.Start.Sub(day).Seconds() - want; d > 5 || d < -5 {
			t.Errorf("trace %d: hint off by %v s", i, d)
		}
	}
}

func TestIndividualStartsGiveNoHints(t *testing.T) {
	traces, requests := squad(400, 500, 600, 700, 800)
	a := SessionStarts(traces, requests)
	if a.Placement != Individual {
		t.Errorf("%s, waves %v", a.Placement, a.Waves)
	}
	for i, h := range a.Hints {
		if h != nil {
			t.Errorf("trace %d: hint %+v", i, h)
		}
	}
	if got := SessionStarts(nil, nil); got.Placement != Individual || len(got.Hints) != 0 {
		t.Errorf("no traces: %+v", got)
	}
}
