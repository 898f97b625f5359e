package engine

import "math"

// shortCost is what a test of the whole length may score less than one cut
// short: few are.
const shortCost = 6.0

// leastCut is how many seconds short of its length a test was at least when it
// was stopped early: less can't be told from the spread of the edges.
const leastCut = 6

// stopped returns a test cut short that is likelier than what was chosen, nil
// when there is none, or when such tests were looked for before and doubted.
func (f *finder) stopped(chosen []candidate, h *hints) *candidate {
	if f.noShort {
		return nil
	}
	c := f.cutShort(h)
	if c == nil || len(chosen) == 0 {
		return c
	}
	first := chosen[0].standing()
	if chosen[0].length == f.profile.length {
		// The edges of a whole test are where they would be, not where they fit best.
		first += shortCost - chosen[0].tension
	}
	if c.score() <= first {
		return nil
	}
	return c
}

// cutShort looks for a test that was stopped early: a start, and an end before
// the test's length.
func (f *finder) cutShort(h *hints) *candidate {
	d := f.profile.length
	least := 0.5
	if h.planned || h.team || len(h.laps) > 0 {
		least = 0.4
	}
	short := int(least * float64(d))
	if short < 60 {
		return nil
	}
	whole := f.found // still in use
	f.found = f.short[:0]
	defer func() { f.short, f.found = f.found, whole }()
	f.coarse(h, short, false)
	var best *candidate
	others := 0.0
	for i := range f.found {
		c := &f.found[i]
		end, ev := f.firstEnd(c.start+short-10, c.start+d-8)
		if ev < 6 {
			continue
		}
		c.length = end - int(math.Round(offDelay)) - c.start
		f.settleShort(c, h)
		if c.length < short || c.length > d-leastCut || !c.seesOn() || !c.seesOff() ||
			c.evOn < 10 || c.evOff < 8 || c.misfit > 4 || c.level > 2 {
			continue
		}
		switch {
		case best == nil:
			best = c
		case abs(c.start-best.start) > d/2:
			others = max(others, c.score())
			if c.score() > best.score() {
				others, best = best.score(), c
			}
		case c.score() > best.score():
			best = c
		}
	}
	// Several short runs are training, unless something says that the test was
	// there.
	if best == nil || best.score() < leastEvidence || (others > 0.75*best.score() && !best.planned && !best.vouched()) {
		return nil
	}
	best.rivals = 1 / (1 + math.Exp(leastEvidence-best.score()))
	return best
}

// settleShort places a run whose length is not known, from a guess of it. Start
// and end are each found for themselves, and their distance is the length; with
// that the run is placed again, since its start leans on both.
func (f *finder) settleShort(c *candidate, h *hints) {
	w := f.fineEdges(c)
	if !c.seesOn() || !c.seesOff() {
		return // whatever it is, it is no test
	}
	f.finePlace(c, h, &w)
	guess := c.length
	c.length = int(math.Round(c.ran))
	if c.length < 60 || c.length > f.profile.length {
		return
	}
	if abs(c.length-guess) >= 3 {
		f.fine(c, h)
	}
	if c.length = int(math.Round(c.ran)); c.length > f.profile.length-leastCut {
		return
	}
	f.unsmooth(c, h)
	c.length = int(math.Round(c.ran))
	if c.timed {
		c.start = c.edges[0] - speedLate
	}
}

// firstEnd returns the grid second in [from, to) with the clearest beginning of
// a recovery, and its evidence.
func (f *finder) firstEnd(from, to int) (at int, evidence float64) {
	for t := from; t < to; t += stride {
		r, ev := f.quickEnd(t)
		if r.fall() >= 8 && ev > evidence {
			at, evidence = t, ev
		}
	}
	return at, evidence
}
