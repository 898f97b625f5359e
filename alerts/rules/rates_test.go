package rules_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"canter.example/alerts/assess"
	"canter.example/alerts/rules"
	"canter.example/schemas"
)

// rates plays athletes of known noise through the real assessment and rules: a
// test a week for 20 weeks without any change, then a step of HRex that stays.
type rates struct {
	// falseHRex, falseHRR and falseAny are alerts per test of an unchanged
	// athlete; caught is the share of steps told within two tests.
	falseHRex, falseHRR, falseAny, caught float64
}

func play(rng *rand.Rand, athletes int, te, hrrTE, step float64, points, hrr, z float64) rates {
	th := *thresholds
	th.HRexRisePoints, th.HRRFallBPM, th.Z = points, hrr, z
	s := assess.From(th)
	var r rates
	tests := 0.0
	for range athletes {
		var history []schemas.Outcome
		level, recovery, told := 80+5*rng.NormFloat64(), 40+8*rng.NormFloat64(), false
		for week := range 22 {
			o := test(week)
			shift := 0.0
			if week >= 20 {
				shift = step
			}
			o.HRexBPM = schemas.Num(2 * (level + shift + te*rng.NormFloat64())) // HRmax 200
			o.Recovery = []schemas.Recovery{{Seconds: 60, BPM: schemas.Num(recovery + hrrTE*rng.NormFloat64())}}
			ds := rules.Decide(assess.Test(o, history, assess.Context{}, s), o, history, rules.Before{}, &th)
			history = append(history, o)
			hrexFires, hrrFires := ds[0].Why == rules.Fires, ds[1].Why == rules.Fires
			switch {
			case week >= 20:
				told = told || hrexFires
			case week >= th.MinBaseline:
				tests++
				r.falseHRex += one(hrexFires)
				r.falseHRR += one(hrrFires)
				r.falseAny += one(hrexFires || hrrFires)
			}
		}
		r.caught += one(told) / float64(athletes)
	}
	r.falseHRex, r.falseHRR, r.falseAny = r.falseHRex/tests, r.falseHRR/tests, r.falseAny/tests
	return r
}

func one(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// The noise is the published typical error (Scott et al. 2018; FACTS 2.1): HRex
// 1.2 points, HRR60 3.4 bpm. Bounds are the simulated rates with about four
// standard errors on top.
func TestErrorRatesAtThePublishedTypicalError(t *testing.T) {
	for _, c := range []struct {
		name           string
		points, hrr, z float64
		mostFalse      float64
		leastFalse     float64
		leastCaught    float64
	}{
		{"the published thresholds for an individual change make a false alert in every sixth test", 1.8, 4.6, 1.0, 1, 0.13, 0.95},
		{"HRR's published threshold alone keeps false alerts above one in 20 tests", 2.8, 4.6, 1.5, 1, 0.05, 0.85},
		{"the minimal detectable changes of 90 % and z 2 are about one in 40", 2.8, 7.9, 2.0, 0.035, 0, 0.85},
		{"those of 95 % are about one in 150", 3.3, 9.4, 2.0, 0.013, 0, 0.80},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := play(rand.New(rand.NewPCG(21, 4)), 200, 1.2, 3.4, 4, c.points, c.hrr, c.z)
			line := fmt.Sprintf("false: HRex %.4f, HRR %.4f, any %.4f a test; a 4-point step caught within two tests: %.3f", r.falseHRex, r.falseHRR, r.falseAny, r.caught)
			t.Log(line)
			if r.falseAny > c.mostFalse || r.falseAny < c.leastFalse || r.caught < c.leastCaught {
				t.Error(line)
			}
		})
	}
}
