package engine

import (
	"math"
	"sort"
	"sync"
)

// Devices show the mean of the last seconds, some of many: heart rate then turns
// late by half of them, at the start of a run and at its end alike, and the turn
// is round instead of sharp. How round it is says how late it is; and whatever
// else rounds a turn, in the body or in the device, delays it as well, since
// nothing answers before it is asked. It is read from the samples themselves:
// the lines that the grid draws between sparse ones round a turn, too, but delay
// nothing.

// smoothings are the lengths of averaging tried, in seconds; longer ones are
// less usual.
var smoothings = [...]int{1, 3, 5, 7, 9, 11, 13, 15}

const (
	// usualSmoothing: the prior density falls by e over so many seconds. A
	// choice of this package: straps average over a few seconds, optical
	// sensors over up to a dozen.
	usualSmoothing = 5.0
	// turnBefore and turnAfter are the seconds around a turn that are looked at.
	turnBefore, turnAfter = 30, 50
	// turnShift: seconds to either side that a rounded turn may be from where
	// the sharp one fits best, its lateness taken off.
	turnShift = 1
	// leastWorth and mostWorth bound how many seconds about a turn carry the
	// information of one independent reading: no response is exact, and hardly
	// any noise is slower.
	leastWorth, mostWorth = 5.0, 20.0
	// turnEdge is the place of the turn in the tables of its shapes, which hold
	// turnSpan seconds.
	turnEdge = turnBefore + 4
	turnSpan = turnEdge + turnAfter + 14
)

// turnShapes are the shapes of a turn averaged over some seconds, second by
// second: left of the old state (1, then an exponential), the seconds before the
// turn (negative, then 0), and those after it in hundreds.
type turnShapes struct {
	left, before, after [turnSpan]float64
	// on says that the level after the turn may drift.
	on bool
	// late is the place in the tables of the sharp turn that fits best.
	late int
	// everySecond are the normal equations of a reading each second, by shift:
	// all of the sums that does not depend on what was read.
	everySecond [2*turnShift + 1]four
}

// turnTables hold the shapes by time constant and length of averaging.
type turnTables struct {
	on  [len(fineOn)][len(smoothings)]turnShapes
	off [len(fineOff)][len(smoothings)]turnShapes
}

// roundTurns are the tables; nothing in them depends on trace or protocol.
var roundTurns = sync.OnceValue(func() *turnTables {
	t := new(turnTables)
	for i, w := range smoothings {
		for k, tau := range fineOn {
			t.on[k][i].make(tau, w, true)
		}
		for k, tau := range fineOff {
			t.off[k][i].make(tau, w, false)
		}
	}
	return t
})

// make makes the shapes for a time constant and w seconds of averaging.
func (s *turnShapes) make(tau float64, w int, on bool) {
	s.on, s.late = on, turnEdge+(w-1)/2
	for i := range s.left {
		for j := range w {
			if at := float64(i - turnEdge - j); at < 0 {
				s.left[i] += 1 / float64(w)
				s.before[i] += at / float64(w)
			} else {
				s.left[i] += math.Exp(-at/tau) / float64(w)
				s.after[i] += at / 100 / float64(w)
			}
		}
	}
	const n = turnBefore + turnAfter
	each := turn{near: make([]reading, n), places: make([]tablePlace, n)}
	for i := range each.near {
		each.near[i].at = float64(i - turnBefore)
	}
	for i := range s.everySecond {
		lines := each.linesOf(s, i-turnShift)
		s.everySecond[i], _ = s.equations(&each, &lines)
	}
}

// reading is one sample near a turn.
type reading struct{ at, hr float64 } // s after the sharp turn, bpm

// turn is what was read around one turn.
type turn struct {
	near   []reading
	n      float64      // of the readings
	y, yy  float64      // their sum, and that of their squares
	second bool         // there is one each second, from turnBefore to turnAfter
	places []tablePlace // of the readings in the tables, see linesOf
}

// turnAt returns the kept samples around grid second t, at most one a second.
func (f *finder) turnAt(t int) turn {
	s, edge := f.series, f.grid.time(t)
	near := f.near[:0]
	last := math.Inf(-1)
	for i := sort.SearchFloat64s(s.at, edge-turnBefore); i < len(s.at) && s.at[i] < edge+turnAfter; i++ {
		if s.why[i] == kept && s.at[i]-last > 0.5 {
			last = s.at[i]
			near = append(near, reading{at: last - edge, hr: s.hr[i] - reference})
		}
	}
	f.near, f.places = near, grow(f.places, len(near))
	u := turn{near: near, places: f.places, n: float64(len(near)), second: len(near) == turnBefore+turnAfter}
	for i, r := range near {
		u.y, u.yy = u.y+r.hr, u.yy+r.hr*r.hr
		u.second = u.second && r.at == float64(i-turnBefore)
	}
	return u
}

// tablePlace is where a reading lies in the tables, part of a second after k, and the
// straight parts there.
type tablePlace struct {
	k                   int
	part, before, after float64
}

// lines are the sums that the straight parts of a turn make over the readings
// about it: they are the same for all time constants.
type lines struct {
	b, a, bb, aa, by, ay float64
}

// linesOf lays the tables along the readings, the turn shift seconds earlier than
// where the sharp one fits best.
func (u *turn) linesOf(s *turnShapes, shift int) (l lines) {
	if u.second {
		k := s.late - shift - turnBefore
		near, before, after := u.near, s.before[k:][:len(u.near)], s.after[k:][:len(u.near)]
		by, ay := 0.0, 0.0
		for i := range near {
			by, ay = by+before[i]*near[i].hr, ay+after[i]*near[i].hr
		}
		return lines{by: by, ay: ay}
	}
	late := float64(s.late - shift)
	for i := range u.near {
		at, v := u.near[i].at+late, u.near[i].hr
		k := int(at)
		p := tablePlace{k: k, part: at - float64(k), before: s.before[k], after: s.after[k]}
		if p.part != 0 { // most readings are on a second
			p.before += p.part * (s.before[k+1] - p.before)
			p.after += p.part * (s.after[k+1] - p.after)
		}
		l.b, l.a = l.b+p.before, l.a+p.after
		l.bb, l.aa = l.bb+p.before*p.before, l.aa+p.after*p.after
		l.by, l.ay = l.by+p.before*v, l.ay+p.after*v
		u.places[i] = p
	}
	return l
}

// roundness is the sum of squares that a rounded turn leaves of the readings
// which its straight parts were laid along.
func (s *turnShapes) roundness(u *turn, l *lines, shift int) float64 {
	var fit four
	var y1 float64 // the product of what is left of the old state with the readings
	if u.second {
		fit = s.everySecond[shift+turnShift]
		near, left := u.near, s.left[s.late-shift-turnBefore:][:len(u.near)]
		for i := range near {
			y1 += left[i] * near[i].hr
		}
	} else {
		fit, y1 = s.equations(u, l)
	}
	y := [4]float64{u.y, y1, l.by, l.ay}
	if !s.on {
		y[3] = 0
	}
	return max(0, u.yy-fit.explained(y))
}

// equations are the normal equations of
//
//	hr = level + old·left + slope·before + drift·after
//
// with the weak priors of the search for slope and drift, and the product of left
// with the readings.
func (s *turnShapes) equations(u *turn, of *lines) (fit four, ly float64) {
	var l, ll, lb, la float64
	for i := range u.places {
		p := &u.places[i]
		left := s.left[p.k]
		if p.part != 0 {
			left += p.part * (s.left[p.k+1] - left)
		}
		l, ll, lb, la = l+left, ll+left*left, lb+left*p.before, la+left*p.after
		ly += left * u.near[i].hr
	}
	m := [4][4]float64{{float64(len(u.near))}, {l, ll}, {of.b, lb, of.bb + 0.5}, {of.a, la, 0, of.aa + 0.1}}
	if !s.on {
		m[3] = [4]float64{3: 1.1} // no drift
	}
	return factor(&m), ly
}

// smoothing returns by how many seconds averaging delays both edges of a
// candidate, and the variance of that, from how round its turns are.
func (f *finder) smoothing(c *candidate) (lag, variance float64) {
	var logs [len(smoothings)]float64
	for i, w := range smoothings {
		logs[i] = -float64(w-1) / usualSmoothing
	}
	tables := roundTurns()
	likely := c.score() > leastEvidence/2 // what is no test needs no delay
	if likely && f.profile.flat && !c.late && c.evOn > seenOn {
		f.addRoundness(&logs, f.turnAt(c.turns[0]), tables.on[max(c.kOn-1, 0):min(c.kOn+2, len(fineOn))])
	}
	if likely && c.evOff > seenOff {
		f.addRoundness(&logs, f.turnAt(c.turns[1]), tables.off[max(c.kOff-1, 0):min(c.kOff+2, len(fineOff))])
	}
	top := math.Inf(-1)
	for _, l := range logs {
		top = max(top, l)
	}
	var sum, sl, sll float64
	for i, w := range smoothings {
		p, l := math.Exp(logs[i]-top), float64(w-1)/2
		sum, sl, sll = sum+p, sl+p*l, sll+p*l*l
	}
	lag = sl / sum
	return lag, max(0, sll/sum-lag*lag)
}

// addRoundness adds the log likelihoods of the lengths of averaging that the
// readings about one turn tell, each with the best of some time constants.
func (f *finder) addRoundness(logs *[len(smoothings)]float64, u turn, shapes [][len(smoothings)]turnShapes) {
	if u.n < 8 {
		return
	}
	// Independent readings among them.
	worth := 0.0
	for i := range smoothings {
		best := math.Inf(1)
		for shift := -turnShift; shift <= turnShift; shift++ {
			lines := u.linesOf(&shapes[0][i], shift)
			for k := range shapes {
				best = min(best, shapes[k][i].roundness(&u, &lines, shift))
			}
		}
		if i == 0 {
			worth = f.worthOf(best / u.n)
		}
		logs[i] -= u.n * max(1, f.interval) / (2 * worth) * math.Log(best/u.n+roundingVar)
	}
}

// worthOf is how many seconds carry the information of one independent reading
// where noise of the given variance changes from sample to sample as the trace
// does: with correlation r of neighbouring samples, (1+r)/(1-r) samples.
func (f *finder) worthOf(variance float64) float64 {
	fresh := min(max(sq(f.wiggle)/(2*max(variance, 0.1)), 0.01), 1) // 1-r
	return max(f.interval, min(max(f.interval*(2-fresh)/fresh, leastWorth), mostWorth))
}

// seenLate betters the delay of a test whose start something else than heart rate
// tells: then the turns of heart rate say themselves how late the device shows
// them, as far as the body's own delays are known.
func (f *finder) seenLate(c *candidate) {
	if !f.profile.flat || c.late || !(c.sped || c.lap) {
		return
	}
	known := 0.5 // s, of the start, as a standard deviation
	if !c.sped {
		known = lapSD
	}
	shared := sq(sharedDelaySD)
	weight := 1 / (shared + c.lagVar)
	sum := weight * c.lag
	add := func(late, sd float64) {
		w := 1 / (sq(sd) + sq(known) + sq(turnSD))
		weight, sum = weight+w, sum+w*late
	}
	if c.evOn > seenOn {
		add(float64(c.turns[0]-c.start)-onDelay, onDelaySD)
	}
	if c.evOff > seenOff {
		add(float64(c.turns[1]-c.start-c.length)-offDelay, offDelaySD)
	}
	c.lag, c.lagVar = max(0, sum/weight), max(0, 1/weight-shared)
}

// turnSD is how far (s) a turn of heart rate is placed by chance.
const turnSD = 1.5
