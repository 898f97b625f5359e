package engine

import (
	"math"
	"time"

	"canter.example/schemas"
)

// Hint is what team-mates' traces of the same session say of the start.
type Hint struct {
	// Start that the team-mates share, and its spread (standard deviation).
	Start time.Time
	SD    time.Duration
	// Traces that agree on it.
	Traces int
}

// hints is what is known of the start besides heart rate, in trace seconds.
type hints struct {
	any      bool // there is something besides heart rate and speed
	length   float64
	laps     []schemas.Lap
	planned  bool
	around   float64
	within   float64
	team     bool
	teamAt   float64
	teamSD   float64
	speedKMH schemas.Number
	steady   bool // the protocol's speed does not change
	posture  schemas.Posture
	speedOK  bool // the trace has a speed channel that moves
}

func newHints(tr *schemas.Trace, s *series, req *Request) hints {
	h := hints{length: req.Protocol.Duration().Seconds(), laps: tr.Laps, posture: req.Protocol.Posture}
	if !req.Around.IsZero() {
		h.planned = true
		h.around = req.Around.Sub(tr.Start).Seconds()
		h.within = req.Within.Seconds()
		if h.within <= 0 {
			h.within = 600
		}
	}
	if req.Session != nil && !req.Session.Start.IsZero() {
		h.team = true
		h.teamAt = req.Session.Start.Sub(tr.Start).Seconds()
		h.teamSD = max(req.Session.SD.Seconds(), 1)
	}
	if len(req.Protocol.Stages) == 1 {
		h.speedKMH = req.Protocol.Stages[0].SpeedKMH
		h.steady = true
	}
	h.any = h.planned || h.team || len(h.laps) > 0
	moving := 0
	if s.speeds > 0 {
		for i := range s.speed {
			if s.have[i]&schemas.HasSpeed != 0 && s.speed[i] > 1.8 {
				moving++
			}
		}
	}
	h.speedOK = float64(moving)*s.interval > 0.5*h.length
	return h
}

// fits reports whether a lap is as long as the test.
func (h *hints) fits(l *schemas.Lap) bool {
	return math.Abs((l.End-l.Start).Seconds()-h.length) <= 8
}

// evidence is what laps, plan and team-mates add for a start at trace time t.
// When c is given, it notes there which of them agreed.
func (h *hints) evidence(t float64, c *candidate) float64 {
	sum := 0.0
	for i := range h.laps {
		l := &h.laps[i]
		most := 0.0
		switch {
		case h.fits(l):
			most = 14
		case l.Manual:
			most = 4
		}
		if most == 0 {
			continue
		}
		x := (t - l.Start.Seconds()) / 3
		if add := most * math.Exp(-x*x/2); add > 0.3*most {
			sum += add
			if c != nil && most == 14 {
				c.lap = true
			}
		}
	}
	if h.planned {
		x := (t - h.around) / h.within
		if math.Abs(x) <= 1 {
			sum += 4 - 2*x*x
			if c != nil {
				c.planned = true
			}
		} else {
			sum -= min(15, 4*math.Abs(x))
		}
	}
	if h.team {
		x := (t - h.teamAt) / (h.teamSD + 2)
		sum += 8 * math.Exp(-x*x/2)
		if c != nil && math.Abs(x) < 2.5 {
			c.team = true
		}
	}
	return sum
}

// box is the log likelihood of a speed that is one level before second t, one
// during the test and one after it, over a stretch fixed by middle.
func (h *hints) box(g *grid, t, length, middle int) float64 {
	const side = 30
	a, b := middle-side, middle+length+side
	s1, n1 := g.speedSquares(a, t)
	s2, n2 := g.speedSquares(t, t+length)
	s3, n3 := g.speedSquares(t+length, b)
	ss, n := s1+s2+s3, n1+n2+n3
	if int(n) < length/2 {
		return 0
	}
	return -float64(n) / (2 * worth) * math.Log(ss/float64(n)+0.01)
}

// speedEvidence weighs the speed around and in a test at second t: a run of
// the protocol's speed that begins and ends with it. vouches is true when both
// its edges are seen; longer when the run was plainly going on at one of them.
func (h *hints) speedEvidence(g *grid, t, length int) (ev float64, vouches, longer bool) {
	if !h.speedOK || !h.steady {
		return 0, false, false
	}
	in, sd, n := g.meanSpeed(t+3, t+length-3)
	if n < length/2 {
		return 0, false, false
	}
	if in < 1.2 {
		return -15, false, false
	}
	even := sd/in < 0.08
	if even {
		ev += 4
	} else {
		ev -= min(12, 60*(sd/in-0.08))
	}
	kept := true
	if v, ok := h.speedKMH.Get(); ok && v > 0 {
		off := math.Abs(in*3.6/v - 1)
		if kept = off < 0.08; kept {
			ev += 4
		} else {
			ev -= min(15, 60*(off-0.08))
		}
	}
	edges := 0
	for _, w := range [...][2]int{{t - 12, t - 3}, {t + length + 3, t + length + 12}} {
		out, _, k := g.meanSpeed(w[0], w[1])
		if k < 4 {
			continue
		}
		// A change of speed is for an edge, going on as before against it.
		change := math.Abs(in-out) / in
		ev += max(min(4, 16*(change-0.15)), -6)
		if change > 0.35 {
			edges++
		} else if change < 0.12 {
			ev -= 4
			longer = true
		}
	}
	return ev, even && kept && edges == 2, longer
}

// Windows of the search for an edge of the run in the speed channel, in
// seconds: how far from where heart rate puts it, and how much of the speed on
// its quiet and on its running side is looked at.
const (
	edgeReach = 26
	quietSide = 15
	runSide   = 40
)

// timedRun finds the seconds at which running begins and ends near a test that
// heart rate puts at second t, each for itself: where one level of speed turns
// into another. ok is false when either is not sharp.
func (h *hints) timedRun(g *grid, t, length int) (begins, ends int, ok bool) {
	if !h.speedOK || !h.steady {
		return 0, 0, false
	}
	begins, sharp := h.speedEdge(g, t, quietSide, runSide)
	if !sharp {
		return 0, 0, false
	}
	ends, sharp = h.speedEdge(g, t+length, runSide, quietSide)
	return begins, ends, sharp
}

// speedEdge splits the speed around second t where two means, over so many
// seconds on the left and on the right, leave the least scatter.
func (h *hints) speedEdge(g *grid, t, left, right int) (at int, sharp bool) {
	a, b := t-edgeReach-left, t+edgeReach+right
	whole, n := g.speedSquares(a, b)
	if a < 0 || b > len(g.x) || int(n) < (b-a)*2/3 {
		return 0, false
	}
	least := math.Inf(1)
	for s := t - edgeReach; s <= t+edgeReach; s++ {
		s1, _ := g.speedSquares(a, s)
		s2, _ := g.speedSquares(s, b)
		if s1+s2 < least {
			least, at = s1+s2, s
		}
	}
	before, _, _ := g.meanSpeed(at-quietSide, at-2)
	after, _, _ := g.meanSpeed(at+2, at+quietSide)
	return at, least < 0.35*whole && math.Abs(before-after) > 0.35*max(before, after)
}
