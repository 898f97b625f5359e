package engine

import "math"

// The search for an edge lays one straight line through the seconds before it.
// Who stops a jog and soon starts the test has no such line: heart rate turns
// down first, and a line through both sides of that turn puts the rise too late.
// Then only what comes after the turn is the before of the start.

const (
	// leastLine seconds are on either side of a turn before the start.
	leastLine = 8
	// leastTurn is by how much, in log likelihood, two lines must be better than
	// one: a turn anywhere in the window is one more number to fit, and a place.
	leastTurn = 3.0
	// leastDrop (bpm) from the turn to the edge: waves of a heart at rest turn, too.
	leastDrop = 3.0
)

// lastTurn returns the grid second in [from, edge) at which heart rate turns from
// one line into another that falls; from itself where it does not.
func (f *finder) lastTurn(from, edge int) int {
	g, n := &f.grid, float64(edge-from)
	least, at := math.Inf(1), from
	for t := from + leastLine; t <= edge-leastLine; t++ {
		if ss := g.aboutLine(from, t) + g.aboutLine(t, edge); ss < least {
			least, at = ss, t
		}
	}
	if at == from || n/(2*worth)*math.Log((g.aboutLine(from, edge)/n+roundingVar)/(least/n+roundingVar)) < leastTurn {
		return from
	}
	if fall := -g.slope(at, edge) * float64(edge-at); fall < leastDrop {
		return from
	}
	return at
}

// searchShortened looks for the first edge again where the window of the start
// holds a turn before it, in what comes after the turn.
func (f *finder) searchShortened(c *candidate, w *nearby) {
	from := f.lastTurn(w.from, c.turns[0])
	if from == w.from {
		return
	}
	g, best := &f.grid, math.Inf(1)
	w.from = from
	whole := g.aboutLine(from, w.until) // where no edge can be told
	for i := range f.logOn {
		f.logOn[i] = whole
		at := w.firstOn + i
		if at-from < leastLine || w.until-at < leastLine {
			continue
		}
		for k := range f.fineOn {
			pl := f.fineOn[k].onPlan(at-from, w.until-at)
			if ss := f.fineOn[k].leftOn(g, &pl, at); ss < f.logOn[i] {
				f.logOn[i] = ss
				if ss < best {
					best, c.turns[0], c.kOn = ss, at, k
				}
			}
		}
	}
	c.edges[0] = c.turns[0]
	c.ran = float64(c.edges[1]-c.edges[0]) - offDelay + onDelay
}
