package engine

import (
	"slices"
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

// scored scores each trace by itself.
func scored(t *testing.T, traces []*schemas.Trace, requests []Request) []schemas.Outcome {
	t.Helper()
	var out []schemas.Outcome
	for i, tr := range traces {
		out = append(out, *one(t, Score(tr, requests[i])))
	}
	return out
}

func TestTeamMatesShareTheirStarts(t *testing.T) {
	for name, c := range map[string]struct{ starts, want []float64 }{
		"one start":             {[]float64{600, 600, 600, 600, 600, 600}, []float64{600}},
		"one start, two late":   {[]float64{600, 600, 600, 600, 700, 800}, []float64{600}},
		"waves, largest first":  {[]float64{600, 600, 600, 900, 900, 900, 900}, []float64{900, 600}},
		"each alone":            {[]float64{400, 500, 600, 700, 800}, nil},
		"three of six together": {[]float64{400, 500, 600, 600, 600, 800}, nil},
		"two are too few":       {[]float64{600, 600}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			traces, requests := squad(c.starts...)
			got := MatesStarts(scored(t, traces, requests))
			if len(got) != len(c.want) {
				t.Fatalf("starts %+v, want %v", got, c.want)
			}
			for i, h := range got {
				if d := h.Start.Sub(day).Seconds() - c.want[i]; d > 4 || d < -4 {
					t.Errorf("start %d is off by %v s", i, d)
				}
				if n := count(c.starts, c.want[i]); h.Traces != n || h.SD < seconds(sharedSD) {
					t.Errorf("start %d: %+v, want %d tests", i, h, n)
				}
			}
		})
	}
	if got := MatesStarts(nil); got != nil {
		t.Errorf("no tests: %+v", got)
	}
}

func count(of []float64, v float64) (n int) {
	for _, x := range of {
		if x == v {
			n++
		}
	}
	return n
}

func TestDoubtfulTestsSayNothingOfAStart(t *testing.T) {
	traces, requests := squad(600, 600, 600, 600)
	tests := scored(t, traces, requests)
	tests[0].Quality = schemas.Check
	if got := MatesStarts(tests); len(got) != 1 || got[0].Traces != 3 {
		t.Fatalf("one doubtful: %+v", got)
	}
	for name, change := range map[string]func(*schemas.Outcome){
		"doubtful": func(o *schemas.Outcome) { o.Quality = schemas.Check },
		"borrowed": func(o *schemas.Outcome) { o.StartSource = schemas.StartBySession },
		"excluded": func(o *schemas.Outcome) { o.Staff = schemas.Excluded },
	} {
		two := slices.Clone(tests)
		change(&two[1])
		if got := MatesStarts(two); got != nil {
			t.Errorf("one doubtful and one %s: %+v, want none of two", name, got)
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
	shared := MatesStarts(scored(t, traces[:4], requests[:4]))
	if len(shared) != 1 {
		t.Fatalf("the team-mates share %+v", shared)
	}
	requests[4].Session = &shared[0]
	o := one(t, Score(poor, requests[4]))
	if d := o.Start.Sub(day) - 600*time.Second; d.Abs() > 4*time.Second || o.StartSource != schemas.StartBySession {
		t.Errorf("start off by %v, %s", d, o.StartSource)
	}
	if !o.HRexBPM.Present() || o.Quality != schemas.Check {
		t.Errorf("HRex %v, quality %s: %v", o.HRexBPM, o.Quality, o.Reasons)
	}
}
