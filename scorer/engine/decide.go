package engine

import (
	"fmt"
	"math"

	"canter.example/schemas"
)

// leastTension is the cost in log likelihood from which on two edges that are
// clearly nearer together than the test is long are taken for those of a run
// that was stopped early: on generated sessions of any make one whole test in a
// hundred is so, and one in four of those stopped early. A little earlier, or a
// longer run, takes twice as much.
const leastTension = 2.4

// most tests that one trace may hold; more alike efforts are intervals.
const mostTests = 2

// given makes the candidate for a start that staff gave, in trace seconds. Its
// place is not questioned; the fit tells whether the trace agrees.
func (f *finder) given(at float64, h *hints) candidate {
	t := f.grid.second(min(max(at, f.grid.origin-float64(f.profile.length)), f.grid.origin+float64(f.grid.n)))
	c := candidate{start: min(max(t, before+reach+10), head+f.grid.n), length: f.profile.length}
	if math.Abs(f.grid.time(c.start)-at) > 1 {
		c.start = t
		c.exact, c.source, c.within, c.rivals, c.sd = at, schemas.StartByHand, 1, 1, 0.5
		return c
	}
	f.fine(&c, h)
	f.unsmooth(&c, h)
	c.fitted = c.start
	c.start, c.exact = t, at
	c.source, c.within, c.rivals, c.sd = schemas.StartByHand, 1, 1, 0.5
	return c
}

// choose picks the tests among the candidates, best first, or says why there
// is none.
func (f *finder) choose(all []candidate, h *hints) ([]candidate, *schemas.Reason) {
	var chosen []candidate
	for i := range all {
		c := all[i]
		switch {
		case f.isTest(&c):
			c.adoptEdges(f.profile.length, f.room())
		case !f.borrow(&c, h):
			continue
		}
		overlaps := false
		for j := range chosen {
			if d := c.start - chosen[j].start; d < c.length+20 && d > -c.length-20 {
				overlaps = true
			}
		}
		if overlaps || (len(chosen) > 0 && !f.alike(&c, &chosen[0])) {
			continue
		}
		c.source = c.origin(h)
		chosen = append(chosen, c)
	}
	if len(chosen) == 0 || !chosen[0].convincing() || chosen[0].length < f.profile.length {
		// Nothing that is plainly the test: was it stopped early?
		why := f.whyNone(all)
		if c := f.stopped(chosen, h); c != nil {
			c.source = c.origin(h)
			return []candidate{*c}, nil
		}
		if len(chosen) == 0 {
			return nil, why
		}
	}
	markRepeats(chosen)
	f.markRival(chosen, all)
	return chosen[:min(len(chosen), mostTests)], nil
}

// markRepeats notes where efforts like the test come several times, so that
// nobody can tell which is the test: intervals, or two that fit nearly as well.
// A lap mark, team-mates, a planned time or the protocol's speed that only the
// best one keeps to, or a level that only it has, decide between them.
func markRepeats(chosen []candidate) {
	best := &chosen[0]
	if len(chosen) < 2 || best.lap || best.team {
		return
	}
	second := &chosen[1]
	if best.planned && !second.planned || best.sped && !second.sped {
		return
	}
	lighter := second.light > best.light+clearlyLighter
	for i := range chosen {
		chosen[i].repeated = len(chosen) > mostTests
		chosen[i].tied = second.score() > 0.75*best.score() && !lighter
	}
}

// clearlyLighter is the difference in the cost of a level below the band that
// tells a jog from the test: 6 bpm.
const clearlyLighter = 1.5

// markRival notes where another run of the test's length, at another level,
// fits as well as the chosen one, and nothing else says which it was.
func (f *finder) markRival(chosen, all []candidate) {
	best := &chosen[0]
	if len(chosen) > 1 || !best.alone() {
		return
	}
	for i := range all {
		c := &all[i]
		likely := c.seesOn() && c.score() > 0.85*best.score() || c.late && c.evOff >= 8
		if abs(c.start-best.start) > best.length+20 && likely && c.seesOff() && c.misfit < 2 && c.level < 2 &&
			!c.goesOn && c.light < best.light+clearlyLighter {
			best.rival = f.grid.mean(c.start+c.length/2, c.start+c.length) + reference
			return
		}
	}
}

// alike reports whether a later candidate is an effort like the first one.
func (f *finder) alike(c, first *candidate) bool {
	g, d := &f.grid, f.profile.length
	level := g.mean(c.start+d/2, c.start+d) - g.mean(first.start+d/2, first.start+d)
	return c.seesOn() && c.seesOff() && c.misfit < 2 && c.level < 2 &&
		math.Abs(level) < 18 && c.score() > 0.6*first.score()
}

// borrow takes team-mates' start where a trace is too poor to show its own, as
// long as heart rate is that of a run.
func (f *finder) borrow(c *candidate, h *hints) bool {
	if !c.team || c.level > 9 || f.grid.share(c.start, c.start+c.length) < 0.3 {
		return false
	}
	c.borrowed = true
	c.start = f.grid.second(h.teamAt)
	c.sd = h.teamSD
	c.within, c.rivals = math.Erf(5.5/(h.teamSD*math.Sqrt2)), 1
	return true
}

// isTest reports whether a candidate is to be reported, whatever its quality.
func (f *finder) isTest(c *candidate) bool {
	if c.score() < leastEvidence {
		return false
	}
	if c.vouched() || c.planned {
		return c.misfit < 15 && (c.seesOn() || c.seesOff())
	}
	// Nobody to vouch for it: it must look like the test.
	if c.misfit > 10 || c.level > 9 || c.rivals < 0.1 || c.evSpeed < -10 {
		return false
	}
	if c.seesOn() && c.seesOff() {
		return true
	}
	// With one edge only it must be clear, and the run not longer.
	return !c.goesOn && c.misfit < 3 && c.level < 2 && (c.evOn > 15 || c.evOff > 8) && c.confidence() > 0.4
}

// continues reports whether a run goes on after the test's length as it was,
// or was going on before it: then it is a longer run, not a test.
func (f *finder) continues(c *candidate) bool {
	g, d := &f.grid, c.length
	end := c.start + d
	if !c.seesOff() && f.likeBefore(end, 6, 46) && f.likeBefore(end, 46, 86) && f.oneLine(c, end-40, end+86) {
		return true
	}
	if !c.seesOn() {
		a, b := c.start-46, c.start-6
		if a >= 0 && g.share(a, b) > 0.6 && g.mean(c.start+20, end)-g.mean(a, b) < 6 &&
			f.oneLine(c, c.start-46, c.start+40) {
			return true
		}
	}
	return false
}

// likeBefore reports whether heart rate from a to b seconds after the end is as
// level and as high as in the last 40 s before it.
func (f *finder) likeBefore(end, a, b int) bool {
	g := &f.grid
	if g.share(end+a, end+b) < 0.6 {
		return false
	}
	rms := math.Sqrt(g.aboutLine(end+a, end+b) / float64(b-a))
	return rms < 3 && math.Abs(g.mean(end+a, end+b)-g.mean(end-40, end)) < 5
}

// oneLine reports whether heart rate keeps to one straight line from one second to
// another across an edge, as steadily as it kept to the response: games before a
// test, or drills straight after it, may hold its level, but not so evenly. Twice
// the variance is where on invented sessions runs that go on and drills part.
func (f *finder) oneLine(c *candidate, from, to int) bool {
	return f.grid.aboutLine(from, to)/float64(to-from) < 2*(c.on.ss/float64(c.on.n)+roundingVar)
}

func (f *finder) whyNone(all []candidate) *schemas.Reason {
	r := &schemas.Reason{Code: schemas.ReasonNoTest}
	if len(all) == 0 {
		r.Text = fmt.Sprintf("no stretch of %s looks like a steady run with a rise before it and a recovery after it",
			mmss(f.profile.length))
		return r
	}
	c := &all[0]
	from := mmss(int(f.grid.time(c.start)))
	switch {
	case c.evSpeed < -10:
		r.Text = fmt.Sprintf("the speed of the likeliest stretch, from %s into the trace, is not the protocol's, or not steady", from)
	case c.level > 9:
		r.Text = fmt.Sprintf("heart rate in the likeliest stretch, from %s into the trace, is far below the protocol's or does not come to a level", from)
	case c.misfit > 8:
		r.Text = fmt.Sprintf("the likeliest stretch, from %s into the trace, is not steady", from)
	case c.goesOn:
		r.Text = fmt.Sprintf("the steady run from %s into the trace is longer than the test", from)
	case !c.seesOn():
		r.Text = fmt.Sprintf("heart rate does not begin to rise where the likeliest stretch, from %s into the trace, begins", from)
	case !c.seesOff():
		r.Text = fmt.Sprintf("heart rate does not recover where the likeliest stretch, from %s into the trace, ends", from)
	default:
		r.Text = fmt.Sprintf("the likeliest stretch, from %s into the trace, is too unlike the protocol's response", from)
	}
	return r
}

func mmss(s int) string { return fmt.Sprintf("%d:%02d", s/60, s%60) }
