package engine

import (
	"math"

	"canter.example/schemas"
)

// judgeLoad compares the speed with the protocol's; kept is true when there is
// both, and they agree.
func judgeLoad(v *verdict, m *measures, p *schemas.Protocol) (kept bool) {
	if m.missing > 0 {
		v.add(schemas.Check, schemas.ReasonStageMissing, "%d of the stages have too little valid heart rate, or were not run", m.missing)
	}
	if !m.speedOK {
		return false
	}
	want, secs, alike := 0.0, 0.0, true
	for _, st := range p.Stages {
		if st.Rest {
			continue
		}
		kmh, ok := st.SpeedKMH.Get()
		alike = alike && ok
		want += kmh * st.Duration.Seconds()
		secs += st.Duration.Seconds()
	}
	if alike && secs > 0 && want > 0 {
		want /= secs
		off := 100 * (3.6*m.speed/want - 1)
		if kept = math.Abs(off) <= mostSpeedOff; !kept {
			v.add(schemas.Check, schemas.ReasonLoadNotKept, "mean speed %.1f km/h is %+.0f %% off the protocol's %.1f km/h", 3.6*m.speed, off, want)
		}
	}
	if p.Regimen == schemas.Continuous && p.Progression == schemas.Fixed && m.speedCV > mostSpeedCV {
		v.add(schemas.Check, schemas.ReasonLoadNotKept, "speed varied by %.0f %% (coefficient of variation)", m.speedCV)
	}
	return kept
}

// judgeLevel compares HRex and peak with HRmax and the intensity band. loadKept
// says that the speed was the protocol's.
func judgeLevel(v *verdict, o *schemas.Outcome, m *measures, c *candidate, req *Request, loadKept bool) {
	top, ok := req.HRmax.BPM.Get()
	if !ok || top <= 0 {
		v.remark(schemas.ReasonHRmaxUnknown, "HRmax is not known: no %%HRmax")
		return
	}
	see := 0.0
	if req.HRmax.Source == schemas.HRmaxEstimated {
		see = req.HRmax.SEE.Or(10.8)
		v.remark(schemas.ReasonHRmaxEstimated, "HRmax of %.0f bpm is an estimate from age, ± %.0f bpm", top, see)
	}
	hrex, ok := o.HRexBPM.Get()
	if !ok {
		return
	}
	if over := m.whole.peak - top; over > 0 {
		if hrex > top {
			v.add(schemas.Check, schemas.ReasonHRmaxExceeded, "HRex of %.0f bpm is above HRmax (%.0f): HRmax is too low, or the readings are wrong", hrex, top)
		} else {
			v.remark(schemas.ReasonHRmaxExceeded, "heart rate reached %.0f bpm, above HRmax (%.0f): HRmax may need a new measurement", m.whole.peak, top)
		}
	}
	p := req.Protocol
	if p.BandHigh <= p.BandLow {
		return
	}
	pct, spare := 100*hrex/top, 100*see/top
	below := 100*p.BandLow - pct
	out := max(below, pct-100*p.BandHigh)
	known := loadKept || c.team || c.source == schemas.StartByHand
	switch {
	case !known && below > lighter:
		v.add(schemas.Check, schemas.ReasonOutsideBand, "HRex is %.0f %% of HRmax, below the band of %.0f to %.0f %%, and neither team-mates nor the protocol's speed say that this was the test: a lighter run?", pct, 100*p.BandLow, 100*p.BandHigh)
	case out > offBand+spare:
		v.add(schemas.Check, schemas.ReasonOutsideBand, "HRex is %.1f %% of HRmax, far outside the band of %.0f to %.0f %%", pct, 100*p.BandLow, 100*p.BandHigh)
	case out > 0:
		v.remark(schemas.ReasonOutsideBand, "HRex is %.1f %% of HRmax, outside the band of %.0f to %.0f %%", pct, 100*p.BandLow, 100*p.BandHigh)
	}
}
