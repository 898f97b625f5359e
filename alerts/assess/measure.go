package assess

import "canter.example/schemas"

// Units of comparisons.
const (
	Points = "% points of HRmax"
	BPM    = "bpm"
)

// Published smallest worthwhile changes, as a share of the athlete's own
// level, used when there are too few athletes for Hopkins' 0.2 × between-athlete
// SD: about 1 % for HRex, about 7 % for HRR60 (Buchheit 2014, Front Physiol
// 5:73, table 1; FACTS 2.4).
const (
	hrexSWC = 0.01
	hrrSWC  = 0.07
)

// measure is one number followed over time: how to read it off a test and
// what it is held against.
type measure struct {
	name    schemas.Measure
	seconds int
	unit    string
	// hrmax turns bpm into points when unit is Points.
	hrmax float64
	// te and least (change) in unit; swc as a share of the level.
	te, least, swc float64
}

// hrexOf returns how HRex of o and its earlier tests is compared.
//
// A %HRmax is bpm over an HRmax that changes when the club measures it anew,
// and every January when it is estimated from age. Percentages made with
// different HRmax differ though the heart did the same. So the stored
// percentage is not used: every test's bpm is turned into points with the
// HRmax of the test at hand. An error in that HRmax scales value, mean, SD and
// change alike, and z not at all.
func hrexOf(o *schemas.Outcome, s Settings) measure {
	m := hrexInBPM(s)
	if hrmax, ok := o.HRmax.BPM.Get(); ok && hrmax > 0 {
		m.unit, m.hrmax, m.te, m.least = Points, hrmax, s.HRexTE, s.HRexPoints
	}
	return m
}

// hrexInBPM returns how HRex is compared where HRmax is left out of it.
func hrexInBPM(s Settings) measure {
	return measure{name: schemas.MeasureHRex, unit: BPM, te: s.HRexTEBPM, least: s.HRexBPM, swc: hrexSWC}
}

// hrrOf returns how HRR at the given delay is compared.
func hrrOf(seconds int, s Settings) measure {
	return measure{name: schemas.MeasureHRR, seconds: seconds, unit: BPM, te: s.HRRTE, least: s.HRRBPM, swc: hrrSWC}
}

// of reads the number off a test.
func (m measure) of(o *schemas.Outcome) schemas.Number {
	if m.name == schemas.MeasureHRR {
		r, ok := o.HRR(m.seconds)
		if !ok {
			return schemas.Number{}
		}
		return r.BPM
	}
	bpm, ok := o.HRexBPM.Get()
	if !ok {
		return schemas.Number{}
	}
	if m.unit == Points {
		return schemas.Num(100 * bpm / m.hrmax)
	}
	return schemas.Num(bpm)
}

// less takes a session's shift off each value.
func less(values []float64, from []*schemas.Outcome, shifts map[string]float64, scale float64) []float64 {
	if len(shifts) == 0 {
		return values
	}
	out := make([]float64, len(values))
	for i, v := range values {
		out[i] = v - scale*shifts[from[i].Session]
	}
	return out
}

// shifts returns the effect on m among effects, its shifts, and what turns
// them into m's unit. A squad is followed in points while most have an HRmax.
func (m measure) shifts(effects []Effect) (e Effect, scale float64) {
	for _, e := range effects {
		if e.Measure != m.name || e.Seconds != m.seconds {
			continue
		}
		switch {
		case e.Unit == m.unit:
			return e, 1
		case m.unit == BPM:
			return e, BPMPerPoint
		default:
			return e, 1 / BPMPerPoint
		}
	}
	return Effect{}, 1
}

// series reads the number off each test that has it, and returns those tests.
func (m measure) series(tests []*schemas.Outcome) (values []float64, from []*schemas.Outcome) {
	if len(tests) > 0 {
		values, from = make([]float64, 0, len(tests)), make([]*schemas.Outcome, 0, len(tests))
	}
	for _, t := range tests {
		if v, ok := m.of(t).Get(); ok {
			values = append(values, v)
			from = append(from, t)
		}
	}
	return values, from
}
