package engine

import "math"

// Limits of leaps; on simulated clean sessions one test in a hundred has a leap
// of five standard errors.
const (
	// leastLeapT: standard errors of a leap that is not noise.
	leastLeapT = 5.5
	// A large one (bpm) needs fewer, and so does one of 5 bpm where samples are
	// few: a false doubt is better than a wrong number.
	largeLeap, largeLeapT = 8.0, 4.0
	fewLeapT              = 3.4
	// leastLeap (bpm) in the test, leastLeapBefore in the 90 s before it, where
	// athletes move as they like.
	leastLeap       = 3.0
	leastLeapBefore = 5.0
	leapsBefore     = 90
	// seldom sampled is a trace with this many seconds between samples.
	seldom = 2.5
	// fastRise: heart rate rises this much longer (s) faster than two sparse
	// samples tell from a leap; its fast part has time constants of up to 15 s.
	fastRise = 15.0
	// spread: a device that averages shows a leap over so many seconds to either
	// side.
	spread = 3.0
	// usualWeight: the trace's noise counts as this many residuals.
	usualWeight = 4.0
)

// leap is a sudden change of level between two neighbouring samples.
type leap struct {
	at   float64 // trace seconds of the first sample after it
	size float64 // bpm
	t    float64 // size in standard errors
	few  bool    // the trace was sampled seldom
}

// sudden reports whether the leap is more than noise and steep slopes make.
func (l *leap) sudden() bool {
	size := math.Abs(l.size)
	return l.t > leastLeapT || l.t > largeLeapT && size > largeLeap || l.few && l.t > fewLeapT && size > leastLeapBefore
}

// leapAt measures how suddenly heart rate changes before sample i: two parallel
// lines are fitted to about 8 s on either side, and the leap is the distance
// between them. A bend at i, as at the start of a run, moves both lines alike
// and is no leap; neither is any steady slope. With bends, a trace that was
// sampled seldom is also looked at with a slope of its own on either side.
// Leaps are looked for about a recovery when one is given. The samples within
// skip seconds of i are left out.
func (s *series) leapAt(i int, bends bool, skip float64, about *rebound) (leap, bool) {
	// Enough samples on either side whatever the sampling.
	side := max(8, 4.2*s.interval) + skip
	var n [2]float64
	var st, sy, stt, sty, syy [2]float64
	t0 := s.at[i]
	add := func(j, k int) {
		t, y := s.at[j]-t0, s.hr[j]-s.hr[i]
		if about != nil {
			y -= about.at(s.at[j]) - about.at(t0)
		}
		n[k]++
		st[k] += t
		sy[k] += y
		stt[k] += t * t
		sty[k] += t * y
		syy[k] += y * y
	}
	first, last := -1, -1
	for j := i - 1; j >= 0 && t0-s.at[j] <= side+s.interval && i-j <= mostLooked; j-- {
		if s.why[j] == kept && t0-s.at[j] >= skip {
			if first < 0 {
				first = j
			}
			add(j, 0)
		}
	}
	for j := i; j < len(s.at) && s.at[j]-t0 < side && j-i <= mostLooked; j++ {
		if s.why[j] == kept && s.at[j]-t0 >= skip {
			last = j
			add(j, 1)
		}
	}
	if n[0] < 3 || n[1] < 3 || first < 0 || last < 0 || t0-s.at[first] > bridged {
		return leap{}, false
	}
	var wtt, wty, wyy float64 // within the sides
	for k := range n {
		wtt += stt[k] - st[k]*st[k]/n[k]
		wty += sty[k] - st[k]*sy[k]/n[k]
		wyy += syy[k] - sy[k]*sy[k]/n[k]
	}
	slope := 0.0
	if wtt > 0 {
		slope = wty / wtt
	}
	left := max(0, wyy-slope*wty)
	apart := st[1]/n[1] - st[0]/n[0]
	size := sy[1]/n[1] - sy[0]/n[0] - slope*apart
	// A few residuals tell little of the noise: the trace's own stands by.
	sd := math.Sqrt((left+usualWeight*sq(0.7*s.wiggle))/(n[0]+n[1]-3+usualWeight)) + 0.29
	se := sd * math.Sqrt(1/n[0]+1/n[1]+apart*apart/max(wtt, 1e-9))
	best := leap{at: t0, size: size, t: math.Abs(size) / se, few: s.interval >= seldom}
	if !bends || s.interval < seldom || n[0] < 4 || n[1] < 4 {
		return best, true
	}
	// The same with a slope of its own on each side, seen at the middle of the
	// gap: it finds a leap beside a bend, where samples are so few that bend and
	// leap are within two of each other.
	middle := (s.at[first] - t0) / 2
	var level, se2 [2]float64
	left = 0
	for k := range n {
		tt := stt[k] - st[k]*st[k]/n[k]
		ty := sty[k] - st[k]*sy[k]/n[k]
		b := ty / max(tt, 1e-9)
		away := middle - st[k]/n[k]
		level[k] = sy[k]/n[k] + b*away
		se2[k] = 1/n[k] + away*away/max(tt, 1e-9)
		left += max(0, syy[k]-sy[k]*sy[k]/n[k]-b*ty)
	}
	sd = math.Sqrt((left+usualWeight*sq(0.7*s.wiggle))/(n[0]+n[1]-4+usualWeight)) + 0.29
	if size := level[1] - level[0]; math.Abs(size) > leastLeapBefore && math.Abs(size)/(sd*math.Sqrt(se2[0]+se2[1])) > best.t {
		best.size, best.t = size, math.Abs(size)/(sd*math.Sqrt(se2[0]+se2[1]))
	}
	return best, true
}

// largestLeap returns the leap of most standard errors in [from, to) seconds
// that is at least the given size.
func (s *series) largestLeap(from, to, least float64, bends bool, about *rebound) leap {
	var best leap
	for i := max(2, s.firstAt(from)); i+1 < len(s.at) && s.at[i] < to; i++ {
		// A leap shows within a few samples, or it is none.
		if s.at[i] < from || s.why[i] != kept || math.Abs(s.hr[i+1]-s.hr[i-2]) < 0.5*least && math.Abs(s.hr[i]-s.hr[i-1]) < 0.5*least {
			continue
		}
		if l, ok := s.leapAt(i, bends, 0, about); ok && math.Abs(l.size) >= least && l.t > best.t && (l.sudden() || !best.sudden()) {
			best = l
		}
	}
	return best
}

// leaps looks for sudden changes of level in the test and shortly before it.
// Around the start of the run only a fall counts: nothing rises faster than
// heart rate then, and nothing makes it fall. Where samples are few, the fast
// part of the rise looks like a leap for longer, and so do bouts all along
// unless it is a large one.
func (m *measures) leaps(s *series, bouts bool) {
	from, least := m.at+max(12, m.turn+10+m.lag), leastLeap
	if s.interval >= seldom {
		from += fastRise
		if bouts {
			least = 1.5 * largeLeap
		}
	}
	m.steps = s.largestLeap(from, m.end-4, least, true, nil)
	if before := s.largestLeap(m.at-leapsBefore, m.at-6, leastLeapBefore, true, nil); (before.t > leastLeapT+1 || before.sudden() && math.Abs(before.size) > 0.75*largeLeap) && !m.steps.sudden() {
		m.steps = before
	}
	if fall := s.fallAt(m.at-6, from); fall.size < 0 && !m.steps.sudden() {
		m.steps = fall
	}
	// The lines on either side bend with the rise: a fall against it shows all
	// the same. Until the run begins heart rate may still fall from an effort.
	if fall := s.largestLeap(m.at+2, from, leastLeapBefore, true, nil); fall.size < 0 && fall.sudden() && !m.steps.sudden() {
		m.steps = fall
	}
}

// fallAt returns the first fall between neighbouring samples in [from, to)
// seconds that noise does not make and that the next sample does not undo.
func (s *series) fallAt(from, to float64) leap {
	least := max(6, 4*s.wiggle)
	for i := max(1, s.firstAt(from)); i+1 < len(s.at) && s.at[i] < to; i++ {
		if s.at[i] < from || s.why[i] != kept || s.why[i-1] != kept || s.why[i+1] != kept || s.at[i]-s.at[i-1] > bridged {
			continue
		}
		if by := s.hr[i-1] - max(s.hr[i], s.hr[i+1]); by > least {
			return leap{at: s.at[i], size: -by, t: 2 * leastLeapT}
		}
	}
	return leap{}
}
