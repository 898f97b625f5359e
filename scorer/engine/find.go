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
	stride = 6
	// reach is how far around a coarse candidate the fine search looks.
	reach = 24
	// most coarse candidates that are looked at closely, none of them with a
	// score further than mostBehind from the first.
	mostCandidates = 6
	mostBehind     = 40.0

	// Heart rate answers late: by 0.2 ± 2 s at the start of a run, and by
	// 2.8 ± 3 s at its end, where it keeps up for some seconds after stopping.
	// What averaging in the device adds comes on top, see smoothing.go. Choices
	// of this package.
	onDelay, onDelaySD   = 0.2, 2.0
	offDelay, offDelaySD = 2.8, 3.0
	// sharedDelaySD (s) is what both edges may be late together, besides what
	// averaging shows: no trace tells it, so no start is surer.
	sharedDelaySD = 2.0

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
	light    float64 // cost of a level below the protocol's band
	sd       float64 // of the start, seconds
	within   float64 // probability of being within 5 s, this being the test
	rivals   float64 // probability that this is the test and no other candidate
	coarse   float64 // score of the quick search
	ran      float64 // seconds between the edges, each seen for itself
	edges    [2]int  // grid seconds of the best edges
	middle   int     // of the starts that the fine search looked at
	kOn      int     // time constants that fit the edges best, places in the lists
	kOff     int
	lag      float64 // seconds that averaging in the device delays both edges by
	lagVar   float64 // and the variance of that
	tension  float64 // log likelihood that their being one test's length apart costs
	length   int     // seconds; shorter than the protocol's when cut short
	source   schemas.StartSource
	sped     bool // the speed channel shows both edges of the run
	lap      bool
	planned  bool
	team     bool
	borrowed bool    // the start is team-mates', heart rate does not show it
	tied     bool    // another effort fits nearly as well
	rival    float64 // level (bpm) of another run that fits as well, 0 for none
	repeated bool    // one of several alike: intervals
	goesOn   bool    // the run goes on beyond the test, or began before it
	late     bool    // its beginning was not recorded
	timed    bool    // the edges and how long it ran are from the speed channel
	exact    float64 // trace seconds, for a start given by hand
	fitted   int     // grid second that the trace itself suggests then
}

func (c *candidate) score() float64 {
	return c.evOn + c.evOff - c.misfit + c.evSpeed + c.evHint - c.level - c.light
}

// mostConfidence: a lap may be pressed late, and a steady run may be another.
const mostConfidence = 0.98

// confidence is the probability that the start is within 5 s of the true one.
func (c *candidate) confidence() float64 {
	if c.source == schemas.StartByHand {
		return 1
	}
	return min(c.within*c.rivals, mostConfidence)
}

// finder holds what a search needs; its slices are reused between calls.
type finder struct {
	grid     grid
	profile  profile // the load that the kernels are made for
	load     profile
	coarse4  [len(coarseTau)]kernel // of the quick search: starts, then ends
	plansOn  [coarseOns]plan
	plansOff [len(coarseTau) - coarseOns]plan
	fineOn   [len(fineOn)]kernel
	fineOff  [len(fineOff)]kernel
	scores   []float64
	found    []candidate
	logOn    []float64
	logOff   []float64
	close    [4]closePlans // by window, see plansFor
	near     []reading     // around a turn
	series   *series       // that the grid was made of
	lowest   float64       // bpm, the least level of a test
	band     float64       // bpm, the low end of the protocol's band; 0 unknown
	noShort  bool          // tests cut short are out of the question
	steady   float64       // variance about the response that is still steady, bpm²
	wiggle   float64       // of the trace, and its interval; see series
	interval float64
}

func (f *finder) coarseOn() []kernel  { return f.coarse4[:coarseOns] }
func (f *finder) coarseOff() []kernel { return f.coarse4[coarseOns:] }

// find returns the candidates for a test of the protocol, best first.
func (f *finder) find(s *series, h *hints) []candidate {
	f.found = f.found[:0]
	d := f.profile.length
	f.wiggle, f.interval = s.wiggle, s.interval
	f.steady = max(4, 0.6*s.wiggle*s.wiggle) * f.room() * f.room()
	f.coarse(h, d, true)
	f.suggested(h)
	for i := range f.found {
		c := &f.found[i]
		if !h.any && h.speedOK && h.steady {
			// No need to look closely where the speed is another one.
			if ev, _, _ := h.speedEvidence(&f.grid, c.start, c.length); ev < -14 {
				c.evSpeed = ev
				continue
			}
		}
		f.settle(c, h)
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

// suggested adds the places that team-mates and lap marks point to, whatever
// heart rate shows there.
func (f *finder) suggested(h *hints) {
	add := func(at float64) {
		if at < f.grid.origin-h.length/2 || at > f.grid.origin+float64(f.grid.n)-h.length/3 {
			return
		}
		t := f.grid.second(at)
		for i := range f.found {
			if abs(f.found[i].start-t) < 10 {
				return
			}
		}
		f.found = append(f.found, candidate{start: t, length: f.profile.length})
	}
	if h.team {
		add(h.teamAt)
	}
	added := 0
	for i := range h.laps {
		if l := &h.laps[i]; h.fits(l) && added < mostCandidates {
			add(l.Start.Seconds())
			added++
		}
	}
}

// coarse scores every sixth second by cheap tests first, and keeps the highest
// separate peaks, for a test of d seconds. With whole false only the beginning
// counts, whatever comes after d seconds.
func (f *finder) coarse(h *hints, d int, whole bool) {
	g := &f.grid
	first := max(before+2, lead-d/2)
	last := lead + g.n - d/2
	if last <= first {
		return
	}
	if whole {
		look(f.coarse4[:], g.x, 0, len(g.x))
	}
	for i := range f.coarseOn() {
		f.plansOn[i] = f.coarseOn()[i].onPlan(before, d-3)
	}
	for i := range f.coarseOff() {
		f.plansOff[i] = f.coarseOff()[i].offPlan(offBefore, offAfter)
	}
	f.scores = grow(f.scores, (last-first)/stride+1)
	for i := range f.scores {
		t := first + i*stride
		f.scores[i] = math.Inf(-1)
		if f.plausible(t, d, whole) {
			f.scores[i] = f.quick(t, d, whole)
			if h.any {
				f.scores[i] += h.evidence(g.time(t), nil)
			}
		}
	}
	for len(f.found) < mostCandidates {
		best, at := 4.0, -1
		for i, v := range f.scores {
			if v > best {
				best, at = v, i
			}
		}
		if at < 0 || (len(f.found) > 0 && best < f.found[0].coarse-mostBehind) {
			return
		}
		f.found = append(f.found, candidate{start: first + at*stride, length: d, coarse: best})
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
	rise := level - g.mean(t-12, t+4)
	if whole {
		fall := level - g.mean(t+d+30, t+d+50)
		if (rise < 7 && fall < 8) || rise+fall < 14 {
			return false
		}
	} else if end := t + f.profile.length; rise < 8 ||
		level-min(g.mean(end-25, end+5), g.mean(end+10, end+50)) < 6 {
		return false
	}
	return g.share(t, t+d) > 0.35
}

// quick scores second t on a coarse grid of responses.
func (f *finder) quick(t, d int, whole bool) float64 {
	g := &f.grid
	on := t + 1
	best := math.Inf(1)
	var at int
	for i := range f.coarseOn() {
		if ss := f.coarseOn()[i].leftOn(g, &f.plansOn[i], on); ss < best {
			best, at = ss, i
		}
	}
	a, b := on-before, on+d-3
	n := float64(b - a)
	late := f.unseen(on)
	if late {
		if a = f.grid.begin; b-a < leastSeen {
			return math.Inf(-1)
		}
		n = float64(b - a)
		best = f.alreadyOn(f.coarseOn(), a, b).ss
	}
	left := best/n + roundingVar
	score := 0.0
	if left > f.steady {
		score = -1.5 * n / (2 * worth) * math.Log(left/f.steady)
		if score < -mostOn-mostOff {
			return score // nothing can make up for it
		}
	}
	if !late { // what was not recorded is neither for the edge nor against it
		known := f.edgeKnown(on)
		pl := &f.plansOn[at]
		if x := pl.solve(f.coarseOn()[at].rightOn(g, pl, on)); x[2]+x[3]*f.coarseOn()[at].lateLoad(pl.n)-x[0] >= 6 {
			ev := n / (2 * worth) * math.Log((g.aboutLine(a, b)/n+roundingVar)/left)
			score += min(max(ev, 0), mostOn) * known
		} else {
			score -= noOn * known
		}
	}
	if !whole {
		return score
	}
	off, ev := f.quickEnd(t + d + 2)
	if off.fall() >= 6 {
		return score + min(ev, mostOff)
	}
	return score - noOff*f.edgeKnown(t+d+2)
}

// quickEnd fits a coarse grid of recoveries to an end at second t.
func (f *finder) quickEnd(t int) (recovery, float64) {
	g := &f.grid
	best := math.Inf(1)
	var at int
	for i := range f.coarseOff() {
		if ss := f.coarseOff()[i].leftOff(g, &f.plansOff[i], t); ss < best {
			best, at = ss, i
		}
	}
	r := f.coarseOff()[at].fitOff(g, &f.plansOff[at], t)
	if r.end-r.rest < 6 {
		return r, 0
	}
	n := float64(r.n)
	ev := 1.5 * n / (2 * worth) * math.Log((g.aboutLine(t-offBefore, t+offAfter)/n+roundingVar)/(best/n+roundingVar))
	return r, max(ev, 0) * f.edgeKnown(t)
}

// weigh turns the fits with edges at seconds on and off into evidence against
// alternatives without those edges, which leave the variances noOnVar and
// noOffVar in the same seconds.
func (f *finder) weigh(c *candidate, on, off int, noOnVar, noOffVar float64) {
	n := float64(c.on.n)
	left := c.on.ss/float64(c.on.n) + roundingVar
	known := f.edgeKnown(on)
	c.evOn = -noOn * known
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
		if fit := kernels[i].fitOn(&f.grid, &pl, a); fit.ss < r.ss {
			r = fit
		}
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
		cost += 80*max(0, slope-0.10) + 80*max(0, -0.05-slope)
	}
	return cost
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
