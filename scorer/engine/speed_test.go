package engine_test

import (
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/scorer/engine"
	"canter.example/scorer/engine/simulate"
)

// TestSpeedPlacesStagesAndBouts: where a speed channel follows the protocol's
// stages or bouts, the start is known to the second, whatever heart rate's delay.
func TestSpeedPlacesStagesAndBouts(t *testing.T) {
	for _, kind := range []string{"continuous-incremental", "continuous-variable", "intermittent-fixed", "intermittent-variable"} {
		seen := 0
		for seed := range uint64(60) {
			s := simulate.Make(simulate.Scenario{Name: kind, Group: simulate.Kinds, Severities: 1}, 1, seed)
			if s.Trace.Samples[0].Have&schemas.HasSpeed == 0 || len(s.Trace.Samples) < 900 {
				continue
			}
			seen++
			r := engine.Score(s.Trace, engine.Request{Protocol: s.Protocol, HRmax: s.HRmax})
			if len(r.Tests) != 1 {
				t.Errorf("%s, seed %d: %d tests", kind, seed, len(r.Tests))
				continue
			}
			if off := r.Tests[0].Outcome.Start.Sub(s.Truth.Starts[0]); off.Abs() > 3*time.Second {
				t.Errorf("%s, seed %d: start off by %s", kind, seed, off)
			}
		}
		if seen < 5 {
			t.Errorf("%s: only %d sessions with speed", kind, seen)
		}
	}
}
