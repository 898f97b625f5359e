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

func TestWhich(t *testing.T) {
	parts := strings.Split(os.Getenv("W"), "/")
	if len(parts) != 2 {
		return
	}
	var sev int
	fmt.Sscan(parts[1], &sev)
	tally := map[string]int{}
	shown := 0
	for _, sc := range simulate.Scenarios {
		if sc.Name != parts[0] {
			continue
		}
		for seed := range uint64(300) {
			s := simulate.Make(sc, sev, seed+40000)
			req := RequestFor(s)
			req.Explain = true
			r := engine.Score(s.Trace, req)
			what := "none"
			for _, f := range r.Tests {
				for _, st := range s.Truth.Starts {
					if d := f.Outcome.Start.Sub(st).Abs(); d <= 5*time.Second {
						what = "right"
					} else if d < time.Minute && what != "right" {
						what = "off"
					} else if what == "none" {
						what = "elsewhere"
					}
				}
			}
			tally[what]++
			if what != "right" && shown < 8 {
				shown++
				fmt.Println(s.Truth, "D", s.Protocol.Duration(), "truth", s.Truth.Starts, "ran", s.Truth.Seconds, "planned", !s.Around.IsZero(), "->", what)
				for i, l := range strings.Split(r.Explanation.Text(), "\n") {
					if strings.HasPrefix(l, "cand") || strings.HasPrefix(l, "test") || strings.HasPrefix(l, "no test") || strings.Contains(l, "uncertain:") || strings.Contains(l, "steady:") {
						if i < 60 {
							fmt.Println("   ", l)
						}
					}
				}
			}
		}
	}
	fmt.Println(tally)
}

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
		if os.Getenv("PLOT") != "" && len(r.Tests) > 0 {
			from := r.Tests[0].Outcome.Start.Sub(s.Trace.Start)
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
