package simulate

import (
	"math"
	"reflect"
	"testing"
	"time"
)

func TestSameSeedSameSession(t *testing.T) {
	for _, sc := range Scenarios {
		a, b := Make(sc, sc.Severities, 11), Make(sc, sc.Severities, 11)
		if !reflect.DeepEqual(a, b) {
			t.Errorf("%s: two sessions of one seed differ", sc.Name)
		}
		if c := Make(sc, sc.Severities, 12); reflect.DeepEqual(a.Trace, c.Trace) {
			t.Errorf("%s: another seed gives the same trace", sc.Name)
		}
	}
}

func TestTruthIsOfThisWorld(t *testing.T) {
	for _, sc := range Scenarios {
		for seed := range uint64(40) {
			s := Make(sc, 1, seed)
			want := 1
			switch {
			case sc.Group == NoTest:
				want = 0
			case sc.Name == "two tests":
				want = 2
			}
			if len(s.Truth.Starts) != want || len(s.Truth.HRex) != want || len(s.Truth.HRR) != want {
				t.Fatalf("%s: %d starts, want %d", sc.Name, len(s.Truth.Starts), want)
			}
			for i, at := range s.Truth.Starts {
				if s.Truth.HRex[i] < 110 || s.Truth.HRex[i] > 208 {
					t.Errorf("%s, seed %d: HRex %v", sc.Name, seed, s.Truth.HRex[i])
				}
				if d := at.Sub(s.Trace.Start); d < 0 || d > 2*time.Hour {
					t.Errorf("%s, seed %d: starts %v into the trace", sc.Name, seed, d)
				}
				if s.Truth.Recovered && s.Truth.HRR[i] < 5 {
					t.Errorf("%s, seed %d: HRR %v", sc.Name, seed, s.Truth.HRR[i])
				}
			}
			for _, m := range s.Trace.Samples {
				if v := float64(m.HR); v < 0 || v > 254 || math.IsNaN(v) {
					t.Fatalf("%s, seed %d: heart rate %v", sc.Name, seed, v)
				}
			}
		}
	}
}

// TestFaultsAreGraded: more severity spoils more of the recording, on average.
func TestFaultsAreGraded(t *testing.T) {
	for _, sc := range Scenarios {
		if sc.Group != Artefact || sc.Name == "irregular sampling" || sc.Name == "ectopic beats" {
			continue // these change what is recorded, not what of it is wrong
		}
		var spoiled [4]float64
		for sev := 1; sev <= 3; sev++ {
			for seed := range uint64(60) {
				s := Make(sc, sev, seed)
				// The next severity's session is another one, so count against
				// the recording's own smoothness: big changes, zeros, gaps, and
				// instants that come twice or backwards.
				prev := s.Trace.Samples[0]
				for _, m := range s.Trace.Samples[1:] {
					d := math.Abs(float64(m.HR - prev.HR))
					gap := (m.At - prev.At).Seconds()
					if m.HR == 0 || d > 9 || gap > 7 || gap <= 0 {
						spoiled[sev]++
					}
					if d == 0 {
						spoiled[sev] += 0.1
					}
					prev = m
				}
			}
		}
		if sc.Name == "strap slip" || sc.Name == "step that stays" || sc.Name == "ramps" || sc.Name == "low reading" ||
			sc.Name == "cadence lock" || sc.Name == "cadence lock, no cadence" || sc.Name == "stuck value" || sc.Name == "dropouts" {
			continue // graded in length or size, which this count does not see
		}
		if !(spoiled[1] < spoiled[3]) {
			t.Errorf("%s: %v spoiled at severities 1 to 3", sc.Name, spoiled[1:])
		}
	}
}
