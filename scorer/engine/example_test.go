package engine_test

import (
	"fmt"
	"math"
	"time"

	"canter.example/schemas"
	"canter.example/scorer/engine"
)

// A run of four minutes from 10:00 on: rest at 90 bpm, a rise to 160 with a
// time constant of 30 s, a recovery with one of 50 s.
func ExampleScore() {
	tr := &schemas.Trace{Start: time.Date(2026, 3, 3, 9, 55, 0, 0, time.UTC)}
	for k := range 900 {
		t, hr := float64(k)+0.5, 90.0
		switch {
		case t >= 540:
			hr = 90 + 70*math.Exp(-(t-540)/50)
		case t >= 300:
			hr = 160 - 70*math.Exp(-(t-300)/30)
		}
		// A little of what every strap adds.
		hr += math.Sin(t*1.3) + math.Sin(t*2.9)
		tr.Samples = append(tr.Samples, schemas.Sample{At: time.Duration(k) * time.Second, HR: float32(math.Round(hr))})
	}
	r := engine.Score(tr, engine.Request{
		Protocol: &schemas.Protocol{
			ID: "weekly run", Regimen: schemas.Continuous, Progression: schemas.Fixed,
			Stages: []schemas.Stage{{Duration: 4 * time.Minute}},
			HRex:   schemas.FinalMean, HRexWindow: time.Minute,
			Recovery: []time.Duration{time.Minute}, Posture: schemas.Standing,
			BandLow: 0.75, BandHigh: 0.85, MinCoverage: 0.8,
		},
		HRmax:  schemas.HRmax{BPM: schemas.Num(200), Source: schemas.HRmaxMeasured},
		Around: time.Date(2026, 3, 3, 10, 2, 0, 0, time.UTC), Within: 10 * time.Minute,
	})
	for _, f := range r.Tests {
		o := &f.Outcome
		hrr, _ := o.HRR(60)
		fmt.Printf("%s, %s: HRex %s bpm (%s %%HRmax), HRR60 %s bpm\n", o.StartSource, o.Quality,
			o.HRexBPM.Text(0), o.HRexPct.Text(0), hrr.BPM.Text(0))
	}
	// Output: planned time, good: HRex 160 bpm (80 %HRmax), HRR60 48 bpm
}
