package engine_test

import (
	"strings"
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/scorer/engine"
)

const triathlon = "from_garmin_forums/triathlon_summary_last.fit"

// TestRealTriathlonHoldsNoTest: the real triathlon file of muktihari/fit holds
// swim, ride and a run of 26 min, 19.5 min of it steady at 2.87 m/s: nothing in
// it is a four-minute run with a standing recovery, whatever speed a protocol
// asks for.
func TestRealTriathlonHoldsNoTest(t *testing.T) {
	tr := readFIT(t, fitFile(t, triathlon))
	withHR := 0
	for _, s := range tr.Samples {
		if s.HR > 0 {
			withHR++
		}
	}
	if len(tr.Samples) != 4043 || withHR != 3364 {
		t.Fatalf("%d records, %d with heart rate; independent readers have 4043 and 3364", len(tr.Samples), withHR)
	}
	for _, kmh := range []float64{8, 10.3, 12, 14} {
		for _, length := range []time.Duration{3 * time.Minute, 4 * time.Minute, 6 * time.Minute} {
			req := request()
			req.Protocol.Stages[0] = schemas.Stage{Duration: length, SpeedKMH: schemas.Num(kmh)}
			for _, f := range engine.Score(tr, req).Tests {
				if f.Outcome.Quality == schemas.Good {
					t.Errorf("%v at %v km/h: good at %v: %v", length, kmh, f.Outcome.Start, f.Outcome.Reasons)
				}
			}
			req.Protocol.Stages[0].SpeedKMH = schemas.Number{}
			for _, f := range engine.Score(tr, req).Tests {
				if f.Outcome.Quality == schemas.Good {
					t.Errorf("%v at any speed: good at %v: %v", length, f.Outcome.Start, f.Outcome.Reasons)
				}
			}
		}
	}
}

// TestRealSteadyRunMeasures: with a start given inside the steady part of the
// triathlon's run, HRex equals the mean of the file's own values there, and the
// speed is the 2.87 m/s that is known of it.
func TestRealSteadyRunMeasures(t *testing.T) {
	tr := readFIT(t, fitFile(t, triathlon))
	// The longest stretch within 10 % of 2.87 m/s over 30-s means.
	from, best, begun := 0, 0, 0
	for i := 30; i < len(tr.Samples); i++ {
		sum := 0.0
		for _, s := range tr.Samples[i-30 : i] {
			sum += float64(s.Speed) / 30
		}
		if sum < 2.6 || sum > 3.15 {
			begun = i
		} else if i-begun > best {
			best, from = i-begun, begun
		}
	}
	if best < 900 {
		t.Fatalf("the steady run lasts %d samples, 19.5 min are known", best)
	}
	start := tr.Samples[from+300].At
	req := request()
	req.Protocol.Stages[0].SpeedKMH = schemas.Num(2.87 * 3.6)
	req.Start = tr.Start.Add(start)
	r := engine.Score(tr, req)
	if len(r.Tests) != 1 {
		t.Fatal(r.None)
	}
	o := &r.Tests[0].Outcome
	sum, n := 0.0, 0.0
	for _, s := range tr.Samples {
		if at := s.At - start; at >= 3*time.Minute && at < 4*time.Minute && s.HR > 0 {
			sum, n = sum+float64(s.HR), n+1
		}
	}
	if v, ok := o.HRexBPM.Get(); !ok || n < 50 || v < sum/n-0.3 || v > sum/n+0.3 {
		t.Errorf("HRex %v, the file's own mean %.2f over %v values", o.HRexBPM, sum/n, n)
	}
	if v := o.SpeedKMH.Or(0) / 3.6; v < 2.75 || v > 3.0 {
		t.Errorf("speed %.2f m/s", v)
	}
	if o.Quality == schemas.Good {
		t.Errorf("a piece of a longer run without recovery is good: %v", o.Reasons)
	}
}

// TestRealRideIsNotARun: the low-battery activity is a ride in hills; its
// climbs look like tests to heart rate, but not to speed.
func TestRealRideIsNotARun(t *testing.T) {
	tr := readFIT(t, fitFile(t, lowBattery))
	if len(tr.Samples) != 3976 {
		t.Fatalf("%d records, independent readers have 3976", len(tr.Samples))
	}
	req := request()
	req.Explain = true
	r := engine.Score(tr, req)
	for _, f := range r.Tests {
		if f.Outcome.Quality == schemas.Good {
			t.Errorf("good at %v\n%s", f.Outcome.Start, r.Explanation.Text())
		}
	}
	if !strings.Contains(r.Explanation.Text(), "3976 samples") {
		t.Error(r.Explanation.Text())
	}
}
