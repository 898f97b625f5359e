package engine

import (
	"fmt"
	"math"

	"canter.example/schemas"
)

// Limits of a recovery that can be believed; choices of this package.
const (
	// mostReboundBend: how far 10 s of it may be off the fitted decay (bpm).
	mostReboundBend = 3.0
	// mostFallOn: how far heart rate may be below where the decay leads to soon
	// after a delay (bpm).
	mostFallOn = 5.0
	// usualHold: seconds for which heart rate keeps up after a steady run, and
	// leastLate beyond them that are no chance.
	usualHold, leastLate = 5.0, 3.0
	// leastReboundLeap (bpm) is the size of a sudden change in it.
	leastReboundLeap = 4.0
)

// delayed is HRR at one delay.
type delayed struct {
	delay  float64
	from   float64 // of its window, trace seconds
	to     float64
	avg    average
	fall   float64 // bpm, meaningful when ok
	se     float64
	ok     bool
	broken bool // heart rate rose again, the athlete ran, or it is unsound
	// late is by how many seconds heart rate turns later at the end of the test
	// than a body and the device's averaging explain: a delay nobody knows.
	late float64
	// unsound says in words why the samples are not those of a recovery, ""
	// when they are.
	unsound string
}

// recover takes HRR at each delay, and the recovery constant when three minutes
// of recovery were recorded. A device that averages shows heart rate late, and
// it falls fast by then: the windows are read so much later.
func (m *measures) recover(s *series, p *schemas.Protocol, startSD float64) {
	half := p.RecoveryWindow.Seconds() / 2
	m.ranAfter = m.runs(s, p)
	// However well the start is known: how late the device shows heart rate is not.
	unsure, slope := max(startSD, math.Sqrt(sq(sharedDelaySD)+m.lagVar)), m.endNoise.slope
	if p.Regimen == schemas.Intermittent {
		slope = s.noiseIn(m.endAt-10, m.endAt).slope // a bout's end is steep
	}
	for _, r := range p.Recovery {
		d := delayed{delay: r.Seconds()}
		at := m.end + m.lag + d.delay
		d.from, d.to = at-half, at+half
		d.avg = s.window(d.from, d.to)
		enough := d.avg.coverage() >= p.MinCoverage && d.avg.n > 0
		d.broken = m.ranAfter || (enough && m.roseAgain(s, &d))
		d.ok = enough && m.endHR.coverage() >= p.MinCoverage && m.endHR.n > 0 && !d.broken
		if d.ok {
			d.unsound, d.late = m.unsound(s, &d, p)
			d.ok = d.unsound == ""
			d.broken = !d.ok
		}
		if d.ok {
			d.fall = m.endHR.mean - d.avg.mean
			there := s.noiseIn(at-10, at+10)
			d.se = math.Sqrt(sq(m.endNoise.se(m.endHR.n)) + sq(there.se(d.avg.n)) +
				sq((slope-there.slope)*math.Hypot(unsure, d.late)))
		}
		m.delays = append(m.delays, d)
	}
	if !m.ranAfter {
		m.tau, m.tauSE = recoveryTau(s, m.end)
	}
}

// below reports whether heart rate at a delay is far lower than at any time in
// the five minutes before the test. Who jogged and walked before and then
// stands still does go lower, so it must be by more than a quarter of what they
// are above it at the end, or by 15 bpm and noise; who ran all the time before tells nothing.
func (m *measures) below(s *series, d *delayed) bool {
	if d.delay > 130 || d.avg.n == 0 {
		return false
	}
	lowest, seen := math.Inf(1), 0.0
	for t := m.at - 300; t+20 <= m.at; t += 10 {
		if a := s.window(t, t+20); a.coverage() >= 0.6 {
			lowest, seen = min(lowest, a.mean), seen+10
		}
	}
	above := m.endHR.mean - lowest
	return seen >= 40 && above > 20 && d.avg.mean < lowest-6-s.wiggle-min(0.25*above, 15)
}

func sq(x float64) float64 { return x * x }

// roseAgain reports whether heart rate, on its way to the delay, had already
// been clearly lower: the athlete moved again.
func (m *measures) roseAgain(s *series, d *delayed) bool {
	for t := m.end + 10; t+10 <= d.from; t += 5 {
		a := s.window(t, t+10)
		if a.coverage() >= 0.6 && d.avg.mean-a.mean > 6+2*s.wiggle {
			return true
		}
	}
	return false
}

// runs reports whether the athlete ran in the recovery although the protocol
// says to stand, sit or walk.
func (m *measures) runs(s *series, p *schemas.Protocol) bool {
	if len(p.Recovery) == 0 || s.speeds == 0 {
		return false
	}
	most := 1.6
	if p.Posture == schemas.Walking {
		most = 2.2
	}
	from, to := m.end+8, m.end+p.Recovery[0].Seconds()
	ran, all := 0.0, 0.0
	for i := s.firstAt(from); i < len(s.at) && s.at[i] < to; i++ {
		if s.at[i] >= from && s.have[i]&schemas.HasSpeed != 0 {
			all += s.hold[i]
			if float64(s.speed[i]) > most {
				ran += s.hold[i]
			}
		}
	}
	return all > 0.5*(to-from) && ran > 12
}

// unsound fits the recovery and says what is wrong with it, "" when nothing, and
// by how many seconds it begins late.
func (m *measures) unsound(s *series, d *delayed, p *schemas.Protocol) (why string, late float64) {
	if m.below(s, d) {
		return "heart rate is far lower than at any time in the 5 min before the test: an artefact in the recovery", 0
	}
	before := float64(reboundBefore)
	if p.Regimen == schemas.Intermittent {
		before = reboundBout
	}
	r, ok := s.reboundOf(m.end, d.delay, m.lag, before)
	if !ok {
		return "", 0
	}
	most := mostReboundBend + 0.5*max(0, s.wiggle-2)
	if p.Posture == schemas.Walking {
		most *= 1.3
	}
	switch {
	case r.leap.sudden() && math.Abs(r.leap.size) > leastReboundLeap:
		return fmt.Sprintf("heart rate jumps by %+.0f bpm %.0f s after the end: the strap may have slipped", r.leap.size, r.leap.at-m.end), 0
	case math.Abs(r.bend) > most:
		return fmt.Sprintf("heart rate is %+.0f bpm off a smooth recovery %.0f s after the end: the athlete moved, or an artefact", r.bend, r.bendAt), 0
	}
	// A recovery slows down; what goes on falling lifted heart rate until then.
	const after, over = 15, 15
	from := d.to + after
	if a := s.window(from, from+over); a.coverage() >= p.MinCoverage {
		if below := r.at(from+over/2) - a.mean; below > mostFallOn+s.wiggle {
			return fmt.Sprintf("heart rate falls on by %.0f bpm more than a recovery does after %.0f s: something held it up before", below, d.delay), 0
		}
	}
	if late = r.hold - m.lag - usualHold; late < leastLate || p.Regimen == schemas.Intermittent {
		late = 0
	}
	return "", late
}

func judgeRecovery(v *verdict, m *measures, p *schemas.Protocol) {
	for _, d := range m.delays {
		n := int(d.delay)
		switch {
		case d.ok && d.fall < leastFall(p.Posture):
			v.add(schemas.Check, schemas.ReasonRecoveryBroken, "heart rate fell by only %.0f bpm in %d s: no %s recovery", d.fall, n, p.Posture)
		case d.ok && d.se > 1.5*mostHRRSE:
			v.add(schemas.Check, schemas.ReasonHighUncertainty, "HRR%d is uncertain by %.1f bpm (standard error)", n, d.se)
		case d.ok && d.se > mostHRRSE:
			v.remark(schemas.ReasonHighUncertainty, "HRR%d is uncertain by %.1f bpm (standard error)", n, d.se)
		case d.broken && m.ranAfter:
			v.add(schemas.Check, schemas.ReasonRecoveryBroken, "no HRR%d: the athlete ran on after the test", n)
		case d.unsound != "":
			v.add(schemas.Check, schemas.ReasonRecoveryBroken, "no HRR%d: %s", n, d.unsound)
		case d.broken:
			v.add(schemas.Check, schemas.ReasonRecoveryBroken, "no HRR%d: heart rate rose again before %d s", n, n)
		case !d.ok:
			v.remark(schemas.ReasonNoRecovery, "no HRR%d: valid heart rate covers %.0f %% of the end window and %.0f %% of the recovery window, %.0f %% are needed",
				n, 100*m.endHR.coverage(), 100*d.avg.coverage(), 100*m.coverMin)
		}
	}
}

// leastFall is the HRR in bpm below which the recovery is doubted: somebody who
// rests after a run recovers faster. It says nothing of the athlete.
func leastFall(p schemas.Posture) float64 {
	if p == schemas.Walking {
		return 6
	}
	return 10
}
