package engine

import (
	"math"
	"slices"
)

// Windows of the fine search around a coarse start m of a test of d seconds.
// They stay put while the edges move, so that sums of squares compare. The one
// for the start ends before the test does, where the one for the end begins.
const (
	spare   = 8 // delays reach this far beyond the starts looked at
	places  = 2*reach + 1 + 2*spare
	overlap = reach + 20 // seconds of the test left to the window of the end
)

// shortStep: lengths of runs cut short are taken in steps of so many seconds for
// the window of the start, so that plans can be used again.
const shortStep = 24

// closePlans are the plans of the fine search for one length of test.
type closePlans struct {
	length int
	on     [len(fineOn)][places]plan
	off    [len(fineOff)][places]plan
}

func (f *finder) plansFor(d int) *closePlans {
	p := &f.close
	if d != f.profile.length {
		p = &f.closeShort[d/shortStep%len(f.closeShort)]
	}
	if p.length == d {
		return p
	}
	p.length = d
	span := reach + before + d - overlap // of the window around the start
	for k := range p.on {
		for i := range p.on[k] {
			p.on[k][i] = plan{}
			if at := before - spare + i; at > 8 && span-at > 8 {
				p.on[k][i] = f.fineOn[k].onPlan(at, span-at)
			}
		}
	}
	offSpan := overlap + offAfter + reach/2
	for k := range p.off { // the same for all lengths
		for i := range p.off[k] {
			at := overlap - reach - spare + i
			p.off[k][i] = f.fineOff[k].offPlan(at, offSpan-at)
		}
	}
	return p
}

// fine places the edges of a candidate to the second. The start's likelihood
// joins both edges: for each start the best delays of heart rate, each with
// its prior.
func (f *finder) fine(c *candidate, h *hints) {
	g, d := &f.grid, max(c.length, overlap+20)
	m := max(c.start, before+reach+2)
	sure := d // seconds of the run that the start is fitted to
	if d != f.profile.length {
		sure = max(d-d%shortStep, overlap+20)
	}
	plans := f.plansFor(sure)
	a, b := m-reach-before, m+sure-overlap
	ea, eb := m+d-overlap, m+d+offAfter+reach/2
	look(f.fineOn[:], g.x, a, b)
	look(f.fineOff[:], g.x, ea, eb)
	f.logOn, f.logOff = grow(f.logOn, places), grow(f.logOff, places)
	bestOn, bestOff := math.Inf(1), math.Inf(1)
	var on, off, kOn, kOff int
	t := m - reach - spare
	c.late = f.unseen(m) && b-f.grid.begin >= leastSeen
	try := func(i, onFrom, onTo, offFrom, offTo int) {
		f.logOn[i], f.logOff[i] = math.Inf(1), math.Inf(1)
		if !c.late && plans.on[0][i].n > 0 {
			for k := onFrom; k < onTo; k++ {
				ss := f.fineOn[k].leftOn(g, &plans.on[k][i], t+i)
				f.logOn[i] = min(f.logOn[i], ss)
				if ss < bestOn {
					bestOn, on, kOn = ss, i, k
				}
			}
		}
		for k := offFrom; k < offTo; k++ {
			ss := f.fineOff[k].leftOff(g, &plans.off[k][i], t+d+i)
			f.logOff[i] = min(f.logOff[i], ss)
			if ss < bestOff {
				bestOff, off, kOff = ss, i, k
			}
		}
	}
	// Every third second with all time constants, then the others with those
	// around the best.
	for i := 0; i < places; i += 3 {
		try(i, 0, len(fineOn), 0, len(fineOff))
	}
	onFrom, onTo := max(kOn-1, 0), min(kOn+2, len(fineOn))
	offFrom, offTo := max(kOff-1, 0), min(kOff+2, len(fineOff))
	for i := range places {
		if i%3 != 0 {
			try(i, onFrom, onTo, offFrom, offTo)
		}
	}
	if c.late {
		on, c.on = off, f.alreadyOn(f.fineOn[:], g.begin, b)
	} else {
		c.on = f.fineOn[kOn].fitOn(g, &plans.on[kOn][on], m-reach-spare+on)
	}
	c.off = f.fineOff[kOff].fitOff(g, &plans.off[kOff][off], m+d-reach-spare+off)
	// Without the edges: a response that began before the window, and a line or
	// a recovery that did.
	noOn, noOff := math.Inf(1), g.aboutLine(ea, eb)
	for k := range f.fineOn {
		pl := f.fineOn[k].onPlan(0, b-a)
		noOn = min(noOn, f.fineOn[k].leftOn(g, &pl, a))
	}
	for k := range f.fineOff {
		pl := f.fineOff[k].offPlan(0, eb-ea)
		noOff = min(noOff, f.fineOff[k].leftOff(g, &pl, ea))
	}
	c.edges = [2]int{m - reach - spare + on, m + d - reach - spare + off}
	// How long the run lasted, each edge seen for itself.
	c.ran = float64(c.edges[1]-c.edges[0]) - offDelay + onDelay
	nOn, nOff := float64(b-a), float64(eb-ea)
	f.weigh(c, c.edges[0], c.edges[1], noOn/nOn, noOff/nOff)
	onSeen := f.profile.flat && !c.late && c.evOn > seenOn && inside(c.edges[0], a, b)
	offSeen := c.evOff > seenOff && inside(c.edges[1], ea, eb)
	c.lag, c.lagVar = f.smoothing(c, kOn, kOff, onSeen, offSeen)
	wOn := nOn / (2 * worth) * f.edgeKnown(c.edges[0])
	wOff := nOff / (2 * worth) * f.edgeKnown(c.edges[1])
	for i := range f.logOn {
		if c.late {
			f.logOn[i] = 0
		} else {
			f.logOn[i] = -wOn * math.Log(f.logOn[i]/nOn+roundingVar)
		}
		f.logOff[i] = -wOff * math.Log(f.logOff[i]/nOff+roundingVar)
	}
	f.place(c, m, h)
}

// inside reports whether the seconds around a turn at second t are all in [a, b).
func inside(t, a, b int) bool { return t-turnBefore-turnShifts >= a && t+turnAfter <= b }

// earliest is how many seconds before the load an edge of heart rate may seem
// to be.
const earliest = 5

// otherEnd is the cost of the run's not having lasted the test's length: the
// start is where heart rate begins to rise, even if the end says otherwise.
const otherEnd = 5.0

// delayCosts are the costs of delays from -earliest to spare seconds: -log of
// their prior densities at the start and at the end.
var delayCosts = func() (c [earliest + spare + 1]struct{ on, off float64 }) {
	for k := range c {
		x := (float64(k-earliest) - onDelay) / onDelaySD
		y := (float64(k-earliest) - offDelay) / offDelaySD
		c[k].on, c[k].off = x*x/2, y*y/2
	}
	return c
}()

// place turns the edges' likelihoods into the start and its spread.
func (f *finder) place(c *candidate, m int, h *hints) {
	var like [2*reach + 1]float64
	top, both := math.Inf(-1), math.Inf(-1)
	lag := int(math.Round(c.lag))
	anywhere := math.Inf(-1)
	if f.profile.flat && c.evOn >= mostOn/3 {
		anywhere = slices.Max(f.logOff) - otherEnd
	}
	for i := range like {
		on, off := math.Inf(-1), math.Inf(-1)
		for k, cost := range delayCosts {
			at := i + spare - earliest + k + lag
			if at >= places {
				break
			}
			on = max(on, f.logOn[at]-cost.on)
			off = max(off, f.logOff[at]-cost.off)
		}
		t := m - reach + i
		both = max(both, on+off)
		like[i] = on + max(off, anywhere)
		if h.any {
			like[i] += h.evidence(f.grid.time(t), nil)
		}
		if h.speedOK && h.steady {
			like[i] += h.box(&f.grid, t, c.length, m)
		}
		top = max(top, like[i])
	}
	c.tension = slices.Max(f.logOn) + slices.Max(f.logOff) - both
	for i := range like {
		like[i] = math.Exp(like[i] - top)
	}
	// The bouts of a shuttle make several places likely, none of them a rival.
	around := len(like)
	if f.profile.flat {
		around = 7
	}
	at := centre(like[:], around)
	c.start = m - reach + at
	c.evHint = h.evidence(f.grid.time(c.start), c)
	c.evSpeed, c.sped, c.goesOn = h.speedEvidence(&f.grid, c.start, c.length)
	c.timed = false
	if begins, ends, ok := h.timedRun(&f.grid, c.start, c.length); ok && !c.lap {
		if ev, sped, _ := h.speedEvidence(&f.grid, begins, ends-begins); sped {
			c.evSpeed, c.sped, c.goesOn = ev, true, false
			c.timed, c.ran, c.edges = true, float64(ends-begins), [2]int{begins, ends}
		}
	}
	shared := math.Sqrt(sq(sharedDelaySD) + c.lagVar)
	if c.sped || c.lap {
		shared = 0.5 // the start is not heart rate's to tell
	}
	near, sum, spread := 0.0, 0.0, 0.0
	for i, p := range like {
		sum += p
		spread += p * float64((i-at)*(i-at))
		if p < 1e-6 {
			continue
		}
		off := float64(i - at)
		near += p * (math.Erf((5.5-off)/(shared*math.Sqrt2)) + math.Erf((5.5+off)/(shared*math.Sqrt2))) / 2
	}
	c.within = near / sum
	c.sd = math.Sqrt(spread/sum + 0.5 + shared*shared)
	c.goesOn = c.goesOn || (!c.sped && f.continues(c))
}

// centre is the mean of the likeliest of the places that like speaks for: where
// the two edges disagree there are two, and nothing began half-way. It looks so
// many seconds around.
func centre(like []float64, around int) int {
	best, at := -1.0, 0
	for i := range like {
		mass := 0.0
		for _, p := range like[max(0, i-2):min(i+3, len(like))] {
			mass += p
		}
		if mass > best {
			best, at = mass, i
		}
	}
	sum, st := 0.0, 0.0
	for i := max(0, at-around); i <= min(at+around, len(like)-1); i++ {
		sum += like[i]
		st += like[i] * float64(i)
	}
	return int(math.Round(st / sum))
}
