package trial

import (
	"fmt"
	"os"
	"testing"
	"time"

	"canter.example/scorer/engine"
	"canter.example/scorer/engine/simulate"
)

func TestReasons(t *testing.T) {
	name := os.Getenv("SC")
	for _, sc := range simulate.Scenarios {
		if sc.Name != name {
			continue
		}
		tally := map[string]int{}
		for seed := range uint64(400) {
			s := simulate.Make(sc, 1, seed+9000)
			r := engine.Score(s.Trace, RequestFor(s))
			if r.None != nil {
				tally["none: "+r.None.Text[:25]]++
			}
			for _, f := range r.Tests {
				right := "elsewhere"
				for _, st := range s.Truth.Starts {
					if f.Outcome.Start.Sub(st).Abs() < time.Minute {
						right = "right"
					}
				}
				tally[right+" "+string(f.Outcome.Quality)]++
				if f.Outcome.Quality != "good" {
					for _, x := range f.Outcome.Reasons {
						tx := x.Text
						if len(tx) > 40 {
							tx = tx[:40]
						}
						tally[right+" "+string(x.Code)+": "+tx]++
						if x.Code == "not-steady" || x.Code == "strap-slip" {
							tally[right+" "+string(x.Code)]++
						}
					}
				}
			}
		}
		for k, v := range tally {
			if v > 2 {
				fmt.Println(v, k)
			}
		}
	}
}
