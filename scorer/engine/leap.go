package engine

import "math"

// Limits of leaps; choices of this package, judged by the hold-out.
const (
	// leastLeapT: standard errors of a leap that is not noise.
	leastLeapT = 4.0
	// largeLeap (bpm) needs fewer: no heart makes it between two samples.
	largeLeap, largeLeapT = 8.0, 3.2
	// Before a run, where nothing is steep, less will do.
	largeBefore, largeBeforeT = 6.0, 3.0
	// leastFallSize (bpm) and leastFallT are those of a fall at the start of a run:
	// nothing but a slip makes heart rate fall there, but many places are tried, and
	// only what falls counts as noise.
	leastFallSize, leastFallT = 4.0, 5.0
	// leastLeap in bpm.
	leastLeap = 4.5
	// leapsBefore: seconds before the test from which on leaps are looked for.
	leapsBefore = 90
	// leapSide seconds on either side, and leapSamples samples, give the lines
	// that a leap is measured between; the samples are sought no further than
	// leapFar.
	leapSide, leapSamples, leapFar = 12.0, 5.0, 30.0
	// fewestSamples that give a line.
	fewestSamples = 3.0
	// leapShare of the leap must happen between two samples.
	leapShare = 0.5
	// seldom sampled is a trace with this many seconds between samples.
	seldom = 2.5
	// fastRise: heart rate rises this much longer (s) faster than two sparse
	// samples tell from a leap; its fast part has time constants of up to 15 s.
	fastRise = 15.0
	// usualWeight: the trace's noise counts as this many residuals.
	usualWeight = 4.0
)

// leap is a sudden change of level between two neighbouring samples.
type leap struct {
	at   float64 // trace seconds of the first sample after it
	size float64 // bpm
	t    float64 // size in standard errors
}

// sudden reports whether the leap is more than noise and steep slopes make.
func (l *leap) sudden() bool {
	size := math.Abs(l.size)
	return l.t > leastLeapT && size > leastLeap || l.t > largeLeapT && size > largeLeap
}

// suddenBefore is the same of a leap before a run.
func (l *leap) suddenBefore() bool {
	return l.sudden() || l.t > largeBeforeT && math.Abs(l.size) > largeBefore
}

// side is a straight line fitted to the samples on one side of a leap.
type side struct{ n, t, y, tt, ty, yy float64 }

func (l *side) add(t, y float64) {
	l.n, l.t, l.y, l.tt, l.ty, l.yy = l.n+1, l.t+t, l.y+y, l.tt+t*t, l.ty+t*y, l.yy+y*y
}

// enough reports whether samples as far as away seconds are needed no more.
func (l *side) enough(away, reach, want float64) bool {
	return away > reach && (l.n >= want || away > leapFar)
}

// at is the line's value at time t, and its variance in units of the samples'.
func (l *side) at(t float64) (y, variance float64) {
	tt := max(l.tt-l.t*l.t/l.n, 1e-9)
	slope := (l.ty - l.t*l.y/l.n) / tt
	away := t - l.t/l.n
	return l.y/l.n + slope*away, 1/l.n + away*away/tt
}

// left is the sum of squares about the line.
func (l *side) left() float64 {
	tt := max(l.tt-l.t*l.t/l.n, 1e-9)
	return max(0, l.yy-l.y*l.y/l.n-sq(l.ty-l.t*l.y/l.n)/tt)
}

// sides are the lines on both sides of a gap between samples, and the mean square
// of the changes from sample to sample on them, or of the falls alone.
type sides struct {
	before, after side
	gap           float64 // s from the last sample before to the first one after it
	changes       float64 // bpm²
}

// sidesOf fits the lines to hr on both sides of the gap before sample i; of what
// comes after trace second until, where a run begins, nothing is used. Where only
// falls are looked for, only falls are noise.
func (s *series) sidesOf(i int, until float64, falls bool, hr func(i int) float64) (g sides) {
	t0, reach, want := s.at[i], max(leapSide, leapSamples*s.interval), leapSamples
	sum, n := usualWeight*sq(0.8*s.wiggle), usualWeight
	last := 0.0
	take := func(l *side, j int, onward float64) {
		y := hr(j)
		l.add(s.at[j]-t0, y)
		if by := onward * (y - last); l.n > 1 {
			if n++; by < 0 || !falls {
				sum += sq(by)
			}
		}
		last = y
	}
	for j := i - 1; j >= 0 && i-j <= mostLooked && !g.before.enough(t0-s.at[j], reach, want); j-- {
		if s.why[j] != kept {
			continue
		}
		if g.before.n == 0 {
			g.gap = t0 - s.at[j]
		}
		take(&g.before, j, -1)
	}
	if falls {
		reach, want = leapSide, fewestSamples // the rise after one is no line for long
	}
	for j := i; j < len(s.at) && s.at[j] < until && j-i <= mostLooked && !g.after.enough(s.at[j]-t0, reach, want); j++ {
		if s.why[j] == kept {
			take(&g.after, j, 1)
		}
	}
	g.changes = sum / n
	return g
}

// apart is the least distance between the lines anywhere in the gap, 0 where
// they meet, and its variance in units of the samples'.
func (g *sides) apart() (size, variance float64) {
	at := func(t float64) (d, v float64) {
		a, va := g.before.at(t)
		b, vb := g.after.at(t)
		return b - a, va + vb
	}
	d0, v0 := at(0)
	d1, v1 := at(-g.gap)
	switch {
	case d0*d1 <= 0:
		return 0, 0
	case math.Abs(d1) < math.Abs(d0):
		return d1, v1
	}
	return d0, v0
}

// leapAt measures how suddenly heart rate changes before sample i: a line is
// fitted to the samples on either side, and the leap is the least distance
// between the two anywhere in the gap. A bend there, as at the start of a run,
// is no leap: its lines meet. A leap is as sure as it is large against the
// scatter about the lines, and as what happens in the gap is against what
// happens between the samples around it: heart rate that turns round within
// some samples is no leap either. Nothing after trace second until is looked at,
// and leaps are looked for about a recovery when one is given.
func (s *series) leapAt(i int, until float64, falls bool, about *rebound) (leap, bool) {
	hr := func(j int) float64 { return s.hr[j] - s.hr[i] }
	if about != nil {
		base := s.hr[i] - about.at(s.at[i])
		hr = func(j int) float64 { return s.hr[j] - about.at(s.at[j]) - base }
	}
	g := s.sidesOf(i, until, falls, hr)
	if min(g.before.n, g.after.n) < fewestSamples || g.gap > bridged {
		return leap{}, false
	}
	size, variance := g.apart()
	last := i - 1
	for s.why[last] != kept {
		last--
	}
	moved := -hr(last)
	if moved*size <= 0 || math.Abs(moved) < leapShare*math.Abs(size) {
		return leap{at: s.at[i]}, true
	}
	const rounding = 1.0 / 12
	scatter := (g.before.left()+g.after.left()+usualWeight*sq(0.7*s.wiggle))/(g.before.n+g.after.n-4+usualWeight) + rounding
	return leap{at: s.at[i], size: size,
		t: min(math.Abs(size)/math.Sqrt(scatter*variance), math.Abs(moved)/math.Sqrt(g.changes+rounding))}, true
}

// largestLeap returns the leap of most standard errors in [from, to) seconds
// that is at least the given size; see leapAt for until.
func (s *series) largestLeap(from, to, until, least float64, about *rebound) leap {
	return s.largest(from, to, until, least, false, about)
}

// largest returns the leap, or the fall, of most standard errors.
func (s *series) largest(from, to, until, least float64, falls bool, about *rebound) leap {
	var best leap
	for i := max(2, s.firstAt(from)); i+1 < len(s.at) && s.at[i] < to; i++ {
		// Most of a leap shows within one sample, or it is none.
		if s.at[i] < from || s.why[i] != kept || math.Abs(s.hr[i]-s.hr[i-1]) < leapShare*least && s.why[i-1] == kept {
			continue
		}
		if l, ok := s.leapAt(i, until, falls, about); ok && math.Abs(l.size) >= least && l.t > best.t && (l.size < 0 || !falls) {
			best = l
		}
	}
	return best
}

// findLeap looks for a sudden change of level shortly before the test and around
// the start of its run; those in the run itself are found by changeIn. Around the
// start only a fall counts: nothing rises faster than heart rate then, and
// nothing makes it fall. Where samples are few, the rise is fast for longer.
func (m *measures) findLeap(s *series) {
	from := m.at + max(12, m.turn+10+m.lag)
	if s.interval >= seldom {
		from += fastRise
	}
	if before := s.largestLeap(m.at-leapsBefore, m.at-2, m.at+m.turn+m.lag, leastLeap, nil); before.suddenBefore() {
		m.leap = before
		return
	}
	if fall := s.fallAt(m.at-6, from); fall.sudden() {
		m.leap = fall
		return
	}
	// Until the run begins heart rate may still fall from an effort.
	if fall := s.largestLeap(m.at-2, from, m.end, leastLeap, nil); fall.size < 0 && fall.sudden() {
		m.leap = fall
		return
	}
	// Before that there must be samples enough until the run begins; from then on
	// changes of level are seen against the response (changeIn).
	early, late := fewestSamples*s.interval, m.turn+m.lag+firstChange+firstSamples*s.interval+3
	if fall := s.largest(m.at-2-early, max(from, m.at+late), m.end, leastFallSize, true, nil); fall.t > leastFallT {
		m.leap = fall
	}
}

// fallAt returns the first fall between neighbouring samples in [from, to)
// seconds that noise does not make and that the next sample does not undo.
func (s *series) fallAt(from, to float64) leap {
	least := max(4, 4*s.wiggle)
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
