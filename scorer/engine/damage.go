package engine

import (
	"strings"

	"canter.example/schemas"
)

// judgeFile says what the reader found wrong with the file. A damaged one makes
// the test doubtful, unless it merely ends early and did so after everything
// that the outcome is made of. What the reader had to decide about the device's
// clock moves the start, so it stands beside the result.
func (w *work) judgeFile(v *verdict, m *measures, req *Request) {
	s := &w.series
	if s.clock != "" {
		v.remark(schemas.ReasonClock, "from the reader of the file: %s", s.clock)
	}
	if !s.damaged {
		return
	}
	last := s.at[len(s.at)-1] + s.hold[len(s.hold)-1]
	needed := m.end + req.Protocol.MaxRecovery().Seconds() + req.Protocol.RecoveryWindow.Seconds()/2
	if s.endsEarly && last >= needed {
		v.remark(schemas.ReasonFileDamaged, "the file is damaged, after all that this test needs: %s", s.damage)
		return
	}
	v.add(schemas.Check, schemas.ReasonFileDamaged, "the file is damaged, and readings may be wrong or missing: %s", s.damage)
}

// readerWords are how readers of files begin the note on a damage, and how they
// say that a file merely ends early.
const (
	readerDamage = "damaged: "
	readerEnds   = "ends early"
)

// takeDamage notes what the reader said of the file.
func (s *series) takeDamage(tr *schemas.Trace) {
	s.damaged, s.endsEarly, s.damage, s.clock = tr.Damaged, false, "the reader does not say where", ""
	for _, n := range tr.Notes {
		if s.clock == "" && (strings.Contains(n, "clock") || strings.Contains(n, "as UTC")) {
			s.clock = n
		}
		if tr.Damaged && strings.HasPrefix(n, readerDamage) {
			s.damage = strings.TrimPrefix(n, readerDamage)
			s.endsEarly = strings.Contains(n, readerEnds)
		}
	}
}
