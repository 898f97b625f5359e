package engine

import (
	"math"

	"canter.example/schemas"
)

// judgeStart looks at the place of the test: how sure it is, and whether it could
// have been another.
func (w *work) judgeStart(v *verdict, c *candidate, rank, of int, h *hints) {
	f := &w.finder
	by := c.source == schemas.StartByHand
	if c.length < f.profile.length {
		q := schemas.Reject
		if float64(c.length) >= 0.85*float64(f.profile.length) {
			q = schemas.Check
		}
		v.add(q, schemas.ReasonCutShort, "stopped after %s of %s", mmss(c.length), mmss(f.profile.length))
	}
	if by && c.fitted != 0 && math.Abs(float64(c.fitted-c.start)) > 6 && c.evOn+c.evOff > 25 {
		v.remark(schemas.ReasonStartUncertain, "heart rate itself suggests a start %d s %s the one given by hand",
			abs(c.fitted-c.start), earlierLater(c.fitted-c.start))
	}
	if !by {
		w.judgeEdges(v, c, h)
	}
	if !c.seesOn() && !c.borrowed {
		v.remark(schemas.ReasonHighAtStart, "heart rate was already near its level at the start (%.0f bpm)", c.on.h0)
	}
	judgeOthers(v, c, rank, of)
	if h.planned && !by {
		if off := f.grid.time(c.start) - h.around; math.Abs(off) > h.within {
			v.add(schemas.Check, schemas.ReasonClock, "starts %s %s the planned time: another run, or the device's clock is off",
				mmss(int(math.Abs(off))), earlierLater(int(off)))
		}
	}
}

// judgeEdges gives the first reason to doubt a start that was found.
func (w *work) judgeEdges(v *verdict, c *candidate, h *hints) {
	switch {
	case c.borrowed:
		v.add(schemas.Check, schemas.ReasonStartUncertain, "the start is team-mates': this trace does not show its own")
	case c.confidence() < leastConfidence:
		v.add(schemas.Check, schemas.ReasonStartUncertain,
			"the start is uncertain: by the trace alone, the probability that it is within 5 s is %.2f", c.confidence())
	case !(c.seesOn() && c.seesOff()) && !c.vouched():
		which := "beginning"
		if c.seesOn() {
			which = "end"
		}
		v.add(schemas.Check, schemas.ReasonStartUncertain,
			"heart rate shows only one edge of the test; its %s is not seen, so it may have been longer or shorter", which)
	case !c.clearEdges() && !c.vouched():
		v.add(schemas.Check, schemas.ReasonStartUncertain, "heart rate hardly shows where the run begins or ends")
	case c.alone() && c.length == w.finder.profile.length && !c.stands(h.posture):
		v.add(schemas.Check, schemas.ReasonStartUncertain,
			"nothing but heart rate says that this was the test, and after it heart rate falls by only %.0f bpm: a change of pace rather than the end of the run", c.off.fall())
	case c.goesOn && !c.lap && !c.team:
		v.add(schemas.Check, schemas.ReasonStartUncertain, "the run seems longer than the test")
	}
}

// judgeOthers says what else in the trace could be the test.
func judgeOthers(v *verdict, c *candidate, rank, of int) {
	if c.rival > 0 {
		v.add(schemas.Check, schemas.ReasonSecondTest, "another run as long as the test, at about %.0f bpm, fits as well: say which it is", c.rival)
	}
	switch {
	case c.repeated:
		v.add(schemas.Check, schemas.ReasonSecondTest, "several efforts of this length are in the trace; this looks like intervals")
	case of < 2 || c.source == schemas.StartByHand:
	case c.tied:
		v.add(schemas.Check, schemas.ReasonSecondTest, "two efforts like the test are in the trace and fit about as well: say which it is")
	case rank > 0:
		v.add(schemas.Check, schemas.ReasonSecondTest, "a second effort like the test is in the same trace; the other one fits better")
	default:
		v.remark(schemas.ReasonSecondTest, "a second effort like the test is in the same trace")
	}
}

// when words a time relative to the start of the test.
func when(t float64) string {
	if t < 0 {
		return mmss(int(-t)) + " before the test"
	}
	return mmss(int(t)) + " into the test"
}

func earlierLater(d int) string {
	if d < 0 {
		return "before"
	}
	return "after"
}

func abs(x int) int { return max(x, -x) }
