package engine

import (
	"cmp"
	"math"
	"slices"
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

	// Heart rate answers late: by 0.5 ± 2 s at the start of a run, and by 3.6 ± 3.5 s
	// at its end, where it keeps up for some seconds after stopping. What
	// averaging in the device adds comes on top, see smoothing.go, and what the
	// device takes to show a reading. No source gives them: chosen here in the
	// middle of what generators of different make show, from textbook responses
	// that turn at once to hearts that keep up for ten seconds. The end tells less
	// than the start, as bodies differ more there.
	onDelay, onDelaySD   = 0.5, 2.0
	offDelay, offDelaySD = 3.6, 3.5
	// shownLate (s) is what a device takes to show a reading once it has it: packets
	// come each second or so, and are stored with the second that has begun.
	shownLate = 0.4
	// sharedDelaySD (s) is what both edges may be late together, besides what
	// averaging shows: no trace tells it, so no start is surer.
	sharedDelaySD = 2.0

	// What follows is in units of log likelihood and chosen here.
	//
	// An edge is seen when its evidence is at least this.
	seenOn, seenOff = 4.0, 3.5
	// least evidence for a test that is reported at all.
	leastEvidence = 14.0
	// More evidence than this from one edge says no more.
	mostOn, mostOff = 30.0, 20.0
	// Costs of an edge that is not there although its seconds were recorded: many
	// start with heart rate still high, or go on at once, but few of all.
	noOn, noOff = 5.0, 6.0
)

// finder holds what a search needs; its slices are reused between calls.
type finder struct {
	grid     grid
	profile  profile // the load that the kernels are made for
	load     profile
	coarse4  [len(coarseTau)]kernel // of the quick search: coarseOns for starts, then for ends
	plansOn  [coarseOns]plan
	plansOff [len(coarseTau) - coarseOns]plan
	fineOn   [len(fineOn)]kernel
	fineOff  [len(fineOff)]kernel
	scores   []float64 // of the quick search, every stride seconds
	found    []candidate
	short    []candidate   // found by cutShort
	logOn    []float64     // log likelihood of the first edge at each place of the fine search
	logOff   []float64     // and of the second
	beside   beside        // what else is known around there
	close    [4]closePlans // by window, see plansFor
	whole    wholePlans    // of a run as a whole
	near     []reading     // around a turn
	places   []tablePlace  // and where they lie in its tables
	shapes   []shape       // fitted to a whole test, see shapeOf
	steps    []stepPlace   // where the level of a test may change on the grid
	fresh    fresh         // of a test whose level may change
	series   *series       // that the grid was made of
	lowest   float64       // bpm, the least level of a test
	band     float64       // bpm, the low end of the protocol's band; 0 unknown
	noShort  bool          // tests cut short are out of the question
	steady   float64       // variance about the response that is still steady, bpm²
	wiggle   float64       // of the trace, and its interval; see series
	interval float64
}

// find returns the candidates for a test of the protocol, best first.
func (f *finder) find(h *hints) []candidate {
	f.found = f.found[:0]
	d := f.profile.length
	f.coarse(h, d, true)
	f.suggested(h)
	for i := range f.found {
		c := &f.found[i]
		if !h.any && h.speedOK && h.steady {
			// No need to look closely where the speed is another one: heart rate
			// can hardly make up for it.
			if ev, _, _ := h.speedEvidence(&f.grid, c.start, c.length); ev < -leastEvidence {
				c.evSpeed = ev
				continue
			}
		}
		f.settle(c, h)
	}
	slices.SortFunc(f.found, func(a, b candidate) int {
		return cmp.Or(cmp.Compare(b.standing(), a.standing()), a.start-b.start)
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
