package engine

import (
	"math"
	"slices"
)

// Windows of the fine search around a coarse start m of a test of d seconds.
// They stay put while the edges move, so that sums of squares compare. The one
// for the start of a steady run ends soon: how heart rate goes on minutes later
// tells whether it is the test, not when it began. It always ends before the
// test does, where the one for the end begins.
const (
	spare   = 8 // delays reach this far beyond the starts looked at
	places  = 2*reach + 1 + 2*spare
	overlap = reach + 20 // seconds of the test left to the window of the end
	rising  = reach + 75 // seconds from m on in the window of a steady run's start
)

// shortStep: lengths of runs cut short are taken in steps of so many seconds for
// the window of the start, so that plans can be used again.
const shortStep = 24

// closePlans are the plans of the fine search for one window of the start.
type closePlans struct {
	ahead int // seconds of it from m on
	on    [places][len(fineOn)]plan
	off   [places][len(fineOff)]plan
}

func (f *finder) plansFor(ahead int) *closePlans {
	p := &f.close[ahead/shortStep%len(f.close)]
	if p.ahead == ahead {
		return p
	}
	p.ahead = ahead
	span := reach + before + ahead          // of the window around the start
	offSpan := overlap + offAfter + reach/2 // the same for all lengths
	for i := range places {
		p.on[i] = [len(fineOn)]plan{}
		if at := before - spare + i; at > 8 && span-at > 8 {
			for k := range fineOn {
				p.on[i][k] = f.fineOn[k].onPlan(at, span-at)
			}
		}
		at := overlap - reach - spare + i
		for k := range fineOff {
			p.off[i][k] = f.fineOff[k].offPlan(at, offSpan-at)
		}
	}
	return p
}

// wholePlans are plans of fitWhole, by time constant and the seconds before the
// edge, each as it was last asked for.
type wholePlans [len(fineOn)][before + places]plan

func (f *finder) wholePlan(k, p, n int) *plan {
	pl := &f.whole[k][p]
	if pl.n != n {
		*pl = f.fineOn[k].onPlan(p, n)
	}
	return pl
}

// settle places a candidate to the second, with how late the device shows it.
// The coarse search may be off by more than the fine one reaches: it goes on
// from where that ended until it stays inside.
func (f *finder) settle(c *candidate, h *hints) {
	for range 3 {
		from := c.start
		f.fine(c, h)
		if f.risesElsewhere(c, h) {
			c.start = c.edges[0] - int(math.Round(onDelay))
			continue
		}
		if d := c.start - from; d < reach-4 && d > -(reach-4) {
			break
		}
	}
	f.unsmooth(c, h)
}

// risesElsewhere reports whether the rise in the window is too far from the start
// to have been looked at as the start itself, although a run that does not end
// where the test would costs less than what the two edges are apart.
func (f *finder) risesElsewhere(c *candidate, h *hints) bool {
	if !f.profile.flat || c.late || c.evOn < mostOn/3 || c.tension <= otherEnd || h.speedOK || c.lap || c.team {
		return false
	}
	return c.edges[0]-c.middle < -reach || c.edges[0]-c.middle > reach
}

// unsmooth takes the delay that the device makes off the start. The likelihoods
// of the edges must still be those of the candidate.
func (f *finder) unsmooth(c *candidate, h *hints) {
	c.lag, c.lagVar = f.smoothing(c)
	c.lag += shownLate
	like := f.place(c, h)
	shared := math.Sqrt(sq(sharedDelaySD) + c.lagVar)
	if c.sped || c.lap {
		shared = 0.5 // the start is not heart rate's to tell
	}
	c.within, c.sd = spreadAbout(like[:], c.start-c.middle+reach, shared)
	f.seenLate(c)
}

// nearby are the windows of the fine search for one candidate, grid seconds.
type nearby struct {
	middle, length    int // the starts looked at are around middle
	from, until       int // window of the start, for its place
	whole             int // end of the window of the start for whether it is the test
	endFrom, endUntil int // window of the end
	firstOn, firstOff int // first places tried for either edge
	plans             *closePlans
}

// nearby lays the windows and prepares the sums over them.
func (f *finder) nearby(c *candidate) nearby {
	d := max(c.length, overlap+20)
	m := max(c.start, before+reach+2)
	sure := d // seconds of the run that the start is fitted to
	if d != f.profile.length {
		sure = max(d-d%shortStep, overlap+20)
	}
	ahead := sure - overlap
	if f.profile.flat {
		ahead = min(ahead, rising)
	}
	w := nearby{middle: m, length: d, from: m - reach - before, until: m + ahead, whole: m + sure - overlap,
		endFrom: m + d - overlap, endUntil: m + d + offAfter + reach/2,
		firstOn: m - reach - spare, firstOff: m + d - reach - spare, plans: f.plansFor(ahead)}
	look(f.fineOn[:], f.grid.x, w.from, w.whole)
	look(f.fineOff[:], f.grid.x, w.endFrom, w.endUntil)
	return w
}

// fine places the edges of a candidate to the second. The start's likelihood
// joins both edges: for each start the best delays of heart rate, each with
// its prior.
func (f *finder) fine(c *candidate, h *hints) {
	w := f.fineEdges(c)
	f.finePlace(c, h, &w)
}

// fineEdges finds the edges around a candidate, and what speaks for each.
func (f *finder) fineEdges(c *candidate) nearby {
	w := f.nearby(c)
	c.middle, c.lag, c.lagVar = w.middle, 0, 0
	f.beside.length = 0 // not looked at yet
	c.late = f.unseen(w.middle) && w.whole-f.grid.begin >= leastSeen
	f.searchEdges(c, &w)
	if !c.late {
		f.searchShortened(c, &w)
	}
	f.fitWhole(c, &w)
	return w
}

// finePlace places a candidate by the edges that were found last.
func (f *finder) finePlace(c *candidate, h *hints, w *nearby) {
	nOn, nOff := float64(w.until-w.from), float64(w.endUntil-w.endFrom)
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
	f.place(c, h)
	// Whether the run is steady does not depend on what came before it.
	if begin := c.start + wholeShift; !c.late && w.whole-begin > leastSeen {
		run := float64(w.whole - begin)
		c.misfit = min(c.misfit, f.unsteady(f.alreadyOn(f.fineOn[:], begin, w.whole).ss/run+roundingVar, run))
	}
}

// searchEdges finds where either edge fits best, each for itself, and leaves
// the sums of squares of all places in logOn and logOff.
func (f *finder) searchEdges(c *candidate, w *nearby) {
	g := &f.grid
	f.logOn, f.logOff = grow(f.logOn, places), grow(f.logOff, places)
	bestOn, bestOff := math.Inf(1), math.Inf(1)
	var on, off int
	c.kOn, c.kOff = 0, 0
	try := func(i, onFrom, onTo, offFrom, offTo int) {
		leastOn, leastOff, kOn, kOff := math.Inf(1), math.Inf(1), 0, 0
		if !c.late && w.plans.on[i][0].n > 0 {
			for k := onFrom; k < onTo; k++ {
				ss := f.fineOn[k].leftOn(g, &w.plans.on[i][k], w.firstOn+i)
				if ss < leastOn {
					leastOn, kOn = ss, k
				}
			}
		}
		for k := offFrom; k < offTo; k++ {
			ss := f.fineOff[k].leftOff(g, &w.plans.off[i][k], w.firstOff+i)
			if ss < leastOff {
				leastOff, kOff = ss, k
			}
		}
		f.logOn[i], f.logOff[i] = leastOn, leastOff
		if leastOn < bestOn {
			bestOn, on, c.kOn = leastOn, i, kOn
		}
		if leastOff < bestOff {
			bestOff, off, c.kOff = leastOff, i, kOff
		}
	}
	// Every third second with all time constants, then the others with those
	// around the best.
	for i := 0; i < places; i += 3 {
		try(i, 0, len(fineOn), 0, len(fineOff))
	}
	onFrom, onTo := max(c.kOn-1, 0), min(c.kOn+2, len(fineOn))
	offFrom, offTo := max(c.kOff-1, 0), min(c.kOff+2, len(fineOff))
	for i := range places {
		if i%3 != 0 {
			try(i, onFrom, onTo, offFrom, offTo)
		}
	}
	if c.late {
		on = off
	}
	c.turns = [2]int{w.firstOn + on, w.firstOff + off}
	c.edges = c.turns
	c.off = f.fineOff[c.kOff].fitOff(g, &w.plans.off[off][c.kOff], c.edges[1])
	// How long the run lasted, each edge seen for itself.
	c.ran = float64(c.edges[1]-c.edges[0]) - offDelay + onDelay
}

// fitWhole fits the response to the whole run, with its edges where they were
// found, and turns both edges into evidence.
func (f *finder) fitWhole(c *candidate, w *nearby) {
	g := &f.grid
	if c.late {
		c.on = f.alreadyOn(f.fineOn[:], g.begin, w.whole)
	} else {
		c.on = response{ss: math.Inf(1)}
		for by := -wholeShift; by <= wholeShift; by += 2 {
			at := c.edges[0] + by
			if at-w.from <= 8 || w.whole-at <= 8 {
				continue
			}
			for k := range f.fineOn {
				c.on.improve(&f.fineOn[k], g, f.wholePlan(k, at-w.from, w.whole-at), at)
			}
		}
	}
	// Without the edges: a response that began before the window, and a line or
	// a recovery that did.
	noOn, noOff := math.Inf(1), g.aboutLine(w.endFrom, w.endUntil)
	for k := range f.fineOn {
		noOn = min(noOn, f.fineOn[k].leftOn(g, f.wholePlan(k, 0, w.whole-w.from), w.from))
	}
	for k := range f.fineOff {
		pl := f.fineOff[k].offPlan(0, w.endUntil-w.endFrom)
		noOff = min(noOff, f.fineOff[k].leftOff(g, &pl, w.endFrom))
	}
	f.weigh(c, c.edges[0], c.edges[1], noOn/float64(w.whole-w.from), noOff/float64(w.endUntil-w.endFrom))
}

// wholeShift: what goes on for minutes may fit best with the edge so many
// seconds from where the rise itself is.
const wholeShift = 4

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

// place turns the edges' likelihoods into the start, and returns those of all the
// starts looked at.
func (f *finder) place(c *candidate, h *hints) (like likelihoods) {
	like = f.likely(c, h)
	// The bouts of a shuttle make several places likely, none of them a rival.
	around := len(like)
	if f.profile.flat {
		around = 7
	}
	c.start = c.middle - reach + centre(like[:], around)
	c.evHint = h.evidence(f.grid.time(c.start), c)
	f.timeBySpeed(c, h)
	c.goesOn = c.goesOn || (!c.sped && f.continues(c))
	return like
}

// likelihoods of the starts around the middle of a fine search, 1 the highest.
type likelihoods [2*reach + 1]float64

// beside is what is known of the starts around the middle of a fine search besides
// heart rate, in log likelihood, for a test of so many seconds.
type beside struct {
	length       int
	hints, speed likelihoods
}

// lookBeside gathers that for a candidate.
func (f *finder) lookBeside(c *candidate, h *hints) {
	b := &f.beside
	*b = beside{length: c.length}
	for i := range b.hints {
		t := c.middle - reach + i
		if h.any {
			b.hints[i] = h.evidence(f.grid.time(t), nil)
		}
		switch {
		case !h.speedOK:
		case h.steady:
			b.speed[i] = h.box(&f.grid, t, c.length, c.middle)
		case h.course != nil:
			b.speed[i] = h.follows(&f.grid, t, c.length, c.middle)
		}
	}
}

// likely joins for each start the best delays of both edges, each with its prior,
// and what else is known of the start. It notes what it costs that the edges are
// one test's length apart.
func (f *finder) likely(c *candidate, h *hints) (like likelihoods) {
	if f.beside.length != c.length {
		f.lookBeside(c, h)
	}
	top, both := math.Inf(-1), math.Inf(-1)
	lag := int(math.Round(c.lag))
	anywhere := math.Inf(-1)
	if f.profile.flat && c.evOn >= mostOn/3 {
		anywhere = slices.Max(f.logOff) - otherEnd
	}
	for i := range like {
		on, off := math.Inf(-1), math.Inf(-1)
		first := i + spare - earliest + lag
		after := min(first+len(delayCosts), places)
		logOn, logOff := f.logOn[first:after], f.logOff[first:after]
		for k := range logOn {
			cost := &delayCosts[k]
			if v := logOn[k] - cost.on; v > on {
				on = v
			}
			if v := logOff[k] - cost.off; v > off {
				off = v
			}
		}
		both = max(both, on+off)
		like[i] = on + max(off, anywhere) + f.beside.hints[i] + f.beside.speed[i]
		top = max(top, like[i])
	}
	c.tension = slices.Max(f.logOn) + slices.Max(f.logOff) - both
	for i := range like {
		like[i] = math.Exp(like[i] - top)
	}
	return like
}

// timeBySpeed weighs the speed in a test, and takes its edges from there where
// both are sharp and a lap does not say otherwise.
func (f *finder) timeBySpeed(c *candidate, h *hints) {
	c.evSpeed, c.sped, c.goesOn = h.speedEvidence(&f.grid, c.start, c.length)
	c.timed = false
	if begins, ends, ok := h.timedRun(&f.grid, c.start, c.length); ok && !c.lap {
		if ev, sped, _ := h.speedEvidence(&f.grid, begins, ends-begins); sped {
			c.evSpeed, c.sped, c.goesOn = ev, true, false
			c.timed, c.ran, c.edges = true, float64(ends-begins), [2]int{begins, ends}
		}
	}
}

// spreadAbout is the probability of being within 5 s of the start that is chosen,
// and the standard deviation of it, with a delay of unknown size shared by all
// places.
func spreadAbout(like []float64, chosen int, shared float64) (within, sd float64) {
	near, sum, spread := 0.0, 0.0, 0.0
	for i, p := range like {
		sum += p
		spread += p * float64((i-chosen)*(i-chosen))
		if p < 1e-6 {
			continue
		}
		off := float64(i - chosen)
		near += p * (math.Erf((5.5-off)/(shared*math.Sqrt2)) + math.Erf((5.5+off)/(shared*math.Sqrt2))) / 2
	}
	return near / sum, math.Sqrt(spread/sum + 0.5 + shared*shared)
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
