package engine

import (
	"math"
	"slices"

	"canter.example/schemas"
)

const (
	// worth: this many neighbouring seconds carry the information of one
	// independent reading (noise of heart rate is correlated over seconds).
	worth = 8
	// stride of the coarse search in seconds.
	stride = 3
	// reach is how far around a coarse candidate the fine search looks.
	reach = 24
	// most coarse candidates that are looked at closely.
	mostCandidates = 6

	// Heart rate answers late: by 1 ± 2 s at the start of a run and 2 ± 3 s
	// at its end (the device's averaging, and heart rate that keeps up for some
	// seconds after stopping). Choices of this package.
	onDelay, onDelaySD   = 1.0, 2.0
	offDelay, offDelaySD = 2.0, 3.0

	// An edge is seen when its evidence is at least this.
	seenOn, seenOff = 4.0, 3.5
	// least evidence for a test that is reported at all.
	leastEvidence = 14.0
	// More evidence than this from one edge says no more.
	mostOn, mostOff = 30.0, 20.0
	// Costs of an edge that is not there although its seconds were recorded.
	noOn, noOff = 8.0, 10.0
)

// candidate is a place where a test may start. Evidence is in units of log
// likelihood against a straight line through the same seconds.
type candidate struct {
	start    int // grid second
	on       response
	off      recovery
	evOn     float64 // heart rate begins to rise toward a level here
	evOff    float64 // and begins to recover one test's length later
	misfit   float64 // cost of not being steady in between
	evSpeed  float64 // running speed begins and ends with it
	evHint   float64 // lap marks, planned time, team-mates
	level    float64 // cost of a level that no such test has
	sd       float64 // of the start, seconds
	within   float64 // probability of being within 5 s, this being the test
	rivals   float64 // probability that this is the test and no other candidate
	ran      float64 // seconds between the edges, each seen for itself
	edges    [2]int  // grid seconds of the best edges
	length   int     // seconds; shorter than the protocol's when cut short
	source   schemas.StartSource
	lap      bool
	planned  bool
	team     bool
	tied     bool    // another effort fits nearly as well
	repeated bool    // one of several alike: intervals
	goesOn   bool    // the run goes on beyond the test, or began before it
	exact    float64 // trace seconds, for a start given by hand
	fitted   int     // grid second that the trace itself suggests then
}

func (c *candidate) score() float64 {
	return c.evOn + c.evOff - c.misfit + c.evSpeed + c.evHint - c.level
}

// confidence is the probability that the start is within 5 s of the true one.
func (c *candidate) confidence() float64 { return c.within * c.rivals }

// finder holds what a search needs; its slices are reused between calls.
type finder struct {
	grid     grid
	profile  profile
	coarseOn [len(coarseOn)]kernel
	coarseOf [len(coarseOff)]kernel
	fineOn   [len(fineOn)]kernel
	fineOff  [len(fineOff)]kernel
	scores   []float64
	found    []candidate
	logOn    []float64
	logOff   []float64
	lowest   float64 // bpm, the least level of a test
	steady   float64 // variance about the response that is still steady, bpm²
}

// find returns the candidates for a test of the protocol, best first.
func (f *finder) find(s *series, h *hints) []candidate {
	f.found = f.found[:0]
	d := f.profile.length
	if d < 30 {
		return nil
	}
	f.steady = max(4, 0.6*s.wiggle*s.wiggle)
	f.coarse(h, d, true)
	for i := range f.found {
		c := &f.found[i]
		for range 3 {
			// The coarse search may be off by more than the fine one reaches:
			// go on from where that ended until it stays inside.
			from := c.start
			f.fine(c, h)
			if d := c.start - from; d < reach-4 && d > -(reach-4) {
				break
			}
		}
	}
	slices.SortFunc(f.found, func(a, b candidate) int {
		if a.score() != b.score() {
			if a.score() > b.score() {
				return -1
			}
			return 1
		}
		return a.start - b.start
	})
	f.found = f.apart(f.found)
	f.weighRivals(f.found)
	return f.found
}

// coarse scores every third second by cheap tests first, and keeps the highest
// separate peaks, for a test of d seconds. With whole false only the beginning
// counts, whatever comes after d seconds.
func (f *finder) coarse(h *hints, d int, whole bool) {
	g := &f.grid
	first := max(before+2, lead-d/2)
	last := lead + g.n - d/2
	if last <= first {
		return
	}
	for i := range f.coarseOn {
		f.coarseOn[i].look(g.x, 0, len(g.x))
	}
	for i := range f.coarseOf {
		f.coarseOf[i].look(g.x, 0, len(g.x))
	}
	f.scores = grow(f.scores, (last-first)/stride+1)
	for i := range f.scores {
		t := first + i*stride
		f.scores[i] = math.Inf(-1)
		if f.plausible(t, d, whole) {
			c := f.at(t, d)
			if !whole {
				c.evOff = 0
			}
			f.scores[i] = c.score() + h.evidence(g.time(t), nil)
		}
	}
	for len(f.found) < mostCandidates {
		best, at := 4.0, -1
		for i, v := range f.scores {
			if v > best {
				best, at = v, i
			}
		}
		if at < 0 {
			return
		}
		f.found = append(f.found, candidate{start: first + at*stride, length: d})
		for i := max(0, at-20/stride); i <= min(len(f.scores)-1, at+20/stride); i++ {
			f.scores[i] = math.Inf(-1)
		}
	}
}

// plausible is the cheap test: a level above 85 bpm in the second half of the
// test, that heart rate rose to or fell from.
func (f *finder) plausible(t, d int, whole bool) bool {
	g := &f.grid
	level := g.mean(t+d/2, t+d)
	if level < 85-reference {
		return false
	}
	pre := g.mean(t-12, t+4)
	if level-pre < 7 && (!whole || level-g.mean(t+d+30, t+d+50) < 8) {
		return false
	}
	return g.share(t, t+d) > 0.35
}

// at fits a coarse grid of responses at second t.
func (f *finder) at(t, d int) candidate {
	g := &f.grid
	c := candidate{start: t, length: d}
	a, b := t+1-before, t+d-2
	c.on.ss = math.Inf(1)
	for i := range f.coarseOn {
		if r := f.coarseOn[i].fitOn(g, t+1, a, b); r.ss < c.on.ss {
			c.on = r
		}
	}
	e := t + d + 2
	c.off.ss = math.Inf(1)
	for i := range f.coarseOf {
		if r := f.coarseOf[i].fitOff(g, e, e-offBefore, e+offAfter); r.ss < c.off.ss {
			c.off = r
		}
	}
	a, b = t+1-before, t+d-2
	f.weigh(&c, t+1, e, g.aboutLine(a, b)/float64(b-a), g.aboutLine(e-offBefore, e+offAfter)/(offBefore+offAfter))
	return c
}

// weigh turns the fits with edges at seconds on and off into evidence against
// alternatives without those edges, which leave the variances noOnVar and
// noOffVar in the same seconds.
func (f *finder) weigh(c *candidate, on, off int, noOnVar, noOffVar float64) {
	n := float64(c.on.n)
	left := c.on.ss/float64(c.on.n) + roundingVar
	known := f.edgeKnown(on)
	c.evOn = -noOn * known
	if c.on.rise() >= 6 && c.on.rise()/c.on.tau > c.on.before {
		if ev := n / (2 * worth) * math.Log((noOnVar+roundingVar)/left); ev > 0 {
			c.evOn = min(ev, mostOn) * known
		}
	}
	c.misfit = 1.5 * n / (2 * worth) * max(0, math.Log(left/f.steady))
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
}

// edgeKnown grades how far an edge at grid second t can be seen, 0 to 1, by how
// well the seconds before and after it are covered.
func (f *finder) edgeKnown(t int) float64 {
	share := min(f.grid.share(t-15, t), f.grid.share(t, t+20))
	return min(max((share-0.3)/0.4, 0), 1)
}

// levelCost is high for levels that no submaximal run has, and for responses
// that still climb fast, or fall, when the test ends.
func (f *finder) levelCost(c *candidate) float64 {
	v := f.grid.mean(c.start+c.length/2, c.start+c.length) + reference
	cost := max(0, f.lowest-v)
	if f.profile.flat && c.on.tau > 0 {
		slope := c.on.rise()/c.on.tau*math.Exp(-float64(c.length)/c.on.tau) + c.on.gain/100
		cost += 80*max(0, slope-0.10) + 80*max(0, -0.05-slope)
	}
	return cost
}

// fine places the edges of a candidate to the second. The start's likelihood
// joins both edges: for each start the best delays of heart rate, each with
// its prior, on windows that stay put while the start moves.
func (f *finder) fine(c *candidate, h *hints) {
	g, d, m := &f.grid, c.length, c.start
	m = max(m, before+reach+2)
	d = max(d, reach+40)
	const spare = 8 // delays reach this far beyond the starts looked at
	a, b := m-reach-before, m+d-reach-20
	n := 2*reach + 1 + 2*spare
	f.logOn, f.logOff = grow(f.logOn, n), grow(f.logOff, n)
	bestOn, bestOff := math.Inf(1), math.Inf(1)
	for i := range f.logOn {
		f.logOn[i], f.logOff[i] = math.Inf(1), math.Inf(1)
	}
	on, off := m, m+d
	noOn, noOff := math.Inf(1), g.aboutLine(m+d-reach-20, m+d+offAfter+reach/2)
	for k := range f.fineOn {
		kern := &f.fineOn[k]
		kern.look(g.x, a, b)
		noOn = min(noOn, kern.fitOn(g, a, a, b).ss)
		for i := range n {
			t := m - reach - spare + i
			if t <= a+8 {
				continue
			}
			r := kern.fitOn(g, t, a, b)
			f.logOn[i] = min(f.logOn[i], r.ss)
			if r.ss < bestOn {
				bestOn, c.on, on = r.ss, r, t
			}
		}
	}
	ea, eb := m+d-reach-20, m+d+offAfter+reach/2
	for k := range f.fineOff {
		kern := &f.fineOff[k]
		kern.look(g.x, ea, eb)
		noOff = min(noOff, kern.fitOff(g, ea, ea, eb).ss)
		for i := range n {
			t := m + d - reach - spare + i
			r := kern.fitOff(g, t, ea, eb)
			f.logOff[i] = min(f.logOff[i], r.ss)
			if r.ss < bestOff {
				bestOff, c.off, off = r.ss, r, t
			}
		}
	}
	f.weigh(c, on, off, noOn/float64(b-a), noOff/float64(eb-ea))
	nOn, nOff := float64(b-a), float64(eb-ea)
	wOn := nOn / (2 * worth) * f.edgeKnown(on)
	wOff := nOff / (2 * worth) * f.edgeKnown(off)
	for i := range f.logOn {
		f.logOn[i] = -wOn * math.Log(f.logOn[i]/nOn+roundingVar)
		f.logOff[i] = -wOff * math.Log(f.logOff[i]/nOff+roundingVar)
	}
	f.place(c, m, spare, h)
	f.lengthen(c, on, off)
}

// lengthen notes where the edges, each at its own best place, are too near or
// too far apart for the test's length: it was cut short, or is a longer run.
func (f *finder) lengthen(c *candidate, on, off int) {
	c.ran = float64(off-on) - offDelay + onDelay
	c.edges = [2]int{on, off}
}

// place turns the edges' likelihoods into the start and its spread.
func (f *finder) place(c *candidate, m, spare int, h *hints) {
	var like [2*reach + 1]float64
	top := math.Inf(-1)
	for i := range like {
		on, off := math.Inf(-1), math.Inf(-1)
		for k := -spare; k <= spare; k++ {
			x := (float64(k) - onDelay) / onDelaySD
			on = max(on, f.logOn[i+spare+k]-x*x/2)
			x = (float64(k) - offDelay) / offDelaySD
			off = max(off, f.logOff[i+spare+k]-x*x/2)
		}
		t := m - reach + i
		like[i] = on + off + h.evidence(f.grid.time(t), nil) + h.box(&f.grid, t, c.length, m)
		top = max(top, like[i])
	}
	var sum, st, stt float64
	for i := range like {
		like[i] = math.Exp(like[i] - top)
		sum += like[i]
		st += like[i] * float64(i)
		stt += like[i] * float64(i*i)
	}
	mean := st / sum
	c.sd = math.Sqrt(max(0, stt/sum-mean*mean) + 0.5)
	at := int(math.Round(mean))
	near := 0.0
	for i := max(0, at-5); i <= min(len(like)-1, at+5); i++ {
		near += like[i]
	}
	c.within = near / sum
	c.start = m - reach + at
	c.evHint = h.evidence(f.grid.time(c.start), c)
	c.evSpeed = h.speedEvidence(&f.grid, c.start, c.length)
	c.goesOn = f.continues(c)
}

// apart keeps the best of candidates whose starts came to within 10 s.
func (f *finder) apart(found []candidate) []candidate {
	out := found[:0]
next:
	for _, c := range found {
		for i := range out {
			if d := c.start - out[i].start; d < 10 && d > -10 {
				continue next
			}
		}
		out = append(out, c)
	}
	return out
}

// weighRivals sets the probability of each candidate against those that
// overlap with it and against there being no test.
func (f *finder) weighRivals(found []candidate) {
	for i := range found {
		c := &found[i]
		total := 1 + math.Exp(leastEvidence-c.score())
		for j := range found {
			d := found[j].start - c.start
			if i != j && d < c.length+30 && d > -c.length-30 {
				total += math.Exp(min(found[j].score()-c.score(), 50))
			}
		}
		c.rivals = 1 / total
	}
}
