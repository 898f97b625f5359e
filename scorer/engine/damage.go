package engine

import "canter.example/schemas"

// judgeFile says what the reader found wrong with the file. A damaged one makes
// the test doubtful, unless it merely ends early and did so after everything
// that the outcome is made of. What the reader had to decide about the device's
// clock moves the start, so it stands beside the result.
func (w *work) judgeFile(v *verdict, m *measures, req *Request) {
	s := &w.series
	if s.clock != "" {
		v.remark(schemas.ReasonClock, "from the reader of the file: %s", s.clock)
	}
	if s.damage.Kind == schemas.Sound {
		return
	}
	last := s.at[len(s.at)-1] + s.hold[len(s.hold)-1]
	needed := m.end + req.Protocol.MaxRecovery().Seconds() + req.Protocol.RecoveryWindow.Seconds()/2
	if s.damage.Kind == schemas.EndsEarly && last >= needed {
		v.remark(schemas.ReasonFileDamaged, "the file is damaged, after all that this test needs: %s", s.damage.What)
		return
	}
	v.add(schemas.Check, schemas.ReasonFileDamaged, "the file is damaged, and readings may be wrong or missing: %s", s.damage.What)
}
