package trial

import (
	"fmt"
	"math"
	"sort"
	"testing"

	"canter.example/scorer/engine"
	"canter.example/scorer/engine/simulate"
)

func TestGain(t *testing.T) {
	for _, name := range []string{"clean", "jog before", "step that stays", "low reading", "strap slip", "cadence lock, no cadence"} {
		for _, sc := range simulate.Scenarios {
			if sc.Name != name {
				continue
			}
			for sev := 1; sev <= sc.Severities; sev++ {
				var gains, big []float64
				n := 0
				for seed := range uint64(200) {
					s := simulate.Make(sc, sev, seed+5000)
					engine.DbgSteps = nil
					r := engine.Score(s.Trace, RequestFor(s))
					if len(r.Tests) == 0 || len(engine.DbgSteps) == 0 {
						continue
					}
					n++
					g := engine.DbgSteps[2]
					if math.Abs(engine.DbgSteps[1]) < 3.5 {
						g = 0
					}
					gains = append(gains, g)
					o := r.Tests[0].Outcome
					if v, ok := o.HRexBPM.Get(); ok && math.Abs(v-s.Truth.HRex[0]) > 3 {
						big = append(big, g)
					}
				}
				sort.Float64s(gains)
				sort.Float64s(big)
				q := func(x []float64, p float64) float64 {
					if len(x) == 0 {
						return -1
					}
					return x[int(p*float64(len(x)-1))]
				}
				fmt.Printf("%-26s %d n %d: p50 %.1f p90 %.1f p95 %.1f p98 %.1f max %.1f | wrong %d: min %.1f p10 %.1f p25 %.1f p50 %.1f\n", name, sev, n, q(gains, .5), q(gains, .9), q(gains, .95), q(gains, .98), q(gains, 1), len(big), q(big, 0), q(big, .1), q(big, .25), q(big, .5))
			}
		}
	}
}
