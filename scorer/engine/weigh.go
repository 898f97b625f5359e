package engine

import "math"

// weigh turns the fits with edges at seconds on and off into evidence against
// alternatives without those edges, which leave the variances noOnVar and
// noOffVar in the same seconds.
func (f *finder) weigh(c *candidate, on, off int, noOnVar, noOffVar float64) {
	n := float64(c.on.n)
	left := c.on.ss/float64(c.on.n) + roundingVar
	known := f.edgeKnown(on)
	c.evOn, c.unseen = -noOn*known, 1-known
	if c.late {
		c.evOn = 0
	} else if c.on.rise() >= 6 && c.on.rise()/c.on.tau > c.on.before {
		if ev := n / (2 * worth) * math.Log((noOnVar+roundingVar)/left); ev > 0 {
			c.evOn = min(ev, mostOn) * known
		}
	}
	c.misfit = f.unsteady(left, n)
	known = f.edgeKnown(off)
	c.evOff = -noOff * known
	if c.off.fall() >= 6 {
		n = float64(c.off.n)
		left = c.off.ss/n + roundingVar
		if ev := 1.5 * n / (2 * worth) * math.Log((noOffVar+roundingVar)/left); ev > 0 {
			c.evOff = min(ev, mostOff) * known
		}
	}
	c.level = f.levelCost(c)
	c.light = f.lightness(c)
}

// unsteady is the cost of n seconds whose variance about the response is more
// than that of a steady run.
func (f *finder) unsteady(variance, n float64) float64 {
	return 1.5 * n / (2 * worth) * max(0, math.Log(variance/f.steady))
}

// leastSeen seconds of a test whose beginning was not recorded must have been.
const leastSeen = 40

// unseen reports whether the recording begins only once a start at second t has
// gone by. The seconds before are no evidence of anything then, and whatever
// the grid holds there must not be fitted.
func (f *finder) unseen(t int) bool { return f.profile.flat && f.grid.begin > t-3 }

// alreadyOn fits the response to seconds [a, b) of a run that had begun before.
func (f *finder) alreadyOn(kernels []kernel, a, b int) (r response) {
	r.ss = math.Inf(1)
	for i := range kernels {
		pl := kernels[i].onPlan(0, b-a)
		r.improve(&kernels[i], &f.grid, &pl, a)
	}
	return r
}

// edgeKnown grades how far an edge at grid second t can be seen, 0 to 1, by how
// well the seconds before and after it are covered.
func (f *finder) edgeKnown(t int) float64 {
	share := min(f.grid.share(t-15, t), f.grid.share(t, t+20))
	return min(max((share-0.3)/0.4, 0), 1)
}

// tooLow is by how much (bpm) the second half of a test is below any level
// that the protocol's run has.
func (f *finder) tooLow(c *candidate) float64 {
	return max(0, f.lowest-reference-f.grid.mean(c.start+c.length/2, c.start+c.length))
}

// lightness is the cost of a level below the protocol's band: between a jog and
// the test, both steady and as long, the band decides.
func (f *finder) lightness(c *candidate) float64 {
	if f.band == 0 {
		return 0
	}
	below := f.band - reference - f.grid.mean(c.start+c.length/2, c.start+c.length)
	return min(max(0, 0.25*(below-3)), 5)
}

// levelCost is high for levels that no submaximal run has, and for responses
// that still climb fast, or fall, when the test ends.
func (f *finder) levelCost(c *candidate) float64 {
	cost := f.tooLow(c)
	if c.late {
		// What the response was is known too little to go by its shape.
		end := c.start + c.length
		slope := f.grid.slope(max(end-60, f.grid.begin), end)
		cost += 80*max(0, slope-0.15) + 80*max(0, -0.08-slope)
	} else if f.profile.flat && c.on.tau > 0 {
		slope := c.on.rise()/c.on.tau*math.Exp(-float64(c.length)/c.on.tau) + c.on.gain/100
		most := 0.10
		if c.length < f.profile.length {
			most = 0.3 // a run cut short need not have come to its level
		}
		cost += 80*max(0, slope-most) + 80*max(0, -0.05-slope)
	}
	return cost
}
