package trial

import (
	"sort"
	"testing"

	"canter.example/scorer/engine"
	"canter.example/scorer/engine/simulate"
	"canter.example/scorer/engine/simulate/holdout"
)

func TestSigned(t *testing.T) {
	if *devSeed == 0 {
		t.Skip()
	}
	for _, g := range []struct {
		n  string
		sc []simulate.Scenario
		f  Invent
	}{{"dev", simulate.Scenarios[:1], simulate.Make}, {"hold", holdout.Scenarios[:4], holdout.Make}} {
		var off []float64
		reasons := map[string]int{}
		for i := range 1200 {
			s := g.f(g.sc[i%len(g.sc)], 1, *devSeed+uint64(i))
			r := engine.Score(s.Trace, RequestFor(s))
			if len(r.Tests) != 1 {
				reasons["tests != 1"]++
				continue
			}
			off = append(off, r.Tests[0].Outcome.Start.Sub(s.Truth.Starts[0]).Seconds())
			o := &r.Tests[0].Outcome
			if o.Quality != "good" {
				for _, x := range o.Reasons {
					k := string(o.Quality) + " " + string(x.Code) + " " + x.Text
					if len(k) > 60 {
						k = k[:60]
					}
					reasons[k]++
				}
			}
		}
		sort.Float64s(off)
		n := len(off)
		t.Log(g.n, "signed start error quantiles 1,5,25,50,75,95,99:", off[n/100], off[n/20], off[n/4], off[n/2], off[n*3/4], off[n*95/100], off[n*99/100])
		var ks []string
		for k := range reasons {
			ks = append(ks, k)
		}
		sort.Slice(ks, func(a, b int) bool { return reasons[ks[a]] > reasons[ks[b]] })
		for _, k := range ks {
			if reasons[k] > 3 {
				t.Log("   ", reasons[k], k)
			}
		}
	}
}
