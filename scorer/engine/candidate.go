package engine

import (
	"math"

	"canter.example/schemas"
)

// candidate is a place where a test may start. Evidence is in units of log
// likelihood: of the seconds around an edge with it, against the same seconds
// without it (see weigh and fitWhole).
type candidate struct {
	start    int // grid second
	on       response
	off      recovery
	evOn     float64 // heart rate begins to rise toward a level here
	evOff    float64 // and begins to recover one test's length later
	unseen   float64 // how far the seconds around its start were not recorded, 0 to 1
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
	turns    [2]int  // those of heart rate, whatever the speed channel says
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

// worthUnseen is what a beginning that was not recorded counts for where places
// are compared: half of what a clear one would. It is nothing against a place,
// but a run that was going on when the recording began may have been any. Chosen
// here, judged by the hold-out.
const worthUnseen = mostOn / 2

// standing is the score that a candidate is compared by with others.
func (c *candidate) standing() float64 {
	if c.evOff < seenOff {
		return c.score()
	}
	return c.score() + worthUnseen*c.unseen
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

// seesOn wants a rise worth the name besides its evidence.
func (c *candidate) seesOn() bool { return c.evOn >= seenOn && c.on.rise() >= 8 }

// seesOff wants a recovery worth the name besides its evidence: 9 bpm within
// the first 50 s, and 15 % of the rise.
func (c *candidate) seesOff() bool {
	return c.evOff >= seenOff && c.off.fall() >= max(9, 0.15*c.on.rise())
}

// Least fall of heart rate in the first 50 s after a run, in bpm and as a share
// of the rise at its start, of somebody who then stands; walking it is two
// thirds. Our choice: on simulated sessions 99 tests in 100 have more.
const leastStandFall, leastStandShare = 16.0, 0.38

// stands reports whether heart rate falls as it does when the athlete stops,
// not as when the pace changes.
func (c *candidate) stands(p schemas.Posture) bool {
	part := 1.0
	if p == schemas.Walking {
		part = 2.0 / 3
	}
	return c.off.fall() >= part*max(leastStandFall, leastStandShare*c.on.rise())
}

// vouched reports whether something besides heart rate says that the test was
// here.
func (c *candidate) vouched() bool { return c.lap || c.team || c.sped }

// convincing reports whether a candidate leaves no room for another reading of
// the trace.
func (c *candidate) convincing() bool {
	if c.lap || c.borrowed || c.sped {
		return true
	}
	return c.confidence() >= leastConfidence && c.evSpeed >= 0 && c.clearEdges() && c.level <= mostLevelCost &&
		c.misfit < 4 && !c.goesOn && c.on.tau > fineOn[0]
}

// clearEdges is what a good test needs when only heart rate speaks for it: both
// edges, a rise of 20 bpm, and less where a planned time agrees.
func (c *candidate) clearEdges() bool {
	least, rise := 8.0, 20.0
	if c.planned {
		least, rise = 5, 10
	}
	return c.seesOn() && c.seesOff() && c.evOn >= least && c.evOff >= least && c.on.rise() >= rise
}

// alone reports whether nothing but heart rate speaks for a candidate.
func (c *candidate) alone() bool {
	return !c.vouched() && !c.planned && !c.borrowed && c.source != schemas.StartByHand
}

// origin says how a start was found, most trusted first.
func (c *candidate) origin(h *hints) schemas.StartSource {
	switch {
	case c.borrowed:
		return schemas.StartBySession
	case c.lap:
		return schemas.StartByLap
	case c.planned:
		return schemas.StartByPlan
	case c.team:
		return schemas.StartBySession
	}
	return schemas.StartByTrace
}

// adoptEdges corrects the length of a test whose two edges are clear and nearer
// together than the test is long: it was stopped early, and its start is where
// heart rate begins to rise. Edges further apart are noted as a run that goes on;
// where the speed channel shows both, the start is its. A difference of 7 s in
// length counts, of 10 s where the edges hardly contradict the test's length, and
// of 14 s for a longer run; bouts and stages (room over 1) blur the edges and need
// more. The amounts are choices of this package.
func (c *candidate) adoptEdges(length int, room float64) {
	if !c.timed && (c.evOn < 8 || c.evOff < 8 || c.tension < leastTension) {
		return
	}
	off, least := c.ran-float64(length), 7*room
	if !c.timed && c.tension < 2*leastTension {
		least = 10 * room
	}
	switch {
	case off <= -least:
		c.length = int(math.Round(c.ran))
		if c.timed {
			c.start = c.edges[0] - speedLate
		} else {
			c.start = c.edges[0] - int(math.Round(onDelay+c.lag))
		}
	case off >= 14*room*room && (c.timed || c.tension >= 2*leastTension):
		c.goesOn = true
	case c.timed:
		c.start = c.edges[0] - speedLate
	}
}
