package trial

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"canter.example/scorer/engine"
	"canter.example/scorer/engine/simulate"
)

func TestDbg(t *testing.T) {
	var seed uint64
	var sev int
	parts := strings.Split(os.Getenv("DBG"), "/")
	if len(parts) != 3 {
		return
	}
	fmt.Sscan(parts[1], &sev)
	fmt.Sscan(parts[2], &seed)
	for _, sc := range simulate.Scenarios {
		if sc.Name != parts[0] {
			continue
		}
		s := simulate.Make(sc, sev, seed)
		req := RequestFor(s)
		req.Explain = true
		r := engine.Score(s.Trace, req)
		fmt.Println(s.Truth, "D", s.Protocol.Duration(), "truth", s.Truth.Starts, s.Truth.HRex, s.Truth.HRR, "secs", s.Truth.Seconds, "around", s.Around)
		fmt.Println(r.Explanation.Text())
		if os.Getenv("PLOT") != "" && len(s.Truth.Starts) > 0 {
			from := s.Truth.Starts[0].Sub(s.Trace.Start)
			next := time.Duration(-1 << 62)
			for _, m := range s.Trace.Samples {
				if d := m.At - from; d > -200*time.Second && d < s.Protocol.Duration()+100*time.Second && m.At >= next {
					fmt.Printf("%4.0f:%.0f ", d.Seconds(), m.HR)
					next = m.At + 4*time.Second
				}
			}
			fmt.Println()
		}
	}
}
