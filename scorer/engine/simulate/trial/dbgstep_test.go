package trial

import (
	"fmt"
	"testing"

	"canter.example/scorer/engine/simulate"
)

func TestStepWhere(t *testing.T) {
	for _, c := range []struct {
		name string
		sev  int
		seed uint64
	}{{"step that stays", 1, 2908}, {"step that stays", 1, 3106}, {"step that stays", 1, 3700}, {"step that stays", 1, 3997}, {"step that stays", 1, 6769}, {"step that stays", 1, 7264}, {"step that stays", 2, 2513}, {"step that stays", 2, 6374}} {
		for _, sc := range simulate.Scenarios {
			if sc.Name != c.name {
				continue
			}
			s := simulate.Make(sc, c.sev, c.seed)
			from := s.Truth.Starts[0].Sub(s.Trace.Start).Seconds()
			prev := 0.0
			worst, at := 0.0, 0.0
			for _, m := range s.Trace.Samples {
				tt := m.At.Seconds() - from
				if tt > -70 && tt < 320 {
					d := float64(m.HR) - prev
					if d*d > worst*worst && prev > 0 {
						worst, at = d, tt
					}
				}
				prev = float64(m.HR)
			}
			fmt.Println(c.name, c.seed, "interval", s.Trace.Samples[5].At-s.Trace.Samples[4].At, "largest change", worst, "at", at)
		}
	}
}
