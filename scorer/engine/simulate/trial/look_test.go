package trial

import (
	"flag"
	"fmt"
	"strings"
	"testing"

	"canter.example/scorer/engine"
	"canter.example/scorer/engine/simulate"
	"canter.example/scorer/engine/simulate/holdout"
)

var lookAt = flag.String("look", "", "name/sev/seed,...")

func TestLook(t *testing.T) {
	for _, l := range strings.Split(*lookAt, ",") {
		p := strings.Split(l, "/")
		if len(p) < 3 {
			continue
		}
		var sev int
		var seed uint64
		fmt.Sscan(p[1], &sev)
		fmt.Sscan(p[2], &seed)
		var s *simulate.Session
		for _, sc := range simulate.Scenarios {
			if sc.Name == p[0] {
				s = simulate.Make(sc, sev, seed)
			}
		}
		for _, sc := range holdout.Scenarios {
			if sc.Name == p[0] {
				s = holdout.Make(sc, sev, seed)
			}
		}
		req := RequestFor(s)
		req.Explain = true
		r := engine.Score(s.Trace, req)
		fmt.Println("=====", l, "truth", s.Truth.Starts, s.Truth.HRex, s.Truth.HRR, s.Truth.Seconds, "planned", s.Around)
		fmt.Println(r.Explanation.Text())
		if len(s.Truth.Starts) > 0 {
			t0 := s.Truth.Starts[0].Sub(s.Trace.Start).Seconds()
			for _, m := range s.Trace.Samples {
				if d := m.At.Seconds() - t0; d > -70 && d < s.Truth.Seconds+90 {
					fmt.Printf("%.0f:%.0f ", d, m.HR)
				}
			}
			fmt.Println()
		}
	}
}
