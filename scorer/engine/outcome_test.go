package engine

import (
	"math"
	"slices"
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/scorer/engine/simulate"
)

// threeStages is a test of three stages of two minutes.
func threeStages() *schemas.Protocol {
	p := fourMinutes()
	p.ID, p.Progression = "three-stages", schemas.Incremental
	p.Stages = nil
	for _, kmh := range []float64{9, 11, 13} {
		p.Stages = append(p.Stages, schemas.Stage{Duration: 2 * time.Minute, SpeedKMH: schemas.Num(kmh)})
	}
	p.HRexWindow = 30 * time.Second
	return p
}

// TestHRexByEachMethod: heart rate that climbs by 10 bpm a minute for six
// minutes and falls in the last half of one has its stages' ends, its last
// window and its highest one at different places.
func TestHRexByEachMethod(t *testing.T) {
	tr := traceOf(1300, 1, func(at float64) float64 {
		k := at - 600
		switch {
		case k < 0:
			return 100
		case k < 330:
			return 100 + k/6
		case k < 360:
			return 155 - (k-330)/3
		default:
			return 145 - min(40, (k-360)/1.5)
		}
	})
	for _, c := range []struct {
		method schemas.HRexMethod
		want   float64
	}{
		{schemas.FinalMean, 155 - 29.0/2/3},
		{schemas.StageMean, 155 - 29.0/2/3},
		{schemas.PeakMean, 155 - 20.0/2/6}, // 20 s before the top, 10 s after it
	} {
		p := threeStages()
		p.HRex = c.method
		o := one(t, Score(tr, Request{Protocol: p, HRmax: measured(190), Start: day.Add(600 * time.Second)}))
		near(t, string(c.method), o.HRexBPM, c.want, 0.1)
		if len(o.Stages) != 3 {
			t.Fatalf("%s: %d stages", c.method, len(o.Stages))
		}
		for i, want := range []float64{100 + 104.5/6, 100 + 224.5/6} {
			near(t, "end of a stage", o.Stages[i].BPM, want, 0.1)
			near(t, "end of a stage, %HRmax", o.Stages[i].Pct, 100*want/190, 0.1)
		}
	}
}

func TestAMissingStageIsSaid(t *testing.T) {
	tr := traceOf(1300, 1, run(90, 160, 25, 45))
	tr.Samples = slices.DeleteFunc(tr.Samples, func(s schemas.Sample) bool {
		return s.At >= 685*time.Second && s.At < 720*time.Second
	})
	o := one(t, Score(tr, Request{Protocol: threeStages(), HRmax: measured(200), Start: day.Add(600 * time.Second)}))
	if o.Stages[0].BPM.Present() || !o.Stages[1].BPM.Present() || !has(o, schemas.ReasonStageMissing) {
		t.Errorf("%+v, %v", o.Stages, o.Reasons)
	}
}

// TestRecoveryAtSeveralDelays: the decay of Barak et al. 2011 (FACTS 4.7), seated.
func TestRecoveryAtSeveralDelays(t *testing.T) {
	p := fourMinutes()
	p.Posture, p.Recovery = schemas.Seated, []time.Duration{2 * time.Minute, time.Minute, 30 * time.Second}
	tr := traceOf(1200, 1, func(at float64) float64 {
		if at < 840 {
			return 147
		}
		return 89 + 58*math.Exp(-(at+0.5-840)/52.5)
	})
	o := one(t, Score(tr, Request{Protocol: p, HRmax: measured(190), Start: day.Add(600 * time.Second)}))
	for _, s := range []int{30, 60, 120} {
		r, ok := o.HRR(s)
		if !ok {
			t.Fatalf("no HRR%d: %v", s, o.Reasons)
		}
		near(t, "HRR", r.BPM, 58*(1-math.Exp(-float64(s)/52.5)), 0.1)
	}
}

// TestPostureSaysWhatAFallMeans: 9 bpm in a minute is a walk, not a rest.
func TestPostureSaysWhatAFallMeans(t *testing.T) {
	tr := traceOf(1100, 1, func(at float64) float64 {
		if at < 840 {
			return run(90, 160, 25, 45)(at)
		}
		return 151 + 9*math.Exp(-(at-840)/15)
	})
	for posture, broken := range map[schemas.Posture]bool{schemas.Standing: true, schemas.Seated: true, schemas.Walking: false} {
		p := fourMinutes()
		p.Posture = posture
		o := one(t, Score(tr, Request{Protocol: p, HRmax: measured(195), Start: day.Add(600 * time.Second)}))
		if has(o, schemas.ReasonRecoveryBroken) != broken {
			t.Errorf("%s: %v", posture, o.Reasons)
		}
	}
}

// TestTimeInBandAndHRmax: 175 - 80 exp(-t/40) is in 150 to 170 bpm from 46.5 to
// 110.9 s.
func TestTimeInBandAndHRmax(t *testing.T) {
	tr := traceOf(1200, 1, run(95, 175, 40, 45))
	req := Request{Protocol: fourMinutes(), HRmax: measured(200), Start: day.Add(600 * time.Second)}
	o := one(t, Score(tr, req))
	near(t, "time in the band", o.BandSeconds, 40*math.Log(25/5.0), 1)
	if has(o, schemas.ReasonHRmaxExceeded) || has(o, schemas.ReasonHRmaxEstimated) {
		t.Errorf("%v", o.Reasons)
	}
	req.HRmax = measured(174)
	if o = one(t, Score(tr, req)); !has(o, schemas.ReasonHRmaxExceeded) || o.HRmax != req.HRmax {
		t.Errorf("a peak over HRmax: %v, %v", o.HRmax, o.Reasons)
	}
	req.HRmax = schemas.HRmax{BPM: schemas.Num(200), Source: schemas.HRmaxEstimated, SEE: schemas.Num(10.8)}
	if o = one(t, Score(tr, req)); !has(o, schemas.ReasonHRmaxEstimated) {
		t.Errorf("an estimate is not called one: %v", o.Reasons)
	}
}

func TestSpeedThatIsNotTheProtocolsIsSaid(t *testing.T) {
	for _, c := range []struct {
		kmh  float64
		kept bool
	}{{12, true}, {12.5, true}, {10.5, false}, {13.5, false}} {
		tr := traceOf(1200, 1, run(90, 160, 25, 45))
		for i := range tr.Samples {
			tr.Samples[i].Have = schemas.HasSpeed
			if at := tr.Samples[i].At.Seconds(); at >= 600 && at < 840 {
				tr.Samples[i].Speed = float32(c.kmh / 3.6)
			}
		}
		o := one(t, Score(tr, Request{Protocol: fourMinutes(), HRmax: measured(200), Start: day.Add(600 * time.Second)}))
		near(t, "speed", o.SpeedKMH, c.kmh, 0.01)
		near(t, "its variation", o.SpeedCV, 0, 0.1)
		if has(o, schemas.ReasonLoadNotKept) == c.kept {
			t.Errorf("%.1f km/h: %v", c.kmh, o.Reasons)
		}
	}
}

func TestTrapsSayWhatTheyAre(t *testing.T) {
	for _, c := range []struct {
		scenario string
		code     schemas.ReasonCode
		share    float64 // of the tests that are found and not good
	}{
		{"cut short", schemas.ReasonCutShort, 0.7},
		{"two tests", schemas.ReasonSecondTest, 0.7},
		{"strap late", schemas.ReasonHighAtStart, 0.7},
	} {
		said, doubted := 0, 0
		for seed := range uint64(40) {
			s := simulate.Make(simulate.Scenario{Name: c.scenario, Group: simulate.Trap, Severities: 3}, 2, seed)
			for _, o := range tests(s.Trace, Request{Protocol: s.Protocol, HRmax: s.HRmax}) {
				if o.Quality != schemas.Good {
					doubted++
					if has(&o, c.code) {
						said++
					}
				}
			}
		}
		if doubted < 15 || float64(said) < c.share*float64(doubted) {
			t.Errorf("%s: %d of %d doubtful tests say %s", c.scenario, said, doubted, c.code)
		}
	}
}

// TestUncertaintyIsHonest: nine numbers in ten are within two of their standard
// errors of the truth, over clean simulated tests.
func TestUncertaintyIsHonest(t *testing.T) {
	var n, in [2]int
	for seed := range uint64(250) {
		s := simulate.Make(simulate.Scenario{Name: "clean", Group: simulate.Clean, Severities: 1}, 1, seed)
		for _, o := range tests(s.Trace, Request{Protocol: s.Protocol, HRmax: s.HRmax}) {
			if o.Quality != schemas.Good {
				continue
			}
			count := func(k int, v, se schemas.Number, truth float64) {
				n[k]++
				if math.Abs(v.Or(0)-truth) <= 2*math.Hypot(se.Or(0), 0.3) {
					in[k]++
				}
			}
			count(0, o.HRexBPM, o.HRexSE, s.Truth.HRex[0])
			if r, ok := o.HRR(60); ok {
				count(1, r.BPM, r.SE, s.Truth.HRR[0])
			}
		}
	}
	for k, what := range []string{"HRex", "HRR60"} {
		t.Logf("%s: %d of %d within two standard errors", what, in[k], n[k])
		if n[k] < 200 || in[k]*10 < n[k]*9 {
			t.Errorf("%s: %d of %d within two standard errors", what, in[k], n[k])
		}
	}
}
