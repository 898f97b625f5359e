package engine

import (
	"math"
	"testing"
	"time"

	"canter.example/schemas"
)

func fourMinutes() *schemas.Protocol {
	return &schemas.Protocol{
		ID: "run-4min", Regimen: schemas.Continuous, Progression: schemas.Fixed,
		Stages: []schemas.Stage{{Duration: 4 * time.Minute, SpeedKMH: schemas.Num(12)}},
		HRex:   schemas.FinalMean, HRexWindow: time.Minute, Recovery: []time.Duration{time.Minute},
		Posture: schemas.Standing, EndWindow: 5 * time.Second, RecoveryWindow: 5 * time.Second,
		BandLow: 0.75, BandHigh: 0.85, MinCoverage: 0.8,
	}
}

func TestSmoke(t *testing.T) {
	tr := &schemas.Trace{Start: time.Date(2026, 3, 3, 9, 0, 0, 0, time.UTC)}
	hr := 95.0
	for k := range 2400 {
		target, tau := 95.0, 50.0
		if k >= 600 && k < 840 {
			target, tau = 162, 35
		}
		if k > 1000 && (k/40)%2 == 0 {
			target = 150
		}
		hr += (target - hr) / tau
		tr.Samples = append(tr.Samples, schemas.Sample{At: time.Duration(k) * time.Second, HR: float32(math.Round(hr + math.Sin(float64(k)*1.7) + math.Cos(float64(k)*0.13)))})
	}
	r := Score(tr, Request{Protocol: fourMinutes(), HRmax: schemas.HRmax{BPM: schemas.Num(195), Source: schemas.HRmaxMeasured}, Explain: true})
	t.Log(r.Explanation.Text())
	if len(r.Tests) == 1 {
		t.Logf("%+v", r.Tests[0].Outcome)
	}
}
