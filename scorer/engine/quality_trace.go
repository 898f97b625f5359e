package engine

import "canter.example/schemas"

// judgeTrace looks at what cleaning dropped, and at sudden steps that it left.
func (w *work) judgeTrace(v *verdict, o *schemas.Outcome, m *measures, c *candidate, p *schemas.Protocol) {
	s := &w.series
	if !o.HRexBPM.Present() {
		v.add(schemas.Reject, schemas.ReasonLowCoverage,
			"no HRex: %.0f %% of its window has valid heart rate, %.0f %% are needed", 100*o.Coverage, 100*m.coverMin)
	}
	var by [drops]float64
	total, dropped := 0.0, 0.0
	for i := s.firstAt(m.at); i < len(s.at) && s.at[i] < m.end; i++ {
		if s.at[i] < m.at {
			continue
		}
		total += s.hold[i]
		by[s.why[i]] += s.hold[i]
		if s.why[i] != kept && s.why[i] != noReading {
			dropped += s.hold[i]
		}
	}
	if total > 0 && dropped > mostDropped*total {
		v.add(schemas.Check, schemas.ReasonArtefacts, "%.0f %% of the test's readings are artefacts", 100*dropped/total)
	}
	for _, k := range [...]struct {
		why  drop
		code schemas.ReasonCode
	}{{slipped, schemas.ReasonStrapSlip}, {stuck, schemas.ReasonStuck}, {onCadence, schemas.ReasonCadenceLock}} {
		if by[k.why] > 0.1*m.length {
			v.add(schemas.Check, k.code, "%.0f s of the test dropped: %s", by[k.why], dropWords[k.why])
		}
	}
	before, until := 0.0, 0.0
	for i := s.firstAt(m.at - slippedBefore); i < len(s.at) && s.at[i] < m.at; i++ {
		if s.why[i] == slipped || s.why[i] == onCadence {
			before, until = before+s.hold[i], s.at[i]+s.hold[i]
		}
	}
	if before > longSlip {
		// Between two jumps it was the stretch that looked wrong; it may have
		// been the right one, and all else since then wrong.
		v.add(schemas.Check, schemas.ReasonStrapSlip, "%.0f s dropped until %s because heart rate jumps there and back: the strap may have slipped, and the level be wrong since",
			before, when(until-m.at))
	}
	if cover := m.whole.coverage(); cover < 0.6 {
		v.add(schemas.Check, schemas.ReasonLowCoverage, "only %.0f %% of the whole test has valid heart rate", 100*cover)
	}
	recovered := m.end + p.MaxRecovery().Seconds() + 5
	for _, st := range s.steps {
		if st.at > m.at-stepsBefore && st.at < recovered {
			v.add(schemas.Check, schemas.ReasonStrapSlip, "heart rate jumps by %+.0f bpm %s: the strap may have slipped, and the level be wrong since",
				st.size, when(st.at-m.at))
			break
		}
	}
	if o.HRexSE.Or(0) > mostHRexSE {
		v.add(schemas.Check, schemas.ReasonHighUncertainty, "HRex is uncertain by %.1f bpm (standard error)", m.hrexSE)
	}
}
